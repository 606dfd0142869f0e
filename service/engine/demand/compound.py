"""Top-ups: a Poisson number of small quantities, summed."""

from typing import Final

import numpy as np
from scipy import fft

from service.engine.arrays import Floats
from service.errors import InvalidInputError

# Standard deviations above the mean that the transform leaves room for: nothing may wrap around. Own choice.
_ROOM_SD: Final = 15.0


def compound_poisson_mass(rate: float | Floats, size_mass: Floats) -> Floats:
    """Distribution of the sum of a Poisson number of independent sizes, by Fourier transform.

    Parameters
    ----------
    rate : float or ndarray, shape (...)
        Expected number of top-ups in the window, >= 0.
    size_mass : ndarray, shape (length,) or (..., length), float64
        size_mass[k] is the probability that one top-up takes k lattice steps; sums to one.

    Returns
    -------
    ndarray, shape (..., m), float64
        Probability that the sum is 0, 1, 2 ... lattice steps.

    Raises
    ------
    InvalidInputError
        If the rate is negative or not finite.

    Notes
    -----
    exp(rate (phi - 1)) with phi the transform of the sizes; the transform is longer than the mean plus
    15 standard deviations plus 20 sizes, so aliasing is below 1e-12. O(m log m). The recursion of Panjer
    gives the same numbers and is the check.

    References
    ----------
    .. [1] Panjer, "Recursive evaluation of a family of compound distributions", ASTIN Bulletin 12, 1981.
    .. [2] Embrechts & Frei, "Panjer recursion versus FFT for compound distributions", 2009.
    """
    expected = np.asarray(rate, np.float64)
    if not np.all(np.isfinite(expected) & (expected >= 0.0)):
        raise InvalidInputError.at("/rate", "an expected number of top-ups is finite and at least 0")
    if not expected.any():
        return np.ones((*expected.shape, 1))
    steps = np.arange(size_mass.shape[-1])
    mean = expected * (size_mass @ steps)
    sd = np.sqrt(expected * (size_mass @ steps**2))
    longest = int(np.ceil((mean + _ROOM_SD * sd).max())) + 20 * steps.size
    size = fft.next_fast_len(longest, real=True)
    mass = fft.irfft(np.exp(expected[..., None] * (fft.rfft(size_mass, size) - 1.0)), size)
    return np.clip(mass, 0.0, None)


def compound_poisson_cumulants(rate: Floats, raw_moments: Floats) -> Floats:
    """First three cumulants of a compound Poisson sum: rate times the raw moments of one size.

    Parameters
    ----------
    rate : ndarray, any shape, float64
        Expected number of top-ups.
    raw_moments : ndarray, shape (3,), float64
        E X, E X^2, E X^3 of one top-up.

    Returns
    -------
    ndarray, shape (3, *rate.shape), float64
    """
    return raw_moments.reshape((3,) + (1,) * rate.ndim) * rate[None]
