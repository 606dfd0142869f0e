"""What is kept of a vehicle's past: enough to go on in constant time and to project."""

from dataclasses import dataclass, fields
from typing import Self

import numpy as np

from service.engine.arrays import Floats, Integers
from service.errors import InvalidInputError


@dataclass(frozen=True, slots=True, kw_only=True)
class UsageState:
    """The filter's memory of n vehicles as a structure of arrays, each of shape (n,) and dtype float64.

    The mean of a vehicle is kept in two parts, because its scale is known only at the end: what the readings
    alone say (`data_*`, in km) and the response to a long-run rate of one (`prior_*`, per unit of scale). With
    scale s the mean is ``data + s * prior``. Covariances are in units of the scale and do not depend on it; of the
    variance of the temporary deviation only what exceeds `temporary_variance` is kept, nothing once it has settled.

    A vehicle without any reading has `n_readings` 0, `last_time_days` 0 and `last_odometer_km` 0; its rate is
    that of its class.
    """

    n_readings: Floats
    first_time_days: Floats
    first_odometer_km: Floats
    used_time_days: Floats
    used_odometer_km: Floats
    last_time_days: Floats
    last_odometer_km: Floats
    n_used: Floats
    data_odometer_km: Floats
    data_temporary_km_per_day: Floats
    data_long_run_km_per_day: Floats
    prior_odometer_days: Floats
    prior_temporary: Floats
    prior_long_run: Floats
    variance_odometer: Floats
    covariance_odometer_temporary: Floats
    covariance_odometer_long_run: Floats
    variance_temporary_excess: Floats
    covariance_temporary_long_run: Floats
    variance_long_run: Floats
    squares_data: Floats
    squares_cross: Floats
    squares_prior: Floats
    prior_log_rate: Floats
    prior_log_rate_sd: Floats
    reversion_per_day: Floats
    temporary_variance: Floats
    noise_variance: Floats
    drift_per_day: Floats
    reading_variance: Floats
    dispersion_weight: Floats
    period_days: Floats
    near_variance_factor: Floats
    far_variance_factor: Floats

    def __len__(self) -> int:
        return self.n_readings.size

    def to_array(self) -> Floats:
        """Lay out one row of floats a vehicle, shape (n, k): the form in which the state is stored."""
        return np.stack([getattr(self, field.name) for field in fields(self)], axis=1)

    @classmethod
    def from_array(cls, rows: Floats) -> Self:
        """Give back the state whose `to_array` gave these rows."""
        names = [field.name for field in fields(cls)]
        if rows.ndim != 2 or rows.shape[1] != len(names):
            raise InvalidInputError.at("/rows", f"a stored state has {len(names)} numbers a vehicle")
        columns = np.ascontiguousarray(rows.T, dtype=np.float64)
        return cls(**dict(zip(names, columns, strict=True)))

    def take(self, rows: Integers | slice) -> Self:
        """Pick the states of some vehicles, by row number; a slice gives views."""
        return type(self)(**{field.name: getattr(self, field.name)[rows] for field in fields(self)})


STATE_WIDTH = len(fields(UsageState))
"""Numbers a vehicle in a stored state."""
