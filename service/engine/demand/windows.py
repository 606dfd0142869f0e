"""Demand of one pool in one window of weeks: exact mass function, or its first three cumulants."""

from dataclasses import dataclass

import numpy as np
from scipy import fft

from service.engine.arrays import Floats, Integers
from service.engine.demand.comonotone import window_cases
from service.engine.demand.compound import compound_poisson_mass
from service.engine.demand.convolution import convolve_independent
from service.engine.demand.quantities import cumulants_from_raw, raw_from_cumulants

# Groups less likely than this to need anything in a window are left out of the exact sum. Own choice.
_NEGLIGIBLE = 1e-13


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupBlock:
    """Groups of one size in one pool, with what each member takes when it falls due."""

    members: Integers
    """Shape (groups, m): row of each member in the probabilities."""
    cumulants: Floats
    """Shape (3, groups, m): of the quantity of each member."""
    mass: Floats
    """Shape (groups, m, length): mass function of the quantity of each member."""


def block_cumulants(block: GroupBlock, start: Floats, end: Floats) -> tuple[Floats, Integers]:
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


def _of_members(block: GroupBlock, by_week: Floats, weeks: Integers) -> Floats:
    """Bounds of the windows for the members of the groups, shape (windows, groups, m)."""
    own = np.moveaxis(by_week[:, block.members][..., weeks], 3, 1)
    return own.reshape(-1, *block.members.shape)


def _group_masses(block: GroupBlock, start: Floats, end: Floats) -> Floats:
    """Mass functions of the groups that may need something in any window, shape (windows, groups, length)."""
    probability, falls_in = window_cases(start, end)
    active = (probability.sum(axis=-1) > _NEGLIGIBLE).any(axis=0)
    probability, mass, n_members = probability[:, active], block.mass[active], block.members.shape[1]
    nothing = np.maximum(1.0 - probability.sum(axis=-1), 0.0)
    if n_members == 1:
        result: Floats = mass[:, 0] * probability
        result[..., 0] += nothing
        return result
    falls_in = falls_in[:, active] if falls_in.ndim > 2 else falls_in
    length = n_members * (mass.shape[2] - 1) + 1
    size = fft.next_fast_len(length, real=True)
    spectrum = fft.rfft(mass, size)
    total = np.zeros((*nothing.shape, spectrum.shape[2]), np.complex128) + nothing[..., None]
    for case in range(probability.shape[-1]):
        chosen = falls_in[..., case, :]
        product = np.where(chosen[..., None], spectrum, 1.0).prod(axis=-2)
        total += probability[..., case, None] * product
    return np.clip(fft.irfft(total, size)[..., :length], 0.0, None)


def _pool_rare(rows: Floats, rare_probability: float) -> tuple[Floats, Floats]:
    """Split off the rows that hardly ever need anything, as one compound Poisson sum: (other rows, its mass)."""
    needs = 1.0 - rows[..., 0]
    is_rare = needs < rare_probability
    rate = np.where(is_rare, needs, 0.0).sum(axis=1)
    if not rate.any():
        return rows, np.ones((rows.shape[0], 1))
    size = np.where(is_rare[..., None], rows, 0.0).sum(axis=1)
    size[:, 0] = 0.0
    amount = size.sum(axis=1)
    size[amount == 0.0, -1] = 1.0
    others = rows[:, ~is_rare.all(axis=0)]
    is_rare = is_rare[:, ~is_rare.all(axis=0)]
    nothing = np.zeros(rows.shape[2])
    nothing[0] = 1.0
    mass = compound_poisson_mass(np.where(amount > 0.0, rate, 0.0), size / size.sum(axis=1)[:, None])
    return np.where(is_rare[..., None], nothing, others), mass


def _convolve_two(first: Floats, second: Floats) -> Floats:
    """Masses of sums of two, both from zero, window by window."""
    length = first.shape[-1] + second.shape[-1] - 1
    size = fft.next_fast_len(length, real=True)
    return np.clip(fft.irfft(fft.rfft(first, size) * fft.rfft(second, size), size)[..., :length], 0.0, None)


def exact_masses(
    blocks: list[GroupBlock],
    start: Floats,
    end: Floats,
    weeks: Integers,
    extra_mass: Floats | None,
    rare_probability: float = 0.0,
) -> Floats:
    """Mass functions of a pool's demand in several windows: some weeks, in each usage scenario.

    Parameters
    ----------
    blocks : list of GroupBlock
        The pool's groups.
    start, end : ndarray, shape (nodes, n, all weeks), float64
        Cumulative probability of each job at the start and end of each window.
    weeks : ndarray, shape (weeks,), int64
        Weeks to work out; there are nodes * weeks windows, scenario by scenario.
    extra_mass : ndarray, shape (windows, length), or None
        Mass functions of top-ups in the windows, on the same lattice from zero.
    rare_probability : float
        Groups less likely than this to need anything are counted as a compound Poisson sum; 0 is exact.

    Returns
    -------
    ndarray, shape (windows, m), float64
        Probability of 0, 1, 2 ... lattice steps.

    Notes
    -----
    The distribution function errs by at most the sum of the squared probabilities of the rare groups. All
    windows are summed together, which on small pools takes a tenth of the time of one after the other.

    References
    ----------
    .. [1] Le Cam, "An approximation theorem for the Poisson binomial distribution", 1960.
    """
    parts = [
        _group_masses(block, _of_members(block, start, weeks), _of_members(block, end, weeks))
        for block in blocks
    ]
    length = max((part.shape[2] for part in parts if part.shape[1]), default=1)
    table = np.zeros((start.shape[0] * weeks.size, sum(part.shape[1] for part in parts), length))
    first = 0
    for part in parts:
        last = first + part.shape[1]
        width = min(part.shape[2], length)
        table[:, first:last, :width] = part[:, :, :width]
        first = last
    rare_mass = None
    if rare_probability > 0.0:
        table, rare_mass = _pool_rare(table, rare_probability)
    mass, shift = convolve_independent(table)
    mass = np.concatenate([np.zeros((mass.shape[0], shift)), mass], axis=1)
    for other in (rare_mass, extra_mass):
        if other is not None and other.shape[1] > 1:
            mass = _convolve_two(mass, other)
    return mass
