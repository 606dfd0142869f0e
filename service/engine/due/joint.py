"""The first of several correlated limits: the probability that it has been reached."""

from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from scipy import special

from service.engine.arrays import Floats, Integers
from service.engine.due import precision
from service.engine.due.bivariate import Dependence
from service.engine.due.block import LimitBlock
from service.engine.due.motion import Motion
from service.engine.due.normal import normal_probability
from service.engine.due.precision import AnyFloats

Between = dict[tuple[int, int], Dependence]

_SMALLEST_PROBABILITY: Final = 1e-30
_SMALLEST_ODDS: Final = 1e-16


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstLimit:
    """The present limits of a block and the dependence of each pair, by their places.

    It is followed by a level that only rises: the normal score of the one limit, or the probability of several, which
    is cheapest to have. Its score is the level drawn out to nearly a straight line: the same, or the log odds.
    """

    block: LimitBlock
    between: Between

    @property
    def is_alone(self) -> bool:
        """Whether the block has one limit only."""
        return len(self.block.present) == 1

    def level_at(self, columns: Integers, days_ahead: Floats) -> AnyFloats:
        """Give the level of the named columns, each at its own days ahead, shape (m,)."""
        scores = self.block.scores(self.block.motion_at(columns, days_ahead), self.block.score_type)
        if self.is_alone:
            alone: AnyFloats = scores[0]
            return alone
        between = {pair: dependence.of_columns(columns) for pair, dependence in self.between.items()}
        return first_probability(scores, normal_probability(scores), between)

    def level_of(self, probability: Floats) -> AnyFloats:
        """Turn the probability that the first limit has been reached into a level."""
        level: AnyFloats = special.ndtri(probability) if self.is_alone else probability.astype(precision.WORK)
        return level

    def score_of(self, level: AnyFloats) -> Floats:
        """Turn a level into its score."""
        if self.is_alone:
            return level.astype(np.float64, copy=False)
        odds = level.astype(np.float64)
        np.clip(odds, _SMALLEST_ODDS, 1.0 - _SMALLEST_ODDS, out=odds)
        odds /= 1.0 - odds
        return np.log(odds, out=odds)

    def probability_of(self, level: AnyFloats) -> AnyFloats:
        """Turn a level back into the probability."""
        return normal_probability(level) if self.is_alone else level

    def probability_on(self, motion: Motion) -> AnyFloats:
        """Give the probability at one time for all columns, in double precision: no rounding hides one more limit."""
        scores = self.block.scores(motion, np.float64)
        reached = normal_probability(scores)
        return reached[0] if self.is_alone else first_probability(scores, reached, self.between)


def first_probability(scores: AnyFloats, reached: AnyFloats, between: Between) -> AnyFloats:
    """Give the probability that at least one of two or three limits has been reached.

    Parameters
    ----------
    scores, reached : ndarray, shape (n_limits, n)
        Score of each limit, and its probability.
    between : dict
        Dependence of each pair.

    Returns
    -------
    ndarray, shape (n,), precision of `scores`
        Never less than the probability of any one limit: another limit only brings the date forward.

    Notes
    -----
    Two limits: the bivariate normal distribution of the scores. Three: the largest of the three chains
    P(AB) P(BC) / P(B), that is, two limits taken as independent given that the third is not reached; within .02 of
    the trivariate distribution and .0005 on average (measured), and on the early side where the limits move together.
    """
    bounds = scores.astype(precision.WORK, copy=False)
    excess = {(a, b): dependence.excess(bounds[a], bounds[b]) for (a, b), dependence in between.items()}
    probability: AnyFloats
    if len(scores) == 2:  # added up from the small, which keeps the digits of small ones
        probability = reached[0] + reached[1] - reached[0] * reached[1] - excess[0, 1]
    else:
        alive = 1.0 - reached
        both = {(a, b): alive[a] * alive[b] + excess[a, b] for a, b in between}
        probability = 1.0 - _three_alive(alive, both)
    for one in reached:
        np.maximum(probability, one, out=probability)
    return np.clip(probability, 0.0, 1.0, out=probability)


def joined(block: LimitBlock, motion: Motion, scores: AnyFloats) -> FirstLimit:
    """Join the limits of a block, given its motion and scores on a grid, shape (n_days, n_limits, n).

    Notes
    -----
    The correlation of condition and a meter drifts slowly with time. It is taken once, at the first grid day on
    which a limit is more likely reached than not, so that the joint probability only rises while the scores rise.
    """
    n_days, n_limits, n = scores.shape
    if n_limits == 1:
        return FirstLimit(block=block, between={})
    n_before = np.zeros(n, dtype=np.int64)
    for today in scores[: n_days - 1]:
        n_before += (today < 0.0).all(axis=0)
    correlations = block.correlations(motion.on_days(n_before))
    places = combinations(range(n_limits), 2)
    between = {
        (a, b): Dependence.of(correlations[block.present[a], block.present[b]], precision.WORK)
        for a, b in places
    }
    return FirstLimit(block=block, between=between)


def _three_alive(alive: AnyFloats, both: dict[tuple[int, int], AnyFloats]) -> AnyFloats:
    chains = (
        both[0, 1] * both[0, 2] / np.maximum(alive[0], _SMALLEST_PROBABILITY),
        both[0, 1] * both[1, 2] / np.maximum(alive[1], _SMALLEST_PROBABILITY),
        both[0, 2] * both[1, 2] / np.maximum(alive[2], _SMALLEST_PROBABILITY),
    )
    largest = np.maximum(np.maximum(chains[0], chains[1]), chains[2])
    by_pairs = np.minimum(np.minimum(both[0, 1], both[0, 2]), both[1, 2])
    alive_all: AnyFloats = np.minimum(by_pairs, largest)
    return alive_all
