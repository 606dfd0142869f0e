"""Many discrete distributions on evenly spaced quantities, kept as one ragged array."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.errors import InvalidInputError

# Slack in comparisons of summed probabilities; far above float64 rounding of a cumulative sum. Own choice.
PROBABILITY_SLACK: Final = 1e-9
# Mass cut from either tail when a distribution is stored. Own choice.
TAIL_MASS: Final = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class LatticeDistributions:
    """Distributions of non-negative quantities; distribution i has mass probability[offsets[i]:offsets[i+1]].

    The k-th mass of distribution i sits at first_quantity[i] + k * step_quantity[i]; each sums to one.
    Quantities are in the caller's unit: litres of a fluid, or pieces of a seal.
    """

    first_quantity: Floats
    step_quantity: Floats
    probability: Floats
    offsets: Integers


def pack_distributions(
    first_quantity: Floats,
    step_quantity: Floats,
    masses: list[Floats],
) -> LatticeDistributions:
    """Trim the tails of each mass function, scale it to one, and store all of them in one ragged array.

    Parameters
    ----------
    first_quantity : ndarray, shape (n,), float64
        Quantity of the first mass. [L or pieces]
    step_quantity : ndarray, shape (n,), float64
        Spacing. [L or pieces]
    masses : list of n ndarrays, float64
        Probabilities, not necessarily summing to one.

    Returns
    -------
    LatticeDistributions

    Notes
    -----
    Tails lighter than `TAIL_MASS` are cut. O(total mass points).
    """
    first = np.array(first_quantity, dtype=np.float64)
    kept: list[Floats] = []
    for index, mass in enumerate(masses):
        cumulative = np.cumsum(mass)
        low = int(np.searchsorted(cumulative, TAIL_MASS * cumulative[-1], side="right"))
        high = int(np.searchsorted(cumulative, cumulative[-1] * (1.0 - TAIL_MASS), side="left"))
        part = mass[low : high + 1]
        first[index] += low * step_quantity[index]
        kept.append(part / part.sum())
    sizes = np.array([part.size for part in kept], dtype=np.int64)
    offsets = np.concatenate([np.zeros(1, np.int64), np.cumsum(sizes)])
    probability = np.concatenate(kept) if kept else np.zeros(0)
    return LatticeDistributions(
        first_quantity=first,
        step_quantity=np.array(step_quantity, dtype=np.float64),
        probability=probability,
        offsets=offsets,
    )


def select_distributions(distributions: LatticeDistributions, index: Integers) -> LatticeDistributions:
    """Pick some distributions, in the order given; O(mass points picked)."""
    offsets = distributions.offsets
    parts = [distributions.probability[offsets[i] : offsets[i + 1]] for i in index.tolist()]
    sizes = np.array([part.size for part in parts], dtype=np.int64)
    return LatticeDistributions(
        first_quantity=distributions.first_quantity[index],
        step_quantity=distributions.step_quantity[index],
        probability=np.concatenate(parts) if parts else np.zeros(0),
        offsets=np.concatenate([np.zeros(1, np.int64), np.cumsum(sizes)]),
    )


def _support(distributions: LatticeDistributions) -> Floats:
    """Quantity of every mass point, shape (total,)."""
    sizes = np.diff(distributions.offsets)
    rank = np.arange(distributions.probability.size) - np.repeat(distributions.offsets[:-1], sizes)
    first = np.repeat(distributions.first_quantity, sizes)
    return first + rank * np.repeat(distributions.step_quantity, sizes)


def distribution_mean(distributions: LatticeDistributions) -> Floats:
    """Mean of each distribution, shape (n,), in the unit of the quantities."""
    weighted = distributions.probability * _support(distributions)
    return np.add.reduceat(weighted, distributions.offsets[:-1])


def distribution_quantile(distributions: LatticeDistributions, probability: float | Floats) -> Floats:
    """Smallest quantity whose cumulative probability reaches the one asked for.

    Parameters
    ----------
    distributions : LatticeDistributions
        n distributions.
    probability : float or ndarray broadcastable to shape (n,)
        Level in (0, 1].

    Returns
    -------
    ndarray, shape (n,), float64
        Quantile, on the lattice. [L or pieces]

    Raises
    ------
    InvalidInputError
        If a level is not in (0, 1].
    """
    levels = np.broadcast_to(np.asarray(probability, np.float64), distributions.first_quantity.shape)
    if not np.all((levels > 0.0) & (levels <= 1.0)):
        raise InvalidInputError.at("/probability", "a quantile level lies above 0 and at most at 1")
    cumulative = np.cumsum(distributions.probability)
    base = np.concatenate([np.zeros(1), cumulative])[distributions.offsets[:-1]]
    place = np.searchsorted(cumulative, base + levels - PROBABILITY_SLACK, side="left")
    place = np.clip(place, distributions.offsets[:-1], distributions.offsets[1:] - 1)
    rank = place - distributions.offsets[:-1]
    return distributions.first_quantity + rank * distributions.step_quantity


def _tail_sums(distributions: LatticeDistributions, quantity: Floats) -> tuple[Floats, Floats]:
    """P(D > x) and E[D; D > x] for x of shape (n, m)."""
    sizes = np.diff(distributions.offsets)
    scaled = (quantity - distributions.first_quantity[:, None]) / distributions.step_quantity[:, None]
    n_below = np.clip(np.floor(scaled + PROBABILITY_SLACK) + 1.0, 0.0, sizes[:, None]).astype(np.int64)
    place = distributions.offsets[:-1, None] + n_below
    ends = distributions.offsets[1:]
    mass = np.concatenate([np.zeros(1), np.cumsum(distributions.probability)])
    moment = np.concatenate([np.zeros(1), np.cumsum(distributions.probability * _support(distributions))])
    above = np.clip(mass[ends][:, None] - mass[place], 0.0, 1.0)
    return above, np.maximum(moment[ends][:, None] - moment[place], 0.0)


def probability_above(distributions: LatticeDistributions, quantity: Floats) -> Floats:
    """P(demand > stock) of each distribution for each of m stocks.

    Parameters
    ----------
    distributions : LatticeDistributions
        n distributions of demand.
    quantity : ndarray, shape (n, m), float64
        Stocks. [L or pieces]

    Returns
    -------
    ndarray, shape (n, m), float64
    """
    return _tail_sums(distributions, np.asarray(quantity, np.float64))[0]


def expected_excess(distributions: LatticeDistributions, quantity: Floats) -> Floats:
    """E(demand - stock)+ of each distribution for each of m stocks, shape (n, m), unit of the quantities."""
    stock = np.asarray(quantity, np.float64)
    above, moment = _tail_sums(distributions, stock)
    return np.maximum(moment - stock * above, 0.0)
