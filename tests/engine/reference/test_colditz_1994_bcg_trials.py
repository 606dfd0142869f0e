"""Between-group variance against a published meta-analysis.

Source: thirteen trials of the BCG vaccine, Colditz et al., JAMA 271 (1994) 698; counts as reprinted in many
textbooks (from memory). Published result by DerSimonian and Laird: τ² 0.3088 (from memory), which
statsmodels 0.15.0 `combine_effects` reproduces here.
"""

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from service.engine.evidence.learning import between_groups_variance

CASES_AND_OTHERS = np.array(
    [
        [4, 119, 11, 128],
        [6, 300, 29, 274],
        [3, 228, 11, 209],
        [62, 13536, 248, 12619],
        [33, 5036, 47, 5761],
        [180, 1361, 372, 1079],
        [8, 2537, 10, 619],
        [505, 87886, 499, 87892],
        [29, 7470, 45, 7232],
        [17, 1699, 65, 1600],
        [186, 50448, 141, 27197],
        [5, 2493, 3, 2338],
        [27, 16886, 29, 17825],
    ],
    dtype=np.float64,
)


def test_variance_between_the_trials() -> None:
    treated, control = CASES_AND_OTHERS[:, :2], CASES_AND_OTHERS[:, 2:]
    effect = np.log(treated[:, 0] / treated.sum(axis=1)) - np.log(control[:, 0] / control.sum(axis=1))
    variance = sum(1.0 / side[:, 0] - 1.0 / side.sum(axis=1) for side in (treated, control))
    found = between_groups_variance(effect, variance)
    assert found == pytest.approx(0.3088, abs=5e-5)
    assert found == pytest.approx(combine_effects(effect, variance, method_re="dl").tau2, rel=1e-12)


def test_trials_that_agree_have_none_and_one_trial_shows_none() -> None:
    assert between_groups_variance(np.array([0.10, 0.11, 0.09]), np.full(3, 0.04)) == 0.0
    assert between_groups_variance(np.array([0.4]), np.array([0.01])) == 0.0
