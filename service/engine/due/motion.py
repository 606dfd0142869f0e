"""What the meters of a block have added by given days ahead."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.due import precision
from service.engine.due.limits import Meter
from service.engine.due.passage import passage_terms
from service.engine.due.precision import AnyFloats
from service.errors import NonFiniteResultError


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterTable:
    """What one meter has added since its last reading, shape (..., m), for the columns of a block.

    `offset` and `slope` are those of the passage score; `mean` and `variance` have the precision of the work.
    Where `repeat` is not None the tables have one column a vehicle, and `repeat` says which of them each column of
    the block takes.
    """

    offset: Floats
    slope: Floats
    mean: AnyFloats
    variance: AnyFloats
    repeat: Integers | None

    def on_day(self, place: int) -> "MeterTable":
        """Take one of the days of a table."""
        return MeterTable(
            offset=self.offset[place],
            slope=self.slope[place],
            mean=self.mean[place],
            variance=self.variance[place],
            repeat=self.repeat,
        )

    def on_days(self, places: Integers) -> "MeterTable":
        """Take for each column of the block a day of its own."""
        repeat = np.arange(places.size) if self.repeat is None else self.repeat
        at = places * self.mean.shape[-1] + repeat
        return MeterTable(
            offset=self.offset.take(at),
            slope=self.slope.take(at),
            mean=self.mean.take(at),
            variance=self.variance.take(at),
            repeat=None,
        )

    def passage_terms(self) -> tuple[Floats, Floats]:
        """Offset and slope of the passage score, one column a compartment."""
        if self.repeat is None:
            return self.offset, self.slope
        return self.offset.take(self.repeat, axis=-1), self.slope.take(self.repeat, axis=-1)

    def mean_and_variance(self) -> tuple[AnyFloats, AnyFloats]:
        """Mean and variance, one column a compartment."""
        if self.repeat is None:
            return self.mean, self.variance
        return self.mean.take(self.repeat, axis=-1), self.variance.take(self.repeat, axis=-1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Both meters at `days_ahead`, for the columns of a block that `columns` names; None: nothing needs that meter."""

    columns: Integers | slice
    days_ahead: Floats
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

    def on_days(self, places: Integers) -> "Motion":
        """Take for each column of the block a day of its own out of a grid."""
        return Motion(
            columns=self.columns,
            days_ahead=self.days_ahead[places, 0],
            km=None if self.km is None else self.km.on_days(places),
            hours=None if self.hours is None else self.hours.on_days(places),
        )


def meter_table(
    meter: Meter | None, rows: Integers, days_ahead: Floats, repeat: Integers | None = None
) -> MeterTable | None:
    """Tabulate a meter at days ahead of now, shape (..., n); a vehicle without a reading stands still.

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
    variance = np.maximum(variance, 0.0)
    offset, slope = passage_terms(mean, variance)
    return MeterTable(
        offset=offset,
        slope=slope,
        mean=mean.astype(precision.WORK),
        variance=variance.astype(precision.WORK),
        repeat=repeat,
    )
