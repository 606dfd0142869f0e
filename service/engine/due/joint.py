"""The first of several correlated limits: the probability that it has been reached."""

from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from scipy import special

from service.engine.due.bivariate import dependence_excess
from service.engine.due.block import LimitBlock, Pair
from service.engine.due.limits import FloatArray, IntArray, Limit
from service.engine.due.motion import Motion
from service.engine.due.passage import SCORE_BOUND

_SMALLEST_PROBABILITY: Final = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstLimit:
    """The present limits of a block and the correlation of each pair, shape (n,)."""

    block: LimitBlock
    correlations: dict[Pair, FloatArray]

    def probability_at(self, columns: IntArray, days_ahead: FloatArray) -> FloatArray:
        """P(first limit reached by its own days ahead) for the named columns, shape (m,)."""
        motion = self.block.motion_at(columns, days_ahead)
        return self.probability(self.block.scores(motion), motion.columns)

    def score_at(self, columns: IntArray, days_ahead: FloatArray) -> FloatArray:
        """Give the normal score of `probability_at`."""
        motion = self.block.motion_at(columns, days_ahead)
        scores = self.block.scores(motion)
        return scores[0] if len(scores) == 1 else normal_score(self.probability(scores, motion.columns))

    def probability(self, scores: list[FloatArray], columns: IntArray | slice) -> FloatArray:
        """Probability that at least one limit has been reached, from the scores of each, shape (..., m).

        Notes
        -----
        Two limits: the bivariate normal distribution of the scores. Three: the largest of the three chains
        P(AB) P(BC) / P(B), that is, two limits taken as independent given that the third is not reached; within
        .02 of the trivariate distribution and .0005 on average (measured), and on the early side where the limits
        move together. Never less than the probability of any one limit: another limit only brings the date
        forward.
        """
        reached = [special.ndtr(score) for score in scores]
        if len(scores) == 1:
            return reached[0]
        alive = [special.ndtr(-score) for score in scores]
        both = {
            (a, b): alive[a] * alive[b]
            + dependence_excess(scores[a], scores[b], self.correlation(a, b)[columns])
            for a, b in combinations(range(len(scores)), 2)
        }
        probability: FloatArray = 1.0 - (both[0, 1] if len(scores) == 2 else _three_alive(alive, both))
        for one in reached:
            np.maximum(probability, one, out=probability)
        return np.minimum(probability, 1.0)

    def correlation(self, first: int, second: int) -> FloatArray:
        """Correlation of two present limits, by their place."""
        return self.correlations[self.block.present[first], self.block.present[second]]


def normal_score(probability: FloatArray) -> FloatArray:
    """Score z with Phi(z) = probability, within ±SCORE_BOUND."""
    score: FloatArray = np.clip(special.ndtri(probability), -SCORE_BOUND, SCORE_BOUND)
    return score


def joined(block: LimitBlock, motion: Motion, scores: list[FloatArray]) -> FirstLimit:
    """Join the limits of a block, given its motion and scores on a grid, shape (n_days, n).

    Notes
    -----
    The correlation of condition and a meter drifts slowly with time. It is taken once, at the first grid day on
    which a limit is more likely reached than not, so that the joint probability only rises while the scores rise.
    """
    if Limit.CONDITION not in block.present or len(scores) == 1:
        return FirstLimit(block=block, correlations=block.correlations(motion) if len(scores) > 1 else {})
    leading = np.maximum.reduce(scores)
    n_days, n = leading.shape
    n_before = np.minimum((leading < 0.0).sum(axis=0), n_days - 1)
    columns = np.arange(n, dtype=np.int64)
    days = np.broadcast_to(motion.days_ahead, leading.shape)[n_before, columns]
    return FirstLimit(block=block, correlations=block.correlations(block.motion_at(columns, days)))


def _three_alive(alive: list[FloatArray], both: dict[tuple[int, int], FloatArray]) -> FloatArray:
    chains = (
        both[0, 1] * both[0, 2] / np.maximum(alive[0], _SMALLEST_PROBABILITY),
        both[0, 1] * both[1, 2] / np.maximum(alive[1], _SMALLEST_PROBABILITY),
        both[0, 2] * both[1, 2] / np.maximum(alive[2], _SMALLEST_PROBABILITY),
    )
    largest = np.maximum(np.maximum(chains[0], chains[1]), chains[2])
    return np.minimum(np.minimum(largest, both[0, 1]), np.minimum(both[0, 2], both[1, 2]))
