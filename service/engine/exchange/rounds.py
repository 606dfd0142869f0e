"""Drain and fill, once or several times: how much of the old fluid is left."""

from dataclasses import dataclass

import numpy as np

from service.engine.exchange.checks import FloatArray, Floats, require_within
from service.engine.exchange.mixing import NEW_FLUID, blend, require_enough, share_of
from service.engine.exchange.state import AddedFluid, FluidState
from service.errors import InvalidInputError


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoundsResult:
    """What n compartments hold after their rounds, and where the old fluid went.

    Parameters
    ----------
    state : FluidState
        Afterwards.
    retained_share_by_round : ndarray, shape (n_rounds, n)
        Share of the charge that is still old after each round; 1 minus it is the fresh share. [-]
    drained_15c_litres, added_15c_litres, released_15c_litres : ndarray, shape (n,)
        Sums over the rounds; released is what ran off when the level was set. [L]
    old_drained_15c_litres, old_released_15c_litres : ndarray, shape (n,)
        The old fluid in them; with what is left they add up to what was there before. [L]
    """

    state: FluidState
    retained_share_by_round: FloatArray
    drained_15c_litres: FloatArray
    added_15c_litres: FloatArray
    released_15c_litres: FloatArray
    old_drained_15c_litres: FloatArray
    old_released_15c_litres: FloatArray

    @property
    def fresh_share(self) -> FloatArray:
        """Share of the charge that is new at the end, shape (n,)."""
        retained: FloatArray = self.retained_share_by_round[-1]
        return 1.0 - retained


def exchange_rounds(
    state: FluidState,
    drained_15c_litres: FloatArray,
    added_15c_litres: FloatArray,
    *,
    added: AddedFluid = NEW_FLUID,
    level_15c_litres: Floats | None = None,
    is_shed_before_mixing: bool = False,
    volume_sd_litres: Floats = 0.0,
) -> RoundsResult:
    """Drain, fill, mix and set the level, round by round.

    Parameters
    ----------
    state : FluidState
        n compartments before. Not modified.
    drained_15c_litres, added_15c_litres : ndarray, shape (n_rounds, n) or (n_rounds,), float64
        What came out and what went in, at 15 °C; they need not agree. A round of 0 and 0 changes
        nothing, so shorter services are padded with zeros. Not modified. [L]
    added : AddedFluid
        What was poured in.
    level_15c_litres : float or ndarray, shape (n,), optional
        The volume at which the level plug or standpipe runs off; what is above it is released after
        each round. Without it everything stays in.
    is_shed_before_mixing : bool
        True if the excess runs off before the fluid has mixed, so that new fluid is lost. The worse
        limit of the two; the truth lies between.
    volume_sd_litres : float or ndarray, shape (n,)
        Standard deviation of the total volume, which the rounds share. [L]

    Returns
    -------
    RoundsResult

    Raises
    ------
    InvalidInputError
        If litres are negative or not a number, if a round drains more than there is, or if the shapes
        do not fit together.

    Notes
    -----
    One round: f' = f (V − d) / (V − d + r), mass balance of an ideally mixed vessel (derived). A release
    of mixed fluid leaves f as it is. The error of V is common to all rounds, so sd(f) adds up linearly;
    for one round of equal litres it is (d/V²) sd(V). Fluid that hides in a converter is in `circuit`.
    O(n_rounds n).
    """
    drained, poured = _by_round(drained_15c_litres, added_15c_litres, len(state))
    level = None if level_15c_litres is None else require_within("level_15c_litres", level_15c_litres, 0.0)
    volume_sd = require_within("volume_sd_litres", volume_sd_litres, 0.0)
    walk = _Walk(state.volume_15c_litres)
    shares = np.empty(drained.shape)
    for index in range(drained.shape[0]):
        require_enough(drained[index], walk.volume)
        walk.drain(drained[index], volume_sd)
        walk.fill(poured[index], level if is_shed_before_mixing else None)
        if level is not None:
            walk.release_above(level)
        shares[index] = walk.retained
    return RoundsResult(
        state=blend(
            state,
            added,
            retained_share=walk.retained,
            volume_15c_litres=walk.volume,
            retained_share_sd=walk.retained_sd,
        ),
        retained_share_by_round=shares,
        drained_15c_litres=drained.sum(axis=0),
        added_15c_litres=poured.sum(axis=0),
        released_15c_litres=walk.released,
        old_drained_15c_litres=walk.old_drained,
        old_released_15c_litres=walk.old_released,
    )


class _Walk:
    """The volumes on the way through the rounds; every array is its own, none is the caller's."""

    def __init__(self, volume: FloatArray) -> None:
        n = volume.shape[0]
        self.volume = np.array(volume)
        self.retained = np.ones(n)
        self.retained_sd = np.zeros(n)
        self.released = np.zeros(n)
        self.old_drained = np.zeros(n)
        self.old_released = np.zeros(n)
        self._kept = self.volume

    def drain(self, litres: FloatArray, volume_sd: FloatArray) -> None:
        if np.any(volume_sd > 0.0):
            # sd of the share that one drain leaves, d/V² · sd(V); it multiplies the old share at hand
            share_sd = np.divide(
                litres * volume_sd,
                np.square(self.volume),
                out=np.zeros(self.volume.shape),
                where=self.volume > 0.0,
            )
            drained_share = np.divide(
                litres, self.volume, out=np.zeros(self.volume.shape), where=self.volume > 0.0
            )
            self.retained_sd = self.retained_sd * (1.0 - drained_share) + self.retained * share_sd
        self.old_drained += self.retained * litres
        self._kept = np.maximum(self.volume - litres, 0.0)

    def fill(self, litres: FloatArray, shed_above: FloatArray | None) -> None:
        if shed_above is not None:
            stays = np.clip(shed_above - self._kept, 0.0, litres)
            self.released += litres - stays
            litres = stays
        self.volume = self._kept + litres
        self.retained *= share_of(self._kept, self.volume)

    def release_above(self, level: FloatArray) -> None:
        excess = np.maximum(self.volume - level, 0.0)
        self.released += excess
        self.old_released += excess * self.retained
        self.volume = self.volume - excess


def _by_round(drained: FloatArray, added: FloatArray, n: int) -> tuple[FloatArray, FloatArray]:
    columns = []
    for name, values in (("drained_15c_litres", drained), ("added_15c_litres", added)):
        litres = np.atleast_1d(require_within(name, values, 0.0))
        columns.append(litres[:, np.newaxis] if litres.ndim == 1 else litres)
    n_rounds = max(column.shape[0] for column in columns)
    if n_rounds == 0 or any(column.ndim != 2 or column.shape[0] != n_rounds for column in columns):
        raise InvalidInputError("drained and added litres need one row for each round, and as many of each")
    try:
        return np.broadcast_to(columns[0], (n_rounds, n)), np.broadcast_to(columns[1], (n_rounds, n))
    except ValueError as error:
        raise InvalidInputError(f"litres need one column for each of the {n} compartments") from error
