"""What a state says about life used, as probabilities."""

import numpy as np
from scipy.special import ndtri

from service.engine.arrays import Floats
from service.engine.exchange.checks import require_within
from service.engine.exchange.state import FluidState


def life_used_quantiles(state: FluidState, probabilities: Floats) -> Floats:
    """Quantiles of life used.

    Parameters
    ----------
    state : FluidState
        n compartments. Not modified.
    probabilities : ndarray, shape (n_probabilities,), float64
        Between 0 and 1. Not modified. [-]

    Returns
    -------
    ndarray, shape (n_probabilities, n), float64
        Not negative. [-]

    Raises
    ------
    InvalidInputError
        If a probability is not strictly between 0 and 1.

    Notes
    -----
    Normal error, held at 0 below. O(n_probabilities n).
    """
    scores = ndtri(require_within("probabilities", probabilities, 1e-12, 1.0 - 1e-12))
    deviation = np.sqrt(state.life_used_variance)
    return np.maximum(state.life_used + np.atleast_1d(scores)[:, np.newaxis] * deviation, 0.0)
