"""Demand of one pool in one window of weeks: exact mass function, or its first three cumulants."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from service.engine.demand.comonotone import window_cases
from service.engine.demand.compound import compound_poisson_mass
from service.engine.demand.convolution import convolve_independent
from service.engine.demand.quantities import cumulants_from_raw, raw_from_cumulants

# Groups less likely than this to need anything in a window are left out of the exact sum. Own choice.
_NEGLIGIBLE = 1e-13


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupBlock:
    """Groups of one size in one pool, with what each member takes when it falls due."""

    members: NDArray[np.int64]
    """Shape (groups, m): row of each member in the probabilities."""
    cumulants: NDArray[np.float64]
    """Shape (3, groups, m): of the quantity of each member."""
    mass: NDArray[np.float64]
    """Shape (groups, m, length): mass function of the quantity of each member."""


def block_cumulants(
    block: GroupBlock, start: NDArray[np.float64], end: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Cumulants of the sum over a block's groups, and how many of them are uncertain.

    Parameters
    ----------
    block : GroupBlock
        Groups of m members.
    start, end : ndarray, shape (nodes, n, weeks), float64
        Cumulative probability of each job at the start and end of each window.

    Returns
    -------
    cumulants : ndarray, shape (3, nodes, weeks), float64
    n_uncertain : ndarray, shape (nodes, weeks), int64
        Groups that may or may not need something.
    """
    begin = np.swapaxes(start[:, block.members], 2, 3)
    finish = np.swapaxes(end[:, block.members], 2, 3)
    probability, falls_in = window_cases(begin, finish)
    raw = np.zeros((3, *begin.shape[:3]))
    for case in range(probability.shape[-1]):
        chosen = falls_in[..., case, :].astype(np.float64)
        if falls_in.ndim == 2:
            sums = (block.cumulants @ chosen)[:, None, :, None]
        else:
            sums = np.einsum("zgwm,cgm->czgw", chosen, block.cumulants)
        raw += raw_from_cumulants(sums) * probability[..., case]
    cumulants = cumulants_from_raw(raw)
    is_uncertain = (probability.sum(axis=-1) > _NEGLIGIBLE) & (cumulants[1] > 0.0)
    return cumulants.sum(axis=2), is_uncertain.sum(axis=1)


def _group_masses(
    block: GroupBlock, start: NDArray[np.float64], end: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Mass functions in one window of the groups that may need something, shape (groups, length)."""
    probability, falls_in = window_cases(start[block.members], end[block.members])
    active = probability.sum(axis=-1) > _NEGLIGIBLE
    probability, mass, n_members = probability[active], block.mass[active], block.members.shape[1]
    nothing = np.maximum(1.0 - probability.sum(axis=-1), 0.0)
    if n_members == 1:
        result: NDArray[np.float64] = mass[:, 0] * probability
        result[:, 0] += nothing
        return result
    falls_in = falls_in[active] if falls_in.ndim > 2 else falls_in
    length = n_members * (mass.shape[2] - 1) + 1
    size = fft.next_fast_len(length, real=True)
    spectrum = fft.rfft(mass, size, axis=2)
    total = np.zeros((mass.shape[0], spectrum.shape[2]), np.complex128) + nothing[:, None]
    for case in range(probability.shape[-1]):
        chosen = falls_in[..., case, :]
        product = np.where(chosen[..., None], spectrum, 1.0).prod(axis=1)
        total += probability[:, case][:, None] * product
    return np.clip(fft.irfft(total, size, axis=1)[:, :length], 0.0, None)


def _pool_rare(
    rows: NDArray[np.float64], rare_probability: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Split off the rows that hardly ever need anything, as one compound Poisson sum: (other rows, its mass)."""
    needs = 1.0 - rows[:, 0]
    is_rare = needs < rare_probability
    rate = float(needs[is_rare].sum())
    if rate <= 0.0:
        return rows[~is_rare], np.ones(1)
    size = rows[is_rare].sum(axis=0)
    size[0] = 0.0
    return rows[~is_rare], compound_poisson_mass(rate, size / size.sum())


def _convolve_two(first: NDArray[np.float64], second: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mass of a sum of two, both from zero."""
    length = first.size + second.size - 1
    size = fft.next_fast_len(length, real=True)
    return np.clip(fft.irfft(fft.rfft(first, size) * fft.rfft(second, size), size)[:length], 0.0, None)


def exact_mass(
    blocks: list[GroupBlock],
    start: NDArray[np.float64],
    end: NDArray[np.float64],
    extra_mass: NDArray[np.float64] | None,
    rare_probability: float = 0.0,
) -> NDArray[np.float64]:
    """Mass function of a pool's demand in one window of one usage scenario.

    Parameters
    ----------
    blocks : list of GroupBlock
        The pool's groups.
    start, end : ndarray, shape (n,), float64
        Cumulative probability of each job at the bounds of the window.
    extra_mass : ndarray or None
        Mass function of top-ups in the window, on the same lattice from zero.
    rare_probability : float
        Groups less likely than this to need anything are counted as a compound Poisson sum; 0 is exact.

    Returns
    -------
    ndarray, shape (m,), float64
        Probability of 0, 1, 2 ... lattice steps.

    Notes
    -----
    The distribution function errs by at most the sum of the squared probabilities of the rare groups.

    References
    ----------
    .. [1] Le Cam, "An approximation theorem for the Poisson binomial distribution", 1960.
    """
    parts = [_group_masses(block, start, end) for block in blocks]
    parts = [part for part in parts if part.shape[0]]
    length = max((part.shape[1] for part in parts), default=1)
    rows = [np.pad(part, ((0, 0), (0, length - part.shape[1]))) for part in parts]
    table = np.concatenate(rows) if rows else np.zeros((0, 1))
    table, rare_mass = _pool_rare(table, rare_probability)
    mass, shift = convolve_independent(table)
    mass = np.concatenate([np.zeros(shift), mass])
    for other in (rare_mass, extra_mass):
        if other is not None and other.size > 1:
            mass = _convolve_two(mass, other)
    return mass
