"""The normal scores of the limits of one block of compartments that have the same kinds of limit."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import DTypeLike

from service.engine.arrays import Floats, Integers
from service.engine.due import precision
from service.engine.due.condition import Ageing, LifeGain, condition_score, life_variance
from service.engine.due.limits import Limit, Meter
from service.engine.due.motion import Motion, meter_table
from service.engine.due.passage import passage_score
from service.engine.due.precision import AnyFloats

Pair = tuple[Limit, Limit]

_SMALLEST_VARIANCE: Final = 1e-24


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitBlock:
    """Compartments with the same kinds of limit on a meter or on condition, in the order of `present`.

    All arrays but `heads` have shape (n,). `heads` names each vehicle once (more often where its compartments are no
    neighbours), and `repeat` says which of them each column belongs to. `root_remaining_km` and
    `root_remaining_hours` are cube roots of limit less last reading and matter only where that limit is present. A
    meter is None where nothing in the block depends on it.
    """

    present: tuple[Limit, ...]
    vehicle_row: Integers
    heads: Integers
    repeat: Integers
    root_remaining_km: Floats
    root_remaining_hours: Floats
    ageing: Ageing | None
    odometer: Meter | None
    hour_meter: Meter | None
    km_hours_correlation: float

    @property
    def score_type(self) -> np.dtype[np.floating[Any]]:
        """Precision of scores: that of the work for several limits, whose probabilities are joined in it."""
        return np.dtype(np.float64) if len(self.present) == 1 else precision.WORK

    def motion_on_grid(self, grid_days: Floats) -> Motion:
        """Motion at days ahead common to all columns, shape (n_days, n).

        The compartments of a vehicle share its meters, so the moments are computed once a vehicle.
        """
        days = grid_days[:, np.newaxis] + np.zeros(self.heads.size)
        return Motion(
            columns=slice(None),
            days_ahead=grid_days[:, np.newaxis],
            km=meter_table(self.odometer, self.heads, days, self.repeat),
            hours=meter_table(self.hour_meter, self.heads, days, self.repeat),
        )

    def motion_at(self, columns: Integers, days_ahead: Floats) -> Motion:
        """Motion of the named columns, each at its own days ahead, shape (m,)."""
        rows = self.vehicle_row[columns]
        return Motion(
            columns=columns,
            days_ahead=days_ahead,
            km=meter_table(self.odometer, rows, days_ahead),
            hours=meter_table(self.hour_meter, rows, days_ahead),
        )

    def scores(self, motion: Motion, dtype: DTypeLike) -> AnyFloats:
        """Score each present limit, shape (n_limits, n): it has been reached with probability Phi(score)."""
        scores = np.empty((len(self.present), self.vehicle_row[motion.columns].size), dtype=dtype)
        for limit, score in zip(self.present, scores, strict=True):
            if limit is Limit.DISTANCE and motion.km is not None:
                offset, slope = motion.km.passage_terms()
                score[:] = passage_score(offset, slope, self.root_remaining_km[motion.columns])
            elif limit is Limit.HOURS and motion.hours is not None:
                offset, slope = motion.hours.passage_terms()
                score[:] = passage_score(offset, slope, self.root_remaining_hours[motion.columns])
            elif limit is Limit.CONDITION and self.ageing is not None:
                ageing = self.ageing.take(motion.columns)
                gain = self._gain(ageing, motion)
                score[:] = condition_score(ageing.life_left, ageing.life_used_sd, ageing.rate_cv, gain)
        return scores

    def correlations(self, motion: Motion) -> dict[Pair, Floats]:
        """Correlate each pair of limits at the motion's days, one value a column."""
        r = self.km_hours_correlation
        pairs: dict[Pair, Floats] = {
            (Limit.DISTANCE, Limit.HOURS): np.full(self.vehicle_row.size, r),
        }
        if self.ageing is not None:
            ageing = self.ageing.take(motion.columns)
            variance = life_variance(ageing.life_used_sd, ageing.rate_cv, self._gain(ageing, motion))
            scale = 1.0 / np.sqrt(np.maximum(variance, _SMALLEST_VARIANCE))
            km_sd, hours_sd = _life_sds(ageing, motion)
            pairs[Limit.DISTANCE, Limit.CONDITION] = (km_sd + r * hours_sd) * scale
            pairs[Limit.HOURS, Limit.CONDITION] = (hours_sd + r * km_sd) * scale
        return pairs

    def _gain(self, ageing: Ageing, motion: Motion) -> LifeGain:
        mean = motion.days_ahead.astype(ageing.age_days.dtype) + ageing.age_days
        mean *= ageing.life_per_day
        variance: AnyFloats = np.zeros(1, dtype=mean.dtype)
        if motion.km is not None:
            km_mean, km_variance = motion.km.mean_and_variance()
            mean += ageing.life_per_km * km_mean
            variance = ageing.life_per_km * ageing.life_per_km
            variance *= km_variance
        if motion.hours is not None:
            mean += ageing.life_per_hour * motion.hours.mean_and_variance()[0]
            km_sd, hours_sd = _life_sds(ageing, motion)
            variance = variance + hours_sd * (hours_sd + 2.0 * self.km_hours_correlation * km_sd)
        return LifeGain(mean_fraction=mean, meter_variance=variance)


def _life_sds(ageing: Ageing, motion: Motion) -> tuple[AnyFloats, AnyFloats]:
    """Doubt about the life used up that each meter causes, as a standard deviation; 0 of one that nothing needs."""
    km_sd = hours_sd = np.zeros(1, dtype=ageing.age_days.dtype)
    if motion.km is not None:
        km_sd = ageing.life_per_km * np.sqrt(motion.km.mean_and_variance()[1])
    if motion.hours is not None:
        hours_sd = ageing.life_per_hour * np.sqrt(motion.hours.mean_and_variance()[1])
    return km_sd, hours_sd
