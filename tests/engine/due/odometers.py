"""Closed-form moments of an integrated mean-reverting rate, for checks that need no filter."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Floats, Integers


@dataclass(frozen=True, slots=True, kw_only=True)
class DenseOdometer:
    """One odometer conditioned on its readings by dense Gaussian algebra: no filter, no recursion.

    True distance: x(t) with rate m + u, u mean-reverting, m a slow walk, plus white rate noise; readings have noise.
    """

    reading_days: tuple[float, ...] = (0.0, 12.0, 40.0, 41.0, 75.0, 130.0)
    reading_km: tuple[float, ...] = (120000.0, 120730.0, 122310.0, 122380.0, 124560.0, 127700.0)
    km_per_day: float = 58.0
    theta: float = 1.0 / 26.0
    sd_temporary: float = 0.45
    sd_white: float = 0.8
    sd_level: float = 0.64
    level_walk: float = 0.0
    reading_variance: float = 9.0

    def covariance(self, first: Floats, second: Floats) -> Floats:
        """Cov of the true distance at two sets of days since the first reading, which carries its own noise."""
        a = np.minimum(first[:, np.newaxis], second[np.newaxis, :])
        b = np.maximum(first[:, np.newaxis], second[np.newaxis, :])
        th = self.theta
        temporary = (self.sd_temporary / th) ** 2 * (
            2.0 * th * a - 1.0 + np.exp(-th * a) + np.exp(-th * b) - np.exp(-th * (b - a))
        )
        rest = self.sd_white**2 * a + self.sd_level**2 * a * b + self.level_walk * a * a * (3.0 * b - a) / 6.0
        return self.km_per_day**2 * (temporary + rest) + self.reading_variance

    def moments(self, rows: Integers, days_after_last: Floats) -> tuple[Floats, Floats]:
        """Mean and variance of the distance beyond the last reading; the same for every row."""
        days = np.array(self.reading_days)
        later = days[1:]
        target, inverse = np.unique(days_after_last, return_inverse=True)
        target = days[-1] + target
        known = self.covariance(later, later) + self.reading_variance * np.eye(later.size)
        surprise = np.array(self.reading_km[1:]) - self.reading_km[0] - self.km_per_day * later
        cross = self.covariance(later, target)
        weights = np.linalg.solve(known, cross)
        mean = self.reading_km[0] + self.km_per_day * target + weights.T @ surprise
        variance = np.diag(self.covariance(target, target)) - np.sum(cross * weights, axis=0)
        shape = np.broadcast_shapes(days_after_last.shape, rows.shape)
        return (
            np.broadcast_to((mean - self.reading_km[-1])[inverse].reshape(days_after_last.shape), shape),
            np.broadcast_to(variance[inverse].reshape(days_after_last.shape), shape),
        )
