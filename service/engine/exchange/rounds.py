"""Drain and fill, once or several times: how much of the old fluid is left."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Floats, Numbers
from service.engine.exchange.checks import require_within
from service.engine.exchange.mixing import blend, require_enough, share_of
from service.engine.exchange.state import FluidState
from service.errors import InvalidInputError


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoundsResult:
    """What n compartments hold after their rounds.

    Parameters
    ----------
    state : FluidState
        Afterwards.
    retained_share_by_round : ndarray, shape (n_rounds, n)
        Share of the charge that is still old after each round; 1 minus it is the fresh share. [-]
    released_15c_litres : ndarray, shape (n,)
        What ran off when the level was set, summed over the rounds. [L]
    """

    state: FluidState
    retained_share_by_round: Floats
    released_15c_litres: Floats


def exchange_rounds(
    state: FluidState,
    drained_15c_litres: Floats,
    added_15c_litres: Floats,
    *,
    level_15c_litres: Numbers | None = None,
) -> RoundsResult:
    """Drain, fill, mix and set the level, round by round.

    Parameters
    ----------
    state : FluidState
        n compartments before. Not modified.
    drained_15c_litres, added_15c_litres : ndarray, shape (n_rounds, n) or (n_rounds,), float64
        What came out and what went in, at 15 °C; they need not agree. A round of 0 and 0 changes
        nothing, so shorter services are padded with zeros. Not modified. [L]
    level_15c_litres : float or ndarray, shape (n,), optional
        The volume at which the level plug or standpipe runs off; what is above it is released after
        each round. Without it everything stays in.

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
    One round: f' = f (V − d) / (V − d + r), mass balance of an ideally mixed vessel (derived). What is released
    has mixed, which leaves f as it is; a standpipe that sheds new fluid before it has mixed leaves more. Fluid
    that hides in a converter is in `circuit`. O(n_rounds n).
    """
    drained, poured = _by_round(drained_15c_litres, added_15c_litres, len(state))
    level = None if level_15c_litres is None else require_within("level_15c_litres", level_15c_litres, 0.0)
    volume, retained = state.volume_15c_litres, np.ones(len(state))
    released, shares = np.zeros(len(state)), np.empty(drained.shape)
    for index, (out, into) in enumerate(zip(drained, poured, strict=True)):
        require_enough(out, volume)
        kept = np.maximum(volume - out, 0.0)
        volume = kept + into
        retained = retained * share_of(kept, volume)
        if level is not None:
            excess = np.maximum(volume - level, 0.0)
            released += excess
            volume = volume - excess
        shares[index] = retained
    return RoundsResult(
        state=blend(state, retained_share=retained, volume_15c_litres=volume),
        retained_share_by_round=shares,
        released_15c_litres=released,
    )


def _by_round(drained: Floats, added: Floats, n: int) -> tuple[Floats, Floats]:
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
