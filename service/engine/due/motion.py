"""What the meters of a block have added by given days ahead."""

from dataclasses import dataclass

import numpy as np

from service.engine.due.limits import FloatArray, IntArray, Meter
from service.engine.due.passage import passage_terms
from service.errors import NonFiniteResultError


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterTable:
    """Moments of one meter's increment since its last reading, shape (..., m), for the columns of a block.

    Where `repeat` is not None the moments are one column a vehicle, and `repeat` says which of them each column of
    the block takes.
    """

    mean: FloatArray
    variance: FloatArray
    repeat: IntArray | None

    def on_day(self, place: int) -> "MeterTable":
        """Take one of the days of a table."""
        return MeterTable(mean=self.mean[place], variance=self.variance[place], repeat=self.repeat)

    def passage_terms(self) -> tuple[FloatArray, FloatArray]:
        """Offset and slope of the passage score, one column a compartment."""
        offset, slope = passage_terms(self.mean, self.variance)
        return self._spread(offset), self._spread(slope)

    def mean_and_sd(self) -> tuple[FloatArray, FloatArray]:
        """Mean and standard deviation, one column a compartment."""
        return self._spread(self.mean), self._spread(np.sqrt(np.maximum(self.variance, 0.0)))

    def _spread(self, values: FloatArray) -> FloatArray:
        return values if self.repeat is None else values.take(self.repeat, axis=-1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Both meters at `days_ahead`, for the columns of a block that `columns` names; None: nothing needs that meter."""

    columns: IntArray | slice
    days_ahead: FloatArray
    km: MeterTable | None
    hours: MeterTable | None

    def on_day(self, place: int) -> "Motion":
        """Take one of the days of a grid."""
        return Motion(
            columns=self.columns,
            days_ahead=self.days_ahead[place],
            km=None if self.km is None else self.km.on_day(place),
            hours=None if self.hours is None else self.hours.on_day(place),
        )


def meter_table(
    meter: Meter | None, rows: IntArray, days_ahead: FloatArray, repeat: IntArray | None = None
) -> MeterTable | None:
    """Tabulate a meter's moments at days ahead of now, shape (..., n); a vehicle without a reading stands still.

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
    return MeterTable(mean=mean, variance=variance, repeat=repeat)
