"""The distribution of a sum of independent quantities, exactly, by pairwise convolution."""

from typing import Final

import numpy as np
from scipy import fft

from service.engine.arrays import Floats

# Mass below this at both ends of a partial sum is dropped between levels. Own choice.
_DROP: Final = 1e-16


def _trim(masses: Floats) -> tuple[Floats, int]:
    """Cut columns that no row uses; the number of columns cut on the left comes back as a shift."""
    used = np.flatnonzero(masses.reshape(-1, masses.shape[-1]).max(axis=0) > _DROP)
    if used.size == 0:
        return masses[..., :1], 0
    low, high = int(used[0]), int(used[-1])
    return masses[..., low : high + 1], low


def convolve_independent(masses: Floats) -> tuple[Floats, int]:
    """Sum n independent quantities on one lattice.

    Parameters
    ----------
    masses : ndarray, shape (..., n, length), float64
        masses[..., i, k] is the probability that quantity i equals k lattice steps; rows sum to one. Leading
        axes are sums of their own, worked out together.

    Returns
    -------
    mass : ndarray, shape (..., m), float64
        Probabilities of the sum.
    shift : int
        Lattice steps of the first entry of `mass`.

    Notes
    -----
    Pairs are convolved by fast Fourier transform, then pairs of pairs. All rows of a level share one
    length, and columns that carry less than 1e-16 in every row are dropped between levels. The absolute
    error of one probability stays near 1e-15. O(N log(N)^2) for a total support of N.

    References
    ----------
    .. [1] Biscarri, Zhao & Brunner, "A simple and fast method for computing the Poisson binomial
       distribution function", Computational Statistics & Data Analysis 122, 2018.
    """
    level = np.asarray(masses, np.float64)
    if level.shape[-2] == 0:
        return np.ones((*level.shape[:-2], 1)), 0
    shift = 0
    while level.shape[-2] > 1:
        n_rows, length = level.shape[-2:]
        lone = level[..., -1, :] if n_rows % 2 else None
        size = fft.next_fast_len(2 * length - 1, real=True)
        spectrum = fft.rfft(level[..., : n_rows - n_rows % 2, :], size)
        product = spectrum[..., 0::2, :] * spectrum[..., 1::2, :]
        paired = fft.irfft(product, size)[..., : 2 * length - 1]
        np.clip(paired, 0.0, None, out=paired)
        # Every row of a level carries the same shift, so a row without a partner is moved to match.
        if lone is not None:
            paired, moved = _with_lone(paired, lone, shift), shift
        else:
            moved = 2 * shift
        level, cut = _trim(paired)
        shift = moved + cut
    return level[..., 0, :], shift


def _with_lone(paired: Floats, lone: Floats, shift: int) -> Floats:
    """Put pairs (shifted by 2 * shift) and a row without partner (shifted by `shift`) on one lattice."""
    *batch, n_rows, width = paired.shape
    level = np.zeros((*batch, n_rows + 1, width + shift))
    level[..., :n_rows, shift:] = paired
    level[..., n_rows, : lone.shape[-1]] = lone
    return level
