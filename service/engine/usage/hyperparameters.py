"""The few numbers that say how a fleet's daily distances vary; one set serves every vehicle of a fleet or class."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.errors import InvalidInputError


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
    near_variance_factor, far_variance_factor
        What the variance of a distance ahead is multiplied with, at once and from a year ahead on; in between
        it changes evenly with time.
    """

    reversion_per_day: float
    temporary_sd: float
    noise_sd: float
    drift_per_day: float
    initial_sd: float
    reading_sd_days: float
    dispersion_weight: float
    period_days: float
    near_variance_factor: float = 1.0
    far_variance_factor: float = 1.0

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
            "near_variance_factor",
            "far_variance_factor",
        ):
            if values[name] == 0.0:
                raise InvalidInputError.at(f"/{name}", "must be more than zero")

    def take(self, rows: Integers) -> "Hyperparameters":
        """Numbers of some vehicles, which are the same for all."""
        del rows
        return self


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleHyperparameters:
    """The same numbers vehicle by vehicle, each shape (n,): those of its class."""

    reversion_per_day: Floats
    temporary_sd: Floats
    noise_sd: Floats
    drift_per_day: Floats
    initial_sd: Floats
    reading_sd_days: Floats
    dispersion_weight: Floats
    period_days: Floats
    near_variance_factor: Floats
    far_variance_factor: Floats

    @classmethod
    def of_classes(
        cls, by_class: Sequence[Hyperparameters], class_index: Integers
    ) -> "VehicleHyperparameters":
        """Give every vehicle the numbers of its class; `class_index` has shape (n,)."""
        columns = {
            name: np.array([getattr(one, name) for one in by_class], dtype=np.float64)[class_index]
            for name in cls.__slots__
        }
        return cls(**columns)

    def take(self, rows: Integers) -> "VehicleHyperparameters":
        """Pick the numbers of some vehicles."""
        return VehicleHyperparameters(**{name: getattr(self, name)[rows] for name in self.__slots__})


# Common practice, no source: picked on simulated fleets of private cars, pool vehicles and buses whose laws are not
# this model's, and whose plain baselines err as much as those of real vehicles are said to.
DEFAULT_HYPERPARAMETERS: Final = Hyperparameters(
    reversion_per_day=1.0 / 38.0,
    temporary_sd=0.52,
    noise_sd=2.3,
    drift_per_day=3.5e-4,
    initial_sd=0.35,
    reading_sd_days=0.10,
    dispersion_weight=0.7,
    period_days=21.0,
    far_variance_factor=0.7,
)
