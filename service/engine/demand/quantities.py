"""The quantity of one job as a mass function on the lattice, and its moments."""

import numpy as np

from service.engine.arrays import Floats, Integers


def quantity_mass(
    quantity: Floats,
    probability: Floats,
    offsets: Integers,
    step_quantity: float,
) -> Floats:
    """Mass functions of n quantities on a common lattice.

    Parameters
    ----------
    quantity, probability : ndarray, shape (total,), float64
        Ways and their probabilities, ragged by `offsets`. [L or pieces]
    offsets : ndarray, shape (n + 1,), int64
        Where each quantity's ways begin.
    step_quantity : float
        Lattice spacing. [L or pieces]

    Returns
    -------
    ndarray, shape (n, length), float64
        Rows sum to one.

    Notes
    -----
    A quantity between two lattice points is shared between them so that the mean stays exact: rounding
    every job would bias the sum, sharing adds at most step^2 / 4 to a job's variance.
    """
    n_quantities = offsets.size - 1
    scaled = quantity / step_quantity
    nearest = np.rint(scaled)
    scaled = np.where(np.abs(scaled - nearest) < 1e-9, nearest, scaled)
    low = np.floor(scaled).astype(np.int64)
    upper_share = scaled - low
    length = int(low.max()) + 2 if low.size else 1
    row = np.repeat(np.arange(n_quantities), np.diff(offsets))
    mass = np.zeros((n_quantities, length))
    np.add.at(mass, (row, low), probability * (1.0 - upper_share))
    np.add.at(mass, (row, low + 1), probability * upper_share)
    return mass


def raw_moments(quantity: Floats, probability: Floats, offsets: Integers) -> Floats:
    """E X, E X^2 and E X^3 of n quantities, shape (3, n)."""
    powers = np.stack([quantity, quantity**2, quantity**3]) * probability
    return np.add.reduceat(powers, offsets[:-1], axis=1) if quantity.size else np.zeros((3, offsets.size - 1))


def cumulants_from_raw(moments: Floats) -> Floats:
    """Mean, variance and third cumulant from the first three raw moments, along the first axis."""
    first, second, third = moments
    return np.stack([first, second - first**2, third - 3.0 * first * second + 2.0 * first**3])


def raw_from_cumulants(cumulants: Floats) -> Floats:
    """First three raw moments from mean, variance and third cumulant, along the first axis."""
    mean, variance, third = cumulants
    return np.stack([mean, variance + mean**2, third + 3.0 * mean * variance + mean**3])
