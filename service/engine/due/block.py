"""The normal scores of the limits of one block of compartments that have the same kinds of limit."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.due.bivariate import CORRELATION_BOUND
from service.engine.due.condition import LifeGain, condition_score, condition_sd
from service.engine.due.limits import Condition, FloatArray, IntArray, Limit, Meter
from service.engine.due.motion import MeterTable, Motion, meter_table
from service.engine.due.passage import passage_score

Pair = tuple[Limit, Limit]

_SMALLEST_SD: Final = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitBlock:
    """Compartments with the same kinds of limit on a meter or on condition, in the order of `present`.

    All arrays have shape (n,). `root_remaining_km` and `root_remaining_hours` are cube roots of limit less last
    reading and matter only where that limit is present. `condition_age_days` is the age of the life used now. A
    meter is None where nothing in the block depends on it.
    """

    present: tuple[Limit, ...]
    vehicle_row: IntArray
    root_remaining_km: FloatArray
    root_remaining_hours: FloatArray
    condition: Condition | None
    condition_age_days: FloatArray
    odometer: Meter | None
    hour_meter: Meter | None
    km_hours_correlation: float

    def motion_on_grid(self, grid_days: FloatArray) -> Motion:
        """Motion at days ahead common to all columns, shape (n_days, n).

        The compartments of a vehicle share its meters, so the moments are computed once a vehicle.
        """
        is_head = np.ones(self.vehicle_row.size, dtype=np.bool_)
        np.not_equal(self.vehicle_row[1:], self.vehicle_row[:-1], out=is_head[1:])
        heads = self.vehicle_row[is_head]
        repeat = np.cumsum(is_head) - 1
        days = grid_days[:, np.newaxis] + np.zeros(heads.size)
        km = meter_table(self.odometer, heads, days)
        hours = meter_table(self.hour_meter, heads, days)
        return Motion(
            columns=slice(None),
            days_ahead=grid_days[:, np.newaxis],
            km=None if km is None else km.take(repeat),
            hours=None if hours is None else hours.take(repeat),
        )

    def motion_at(self, columns: IntArray, days_ahead: FloatArray) -> Motion:
        """Motion of the named columns, each at its own days ahead, shape (m,)."""
        rows = self.vehicle_row[columns]
        return Motion(
            columns=columns,
            days_ahead=days_ahead,
            km=meter_table(self.odometer, rows, days_ahead),
            hours=meter_table(self.hour_meter, rows, days_ahead),
        )

    def scores(self, motion: Motion) -> list[FloatArray]:
        """Score of each present limit: the limit has been reached with probability Phi(score)."""
        scores = []
        for limit in self.present:
            if limit is Limit.DISTANCE and motion.km is not None:
                remaining = self.root_remaining_km[motion.columns]
                scores.append(passage_score(motion.km.offset, motion.km.slope, remaining))
            elif limit is Limit.HOURS and motion.hours is not None:
                remaining = self.root_remaining_hours[motion.columns]
                scores.append(passage_score(motion.hours.offset, motion.hours.slope, remaining))
            elif limit is Limit.CONDITION and self.condition is not None:
                scores.append(self._condition_score(self.condition, motion))
        return scores

    def correlations(self, motion: Motion) -> dict[Pair, FloatArray]:
        """Correlation of each pair of limits at the motion's days, one value a column."""
        pairs = {(Limit.DISTANCE, Limit.HOURS): np.full(self.vehicle_row.size, self.km_hours_correlation)}
        if self.condition is None:
            return pairs
        at = motion.columns
        gain = self._gain(self.condition, motion)
        sd = condition_sd(self.condition.life_used_sd_fraction[at], self.condition.rate_cv_fraction[at], gain)
        km_sd = _life_sd(motion.km, self.condition.life_per_km[at])
        hours_sd = _life_sd(motion.hours, self.condition.life_per_hour[at])
        r, scale = self.km_hours_correlation, 1.0 / np.maximum(sd, _SMALLEST_SD)
        pairs[Limit.DISTANCE, Limit.CONDITION] = np.minimum((km_sd + r * hours_sd) * scale, CORRELATION_BOUND)
        pairs[Limit.HOURS, Limit.CONDITION] = np.minimum((hours_sd + r * km_sd) * scale, CORRELATION_BOUND)
        return pairs

    def _condition_score(self, condition: Condition, motion: Motion) -> FloatArray:
        at = motion.columns
        return condition_score(
            condition.life_limit_fraction[at] - condition.life_used_fraction[at],
            condition.life_used_sd_fraction[at],
            condition.rate_cv_fraction[at],
            self._gain(condition, motion),
        )

    def _gain(self, condition: Condition, motion: Motion) -> LifeGain:
        at = motion.columns
        days = motion.days_ahead + self.condition_age_days[at]
        mean = condition.life_per_day[at] * days
        km_sd = _life_sd(motion.km, condition.life_per_km[at])
        hours_sd = _life_sd(motion.hours, condition.life_per_hour[at])
        if motion.km is not None:
            mean = mean + condition.life_per_km[at] * motion.km.mean
        if motion.hours is not None:
            mean = mean + condition.life_per_hour[at] * motion.hours.mean
        variance = km_sd * km_sd + hours_sd * hours_sd + 2.0 * self.km_hours_correlation * km_sd * hours_sd
        return LifeGain(mean_fraction=mean, meter_variance=variance)


def _life_sd(table: MeterTable | None, life_per_unit: FloatArray) -> FloatArray:
    """Doubt about a meter, in life used."""
    if table is None:
        return np.zeros(1)
    return life_per_unit * np.sqrt(np.maximum(table.variance, 0.0))
