"""One step of the filter for a block of vehicles: the equations and nothing else."""

from dataclasses import dataclass, fields
from typing import Final

import numpy as np

from service.engine.arrays import Floats

MOMENTS: Final = (
    "data_x", "data_u", "data_m", "prior_x", "prior_u", "prior_m",
    "Pxx", "Pxu", "Pxm", "excess", "Pum", "Pmm",
    "squares_data", "squares_cross", "squares_prior",
)  # fmt: skip
"""The rows of `Memory`, in their order."""
_N_SCRATCH: Final = 8


class Memory:
    """Moments of (odometer, temporary deviation, long-run rate) of a block of vehicles, each shape (b,).

    Means are split as in `UsageState`; the odometer's is relative to the last reading used. `excess` is the variance
    of the temporary deviation above the one it comes back to, which the equations want. All are rows of one
    matrix, so that a prefix of the block is a view. Below them is room to compute in: a step allocates nothing,
    because what it works on then stays in the processor's cache.
    """

    def __init__(self, matrix: Floats) -> None:
        self.matrix = matrix
        self.data_x, self.data_u, self.data_m, self.prior_x, self.prior_u, self.prior_m = matrix[0:6]
        self.Pxx, self.Pxu, self.Pxm, self.excess, self.Pum, self.Pmm = matrix[6:12]
        self.squares_data, self.squares_cross, self.squares_prior = matrix[12:15]
        self.scratch: tuple[Floats, ...] = tuple(matrix[len(MOMENTS) :])

    @classmethod
    def empty(cls, size: int) -> "Memory":
        """Make room for a block of so many vehicles."""
        return cls(np.empty((len(MOMENTS) + _N_SCRATCH, size)))

    def prefix(self, size: int) -> "Memory":
        """Cut the block down to its first vehicles, as views."""
        return self if self.matrix.shape[1] == size else Memory(self.matrix[:, :size])


@dataclass(frozen=True, slots=True, kw_only=True)
class Dynamics:
    """Hyperparameters of a block, in the form the equations want, each shape (b,).

    `minus_theta` is ``-theta``, `settling` is ``2 temporary_variance / theta``, and `diffusion` adds to it the variance
    of a day's own distance: what an odometer's variance gains by the day once all has settled.
    """

    minus_theta: Floats
    inverse_theta: Floats
    temporary_variance: Floats
    settling: Floats
    diffusion: Floats
    drift: Floats
    reading_variance: Floats

    def prefix(self, size: int) -> "Dynamics":
        """Cut the block down to its first vehicles, as views."""
        if self.minus_theta.size == size:
            return self
        return Dynamics(**{field.name: getattr(self, field.name)[:size] for field in fields(self)})


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
    d, multiply = gap_days, np.multiply
    phi, psi, A, B, drift_d, half_drift_d2, one, other = memory.scratch
    Pxu, Pxm, excess, Pum, Pmm = memory.Pxu, memory.Pxm, memory.excess, memory.Pum, memory.Pmm
    multiply(dynamics.minus_theta, d, phi)
    np.exp(phi, phi)
    np.subtract(1.0, phi, psi)
    psi *= dynamics.inverse_theta
    _propagate_means(memory, d)
    # A = Pxu + psi excess + d Pum, and B = Pxm + psi Pum + d Pmm
    multiply(psi, excess, A)
    A += Pxu
    A += multiply(d, Pum, one)
    multiply(psi, Pum, B)
    B += Pxm
    B += multiply(d, Pmm, one)
    multiply(dynamics.drift, d, drift_d)
    multiply(drift_d, 0.5, half_drift_d2)
    half_drift_d2 *= d
    # Pxx += psi (Pxu + A - settling) + d (Pxm + B + diffusion + 2/3 half_drift_d2)
    Pxm += B
    multiply(half_drift_d2, 2.0 / 3.0, one)
    one += dynamics.diffusion
    Pxm += one
    np.add(Pxu, A, one)
    one -= dynamics.settling
    one *= psi
    one += multiply(d, Pxm, other)
    memory.Pxx += one
    # Pxu = phi A + s_u^2 psi, Pxm = B + half_drift_d2
    multiply(phi, A, Pxu)
    Pxu += multiply(dynamics.temporary_variance, psi, one)
    np.add(B, half_drift_d2, Pxm)
    excess *= multiply(phi, phi, one)
    Pum *= phi
    Pmm += drift_d


def _propagate_means(memory: Memory, d: Floats) -> None:
    """Move either part of the mean: x += psi u + d m, then u *= phi."""
    phi, psi, _, _, _, _, one, other = memory.scratch
    for x, u, m in (
        (memory.data_x, memory.data_u, memory.data_m),
        (memory.prior_x, memory.prior_u, memory.prior_m),
    ):
        np.multiply(psi, u, one)
        one += np.multiply(d, m, other)
        np.add(x, one, x)
        np.multiply(u, phi, u)


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
        Variance F of the innovation ``data - scale * prior`` km, in squared units of the scale; a view of the
        block's room, good until the next step.
    """
    multiply = np.multiply
    F: Floats
    F, inverse_F, kept, Ku, Km, weighted, one, _ = memory.scratch
    data_x, prior_x, Pxu, Pxm = memory.data_x, memory.prior_x, memory.Pxu, memory.Pxm
    np.add(memory.Pxx, dynamics.reading_variance, F)
    np.divide(1.0, F, inverse_F)
    multiply(Pxu, inverse_F, Ku)
    multiply(Pxm, inverse_F, Km)
    multiply(dynamics.reading_variance, inverse_F, kept)
    # What was expected less what came: the innovations' opposites, of either part of the mean.
    data_x -= distance_km
    multiply(data_x, inverse_F, weighted)
    memory.squares_data += multiply(weighted, data_x, one)
    memory.squares_cross -= multiply(weighted, prior_x, one)
    multiply(prior_x, prior_x, one)
    one *= inverse_F
    memory.squares_prior += one
    for moment, gain, response in (
        (memory.data_u, Ku, data_x),
        (memory.data_m, Km, data_x),
        (memory.prior_u, Ku, prior_x),
        (memory.prior_m, Km, prior_x),
        (memory.excess, Ku, Pxu),
        (memory.Pum, Ku, Pxm),
        (memory.Pmm, Km, Pxm),
    ):
        np.subtract(moment, multiply(gain, response, one), moment)
    for moment in (data_x, prior_x, memory.Pxx, Pxu, Pxm):
        multiply(moment, kept, moment)
    return F
