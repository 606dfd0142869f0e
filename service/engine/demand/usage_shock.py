"""One usage shock that the whole fleet shares, as a few weighted scenarios."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats
from service.errors import InvalidInputError

# Log standard deviation until a fleet's own weeks say otherwise; never zero. Common practice, no source.
DEFAULT_LOG_SD: Final = 0.05
DEFAULT_N_NODES: Final = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class UsageShock:
    """Scenarios of fleet-wide use: every usage rate is multiplied by factor[k] with probability weight[k]."""

    factor: Floats
    weight: Floats


def usage_shock_nodes(log_sd: float = DEFAULT_LOG_SD, n_nodes: int = DEFAULT_N_NODES) -> UsageShock:
    """Discretise exp(log_sd * Z), Z standard normal, by Gauss-Hermite quadrature.

    Parameters
    ----------
    log_sd : float
        Standard deviation of the logarithm of the shared factor, >= 0.
    n_nodes : int
        Number of scenarios, 1 to 64; ignored when log_sd is 0.

    Returns
    -------
    UsageShock
        Arrays of shape (n_nodes,); the median factor is 1.

    Raises
    ------
    InvalidInputError
        If log_sd is negative or not finite, or n_nodes is out of range.

    Notes
    -----
    Polynomials in Z up to degree 2 n_nodes - 1 are integrated exactly. Independent jobs average out over a
    fleet; this factor does not, and above about a hundred jobs it decides the width of the demand.

    References
    ----------
    .. [1] Abramowitz & Stegun, "Handbook of Mathematical Functions", 1964, 25.4.46.
    """
    if not (np.isfinite(log_sd) and log_sd >= 0.0):
        raise InvalidInputError.at("/log_sd", "the spread of fleet use is a finite number, at least 0")
    if not 1 <= n_nodes <= 64:
        raise InvalidInputError.at("/n_nodes", "between 1 and 64 scenarios")
    if log_sd == 0.0:
        return UsageShock(factor=np.ones(1), weight=np.ones(1))
    roots, weights = np.polynomial.hermite.hermgauss(n_nodes)
    return UsageShock(factor=np.exp(log_sd * np.sqrt(2.0) * roots), weight=weights / weights.sum())
