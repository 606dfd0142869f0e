"""The normal scores of the limits of one block of compartments that have the same kinds of limit."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.due.bivariate import CORRELATION_BOUND
from service.engine.due.condition import LifeGain, condition_score, life_variance
from service.engine.due.limits import Condition, FloatArray, IntArray, Limit, Meter
from service.engine.due.motion import Motion, meter_table
from service.engine.due.passage import passage_score

Pair = tuple[Limit, Limit]

_SMALLEST_VARIANCE: Final = 1e-24


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
        return Motion(
            columns=slice(None),
            days_ahead=grid_days[:, np.newaxis],
            km=meter_table(self.odometer, heads, days, repeat),
            hours=meter_table(self.hour_meter, heads, days, repeat),
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
        """Score each present limit: it has been reached with probability Phi(score)."""
        scores = []
        for limit in self.present:
            if limit is Limit.DISTANCE and motion.km is not None:
                offset, slope = motion.km.passage_terms()
                scores.append(passage_score(offset, slope, self.root_remaining_km[motion.columns]))
            elif limit is Limit.HOURS and motion.hours is not None:
                offset, slope = motion.hours.passage_terms()
                scores.append(passage_score(offset, slope, self.root_remaining_hours[motion.columns]))
            elif limit is Limit.CONDITION and self.condition is not None:
                scores.append(self._condition_score(self.condition, motion))
        return scores

    def correlations(self, motion: Motion) -> dict[Pair, FloatArray]:
        """Correlate each pair of limits at the motion's days, one value a column."""
        r = self.km_hours_correlation
        pairs = {(Limit.DISTANCE, Limit.HOURS): np.full(self.vehicle_row.size, r)}
        if self.condition is not None:
            gain = self._gain(self.condition, motion)
            cv = self.condition.rate_cv_fraction[motion.columns]
            variance = life_variance(self.condition.life_used_sd_fraction[motion.columns], cv, gain)
            scale = 1.0 / np.sqrt(np.maximum(variance, _SMALLEST_VARIANCE))
            with_km = (gain.km_sd + r * gain.hours_sd) * scale
            with_hours = (gain.hours_sd + r * gain.km_sd) * scale
            pairs[Limit.DISTANCE, Limit.CONDITION] = np.minimum(with_km, CORRELATION_BOUND)
            pairs[Limit.HOURS, Limit.CONDITION] = np.minimum(with_hours, CORRELATION_BOUND)
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
        mean = condition.life_per_day[at] * (motion.days_ahead + self.condition_age_days[at])
        km_sd = hours_sd = np.zeros(1)
        variance = km_sd
        if motion.km is not None:
            km_mean, km_sd = motion.km.mean_and_sd()
            mean += condition.life_per_km[at] * km_mean
            km_sd = condition.life_per_km[at] * km_sd
            variance = km_sd * km_sd
        if motion.hours is not None:
            h_mean, hours_sd = motion.hours.mean_and_sd()
            mean += condition.life_per_hour[at] * h_mean
            hours_sd = condition.life_per_hour[at] * hours_sd
            variance = variance + hours_sd * (hours_sd + 2.0 * self.km_hours_correlation * km_sd)
        return LifeGain(mean_fraction=mean, meter_variance=variance, km_sd=km_sd, hours_sd=hours_sd)
