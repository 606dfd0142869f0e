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


def propagate(memory: Memory, dynamics: Dynamics, gap_days: Floats) -> None:
    """Move the moments of every vehicle of the block over its gap, in place.

    Notes
    -----
    Integrated Ornstein-Uhlenbeck motion with a drifting long-run rate,
    ``dx = (m + u) dt + s_w dW1``, ``du = -theta u dt + s_u sqrt(2 theta) dW2``, ``dm = sqrt(q_m) dW3``,
    in closed form for any gap [1]_. With the variance of u as its excess over s_u^2, what the temporary deviation
    adds to the odometer's shrinks to ``2 s_u^2 / theta (d - psi)``.

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
    excess = memory.Puu - dynamics.temporary_variance
    A = memory.Pxu + psi * excess + d * memory.Pum
    B = memory.Pxm + psi * memory.Pum + d * memory.Pmm
    drift_d = dynamics.drift * d
    half_drift_d2 = 0.5 * drift_d * d
    settling = (2.0 * dynamics.temporary_variance * dynamics.inverse_theta) * (d - psi)
    memory.Pxm += B
    memory.Pxm += dynamics.noise_variance + (2.0 / 3.0) * half_drift_d2
    memory.Pxx += psi * (memory.Pxu + A) + d * memory.Pxm + settling
    np.multiply(phi, A, out=memory.Pxu)
    memory.Pxu += dynamics.temporary_variance * psi
    np.add(B, half_drift_d2, out=memory.Pxm)
    excess *= phi * phi
    np.add(excess, dynamics.temporary_variance, out=memory.Puu)
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
    # What was expected less what came: the innovations' opposites, of either part of the mean.
    data_x, prior_x = memory.data_x, memory.prior_x
    data_x -= distance_km
    weighted = data_x * inverse_F
    memory.squares_data += weighted * data_x
    memory.squares_cross -= weighted * prior_x
    memory.squares_prior += prior_x * prior_x * inverse_F
    memory.data_u -= Ku * data_x
    memory.data_m -= Km * data_x
    memory.prior_u -= Ku * prior_x
    memory.prior_m -= Km * prior_x
    memory.Puu -= Ku * memory.Pxu
    memory.Pum -= Ku * memory.Pxm
    memory.Pmm -= Km * memory.Pxm
    data_x *= kept
    prior_x *= kept
    memory.Pxx *= kept
    memory.Pxu *= kept
    memory.Pxm *= kept
    return F
