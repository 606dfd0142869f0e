"""The sum of two independent demands, distribution by distribution."""

import numpy as np
from scipy import fft

from service.engine.arrays import Floats
from service.engine.demand.lattice import LatticeDistributions, pack_distributions
from service.engine.demand.quantities import quantity_mass
from service.errors import InvalidInputError


def add_independent(first: LatticeDistributions, second: LatticeDistributions) -> LatticeDistributions:
    """Add two independent quantities, one pair after the other.

    Parameters
    ----------
    first, second : LatticeDistributions
        n distributions each, in one unit. [L or pieces]

    Returns
    -------
    LatticeDistributions
        n distributions on the wider of the two steps.

    Raises
    ------
    InvalidInputError
        If there are not as many of one as of the other.

    Notes
    -----
    What lies between two points of the wider lattice is shared between them, so means add up exactly and
    variances within a quarter of the squared step. O(m log m) a pair.
    """
    if first.first_quantity.size != second.first_quantity.size:
        raise InvalidInputError.at("/second", "as many distributions as of the first")
    step = np.maximum(first.step_quantity, second.step_quantity)
    masses = []
    for place in range(step.size):
        one = _from_zero(first, place, float(step[place]))
        other = _from_zero(second, place, float(step[place]))
        length = one.size + other.size - 1
        size = fft.next_fast_len(length, real=True)
        product = fft.rfft(one, size) * fft.rfft(other, size)
        masses.append(np.clip(fft.irfft(product, size)[:length], 0.0, None))
    return pack_distributions(np.zeros(step.size), step, masses)


def _from_zero(distributions: LatticeDistributions, place: int, step_quantity: float) -> Floats:
    """Mass function of one distribution on a lattice from zero."""
    mass = distributions.probability[distributions.offsets[place] : distributions.offsets[place + 1]]
    quantity = distributions.first_quantity[place] + distributions.step_quantity[place] * np.arange(mass.size)
    every = np.array([0, mass.size], np.int64)
    on_lattice: Floats = quantity_mass(quantity, mass, every, step_quantity)[0]
    return on_lattice
