"""The few numbers that say how a fleet's daily distances vary; one set serves every vehicle of a fleet or class."""

import math
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from service.errors import InvalidInputError

Floats: TypeAlias = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hyperparameters:
    """How daily distance varies, relative to a vehicle's own scale (a vehicle with scale 60 drives about 60 km/d).

    Attributes
    ----------
    reversion_per_day
        Speed at which a temporary deviation dies away (theta). [1/d]
    temporary_sd
        Standard deviation of the temporary deviation of the rate (s_u), in units of the scale.
    noise_sd
        White noise of daily distance (s_w), in units of the scale. [sqrt(d)]
    drift_per_day
        Variance that the long-run rate gains in a day (q_m), in squared units of the scale. [1/d]
    initial_sd
        Standard deviation of the long-run rate around the scale before any reading (omega).
    reading_sd_days
        Error of a reading, rounding included, in days of the vehicle's own use. [d]
    dispersion_weight
        Number of readings that the fleet's dispersion is worth against the vehicle's own (nu0).
    period_days
        Of the readings in each period so long since a vehicle's first, one moves the filter for good. [d]
    """

    reversion_per_day: float
    temporary_sd: float
    noise_sd: float
    drift_per_day: float
    initial_sd: float
    reading_sd_days: float
    dispersion_weight: float
    period_days: float

    def __post_init__(self) -> None:
        values = {name: getattr(self, name) for name in self.__slots__}
        for name, value in values.items():
            if not math.isfinite(value) or value < 0.0:
                raise InvalidInputError.at(f"/{name}", "must be a finite number, zero or more")
        for name in (
            "reversion_per_day",
            "initial_sd",
            "reading_sd_days",
            "dispersion_weight",
            "period_days",
        ):
            if values[name] == 0.0:
                raise InvalidInputError.at(f"/{name}", "must be more than zero")


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleHyperparameters:
    """The same numbers vehicle by vehicle, each shape (n,)."""

    reversion_per_day: Floats
    temporary_sd: Floats
    noise_sd: Floats
    drift_per_day: Floats
    initial_sd: Floats
    reading_sd_days: Floats
    dispersion_weight: Floats
    period_days: Floats


# Common practice, no source: picked on simulated fleets whose laws are not this model's.
DEFAULT_HYPERPARAMETERS: Final = Hyperparameters(
    reversion_per_day=1.0 / 18.0,
    temporary_sd=0.40,
    noise_sd=0.90,
    drift_per_day=2.5e-4,
    initial_sd=0.60,
    reading_sd_days=0.10,
    dispersion_weight=0.5,
    period_days=21.0,
)
