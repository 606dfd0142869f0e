"""Viscosity at other temperatures by the short form of ASTM D341, log log(ν + 0.7) = A − B log T.

The short form holds from 2 mm²/s up. Below 0 °C it does not hold for oils with viscosity improvers.
"""

import math
from dataclasses import dataclass
from typing import Final

from service.domain.plausibility import FLUID_CELSIUS, VISCOSITY_MM2_PER_S
from service.errors import InvalidInputError
from service.units import kelvin_from_celsius

LOWEST_MM2_PER_S: Final = 2.0
LOWEST_CELSIUS: Final = 0.0


@dataclass(frozen=True, slots=True)
class ViscosityLine:
    """The two constants of one oil."""

    a: float
    b: float

    @classmethod
    def through(
        cls,
        celsius_1: float,
        viscosity_1_mm2_per_s: float,
        celsius_2: float,
        viscosity_2_mm2_per_s: float,
    ) -> "ViscosityLine":
        """Fit the line to two measurements."""
        for celsius in (celsius_1, celsius_2):
            FLUID_CELSIUS.check("/celsius", celsius)
        for viscosity in (viscosity_1_mm2_per_s, viscosity_2_mm2_per_s):
            VISCOSITY_MM2_PER_S.check("/viscosity", viscosity)
            if viscosity < LOWEST_MM2_PER_S:
                raise InvalidInputError("The short form of ASTM D341 holds from 2 mm²/s up.")
        if (celsius_1 - celsius_2) * (viscosity_1_mm2_per_s - viscosity_2_mm2_per_s) >= 0:
            raise InvalidInputError("The warmer oil must be the thinner one; were two values exchanged?")
        x1, x2 = (math.log10(kelvin_from_celsius(celsius)) for celsius in (celsius_1, celsius_2))
        y1, y2 = (_double_log(nu) for nu in (viscosity_1_mm2_per_s, viscosity_2_mm2_per_s))
        b = (y1 - y2) / (x2 - x1)
        return cls(a=y1 + b * x1, b=b)

    def viscosity_mm2_per_s(self, celsius: float) -> float:
        """Compute the viscosity at a temperature from 0 °C up, where it stays above 2 mm²/s."""
        if celsius < LOWEST_CELSIUS:
            raise InvalidInputError("Not below 0 °C: oils with viscosity improvers leave the line there.")
        FLUID_CELSIUS.check("/celsius", celsius)
        viscosity = 10 ** (10 ** (self.a - self.b * math.log10(kelvin_from_celsius(celsius)))) - 0.7
        if viscosity < LOWEST_MM2_PER_S:
            raise InvalidInputError("The short form of ASTM D341 holds from 2 mm²/s up.")
        return float(viscosity)


def _double_log(viscosity_mm2_per_s: float) -> float:
    return math.log10(math.log10(viscosity_mm2_per_s + 0.7))
