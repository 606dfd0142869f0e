"""One step of the filter for a block of vehicles: the equations and nothing else."""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]


@dataclass(slots=True, kw_only=True)
class Memory:
    """Moments of (odometer, temporary deviation, long-run rate) of a block of vehicles, each shape (b,).

    Means are split as in `UsageState`; the odometer's is relative to the last reading used. Rows of one matrix,
    so that a prefix of the block is a view.
    """

    data_x: Floats
    data_u: Floats
    data_m: Floats
    prior_x: Floats
    prior_u: Floats
    prior_m: Floats
    Pxx: Floats
    Pxu: Floats
    Pxm: Floats
    Puu: Floats
    Pum: Floats
    Pmm: Floats
    squares_data: Floats
    squares_cross: Floats
    squares_prior: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Dynamics:
    """Hyperparameters of a block, in the form the equations want, each shape (b,)."""

    theta: Floats
    inverse_theta: Floats
    temporary_variance: Floats
    noise_variance: Floats
    drift: Floats
    reading_variance: Floats


def odometer_noise(dynamics: Dynamics, gap: Floats, phi: Floats, psi: Floats) -> Floats:
    """Variance that the odometer gains over a gap beyond what the state at its start explains (Qxx)."""
    temporary = (2.0 * dynamics.inverse_theta * dynamics.temporary_variance) * (
        gap - 2.0 * psi + (1.0 - phi * phi) * (0.5 * dynamics.inverse_theta)
    )
    return temporary + dynamics.noise_variance * gap + dynamics.drift * (gap * gap * gap) / 3.0


def propagate(memory: Memory, dynamics: Dynamics, gap_days: Floats) -> None:
    """Move the moments of every vehicle of the block over its gap, in place.

    Notes
    -----
    Integrated Ornstein-Uhlenbeck motion with a drifting long-run rate,
    ``dx = (m + u) dt + s_w dW1``, ``du = -theta u dt + s_u sqrt(2 theta) dW2``, ``dm = sqrt(q_m) dW3``,
    in closed form for any gap [1]_.

    References
    ----------
    .. [1] Johnson, London, Lea, Durban, "Continuous-time correlated random walk model for animal telemetry
       data", Ecology 89(5), 2008; here with a drifting mean rate and white noise of distance added, derived.
    """
    d = gap_days
    phi = np.exp(-dynamics.theta * d)
    psi = (1.0 - phi) * dynamics.inverse_theta
    memory.data_x += psi * memory.data_u + d * memory.data_m
    memory.data_u *= phi
    memory.prior_x += psi * memory.prior_u + d * memory.prior_m
    memory.prior_u *= phi
    A = memory.Pxu + psi * memory.Puu + d * memory.Pum
    B = memory.Pxm + psi * memory.Pum + d * memory.Pmm
    drift_d = dynamics.drift * d
    memory.Pxx += psi * (memory.Pxu + A) + d * (memory.Pxm + B) + odometer_noise(dynamics, d, phi, psi)
    memory.Pxu[:] = phi * A + dynamics.temporary_variance * dynamics.theta * psi * psi
    memory.Pxm[:] = B + 0.5 * drift_d * d
    memory.Puu *= phi * phi
    memory.Puu += dynamics.temporary_variance * (1.0 - phi * phi)
    memory.Pum *= phi
    memory.Pmm += drift_d


def assimilate(memory: Memory, dynamics: Dynamics, distance_km: Floats) -> Floats:
    """Take in one reading a vehicle, in place; return the variance of its innovation.

    Parameters
    ----------
    memory, dynamics
        The block, propagated to the time of the reading.
    distance_km
        Distance since the last reading used. [km]

    Returns
    -------
    ndarray, shape (b,), float64
        Variance F of the innovation ``data - scale * prior`` km, in squared units of the scale.
    """
    F = memory.Pxx + dynamics.reading_variance
    inverse_F = 1.0 / F
    Ku, Km = memory.Pxu * inverse_F, memory.Pxm * inverse_F
    kept = dynamics.reading_variance * inverse_F
    e_data = distance_km - memory.data_x
    e_prior = memory.prior_x.copy()
    memory.data_x[:] = -kept * e_data
    memory.data_u += Ku * e_data
    memory.data_m += Km * e_data
    memory.prior_x *= kept
    memory.prior_u -= Ku * e_prior
    memory.prior_m -= Km * e_prior
    memory.Puu -= Ku * memory.Pxu
    memory.Pum -= Ku * memory.Pxm
    memory.Pmm -= Km * memory.Pxm
    memory.Pxx *= kept
    memory.Pxu *= kept
    memory.Pxm *= kept
    weighted = e_data * inverse_F
    memory.squares_data += weighted * e_data
    memory.squares_cross += weighted * e_prior
    memory.squares_prior += e_prior * e_prior * inverse_F
    return F
