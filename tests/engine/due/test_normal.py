"""The table of the normal distribution function against `scipy.special.ndtr`."""

import numpy as np
import pytest
from scipy import special

from service.engine.due.normal import normal_probability
from service.engine.due.passage import SCORE_BOUND


@pytest.mark.parametrize(("dtype", "tolerance"), [(np.float64, 3e-8), (np.float32, 5e-7)])
def test_probabilities_of_either_precision(dtype: type, tolerance: float) -> None:
    scores = np.linspace(-SCORE_BOUND - 1.0, SCORE_BOUND + 1.0, 2_000_003).astype(dtype)
    probabilities = normal_probability(scores)
    assert probabilities.dtype == dtype
    np.testing.assert_allclose(probabilities, special.ndtr(scores), rtol=0.0, atol=tolerance)
    assert (np.diff(probabilities) >= -np.finfo(dtype).eps).all()


def test_small_probabilities_keep_their_digits() -> None:
    """To a thousandth of themselves in single precision too: interpolation between days goes by their logarithms."""
    scores = np.linspace(-SCORE_BOUND, 0.0, 1_000_003).astype(np.float32)
    np.testing.assert_allclose(normal_probability(scores), special.ndtr(scores.astype(np.float64)), rtol=1e-3)
