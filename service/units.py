"""Conversions between the units people use and the one unit each quantity has inside.

Inside, a distance is in kilometres, a volume in litres, a temperature in degrees Celsius. Only the doors
(api, web, cli, file imports) call these functions.
"""

from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

Number = TypeVar("Number", float, NDArray[np.float64])

KM_PER_MILE: Final = 1.609344
"""Exact: international yard and pound agreement of 1959."""

LITRES_PER_US_GALLON: Final = 3.785411784
"""Exact: 231 cubic inches, NIST Handbook 44, appendix C."""

LITRES_PER_IMPERIAL_GALLON: Final = 4.54609
"""Exact: United Kingdom Weights and Measures Act 1985, schedule 1."""

LITRES_PER_US_QUART: Final = LITRES_PER_US_GALLON / 4
KELVIN_AT_ZERO_CELSIUS: Final = 273.15
MILLILITRES_PER_LITRE: Final = 1000.0
MINUTES_PER_HOUR: Final = 60.0
DAYS_PER_WEEK: Final = 7
MONTHS_PER_YEAR: Final = 12
DAYS_PER_YEAR: Final = 365.25
DAYS_PER_MONTH: Final = DAYS_PER_YEAR / MONTHS_PER_YEAR


def km_from_miles(miles: Number) -> Number:
    """Kilometres in a distance given in international miles."""
    return miles * KM_PER_MILE


def miles_from_km(km: Number) -> Number:
    """International miles in a distance given in kilometres."""
    return km / KM_PER_MILE


def celsius_from_fahrenheit(fahrenheit: Number) -> Number:
    """Degrees Celsius of a temperature given in degrees Fahrenheit."""
    return (fahrenheit - 32.0) / 1.8


def kelvin_from_celsius(celsius: Number) -> Number:
    """Absolute temperature of a temperature given in degrees Celsius."""
    return celsius + KELVIN_AT_ZERO_CELSIUS
