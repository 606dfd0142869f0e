"""What the meters of a block have added by given days ahead."""

from dataclasses import dataclass

import numpy as np

from service.engine.due.limits import FloatArray, IntArray, Meter
from service.engine.due.passage import passage_terms
from service.errors import NonFiniteResultError


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterTable:
    """Moments of one meter's increment since its last reading, shape (..., n), with its passage terms."""

    mean: FloatArray
    variance: FloatArray
    offset: FloatArray
    slope: FloatArray

    def take(self, columns: IntArray) -> "MeterTable":
        """Repeat the vehicles' columns for their compartments."""
        return MeterTable(
            mean=self.mean.take(columns, axis=-1),
            variance=self.variance.take(columns, axis=-1),
            offset=self.offset.take(columns, axis=-1),
            slope=self.slope.take(columns, axis=-1),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Both meters at `days_ahead`, for the columns of a block that `columns` names; None: nothing needs that meter."""

    columns: IntArray | slice
    days_ahead: FloatArray
    km: MeterTable | None
    hours: MeterTable | None


def meter_table(meter: Meter | None, rows: IntArray, days_ahead: FloatArray) -> MeterTable | None:
    """Moments of a meter at days ahead of now, shape (..., n); a vehicle without a reading stands still.

    Raises
    ------
    NonFiniteResultError
        If a vehicle with a reading has a moment that is not finite.
    """
    if meter is None:
        return None
    is_known = ~np.isnan(meter.last_reading[rows])
    ages = np.where(is_known, meter.days_since_reading[rows], 0.0)
    mean, variance = meter.moments(rows, days_ahead + ages)
    if not is_known.all():
        mean = np.where(is_known, mean, 0.0)
        variance = np.where(is_known, variance, 0.0)
    if not (np.isfinite(mean).all() and np.isfinite(variance).all()):
        raise NonFiniteResultError("the usage model gave a mean or a variance that is not finite")
    offset, slope = passage_terms(mean, variance)
    return MeterTable(mean=mean, variance=variance, offset=offset, slope=slope)
