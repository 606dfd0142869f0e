"""Old share that each way of exchanging leaves, with its uncertainty."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Booleans, Floats
from service.engine.exchange.checks import require_within
from service.engine.exchange.circuit import circuit_rounds
from service.engine.exchange.line import retained_tanks_in_series, retained_well_mixed
from service.engine.exchange.mixing import require_enough
from service.engine.policy.inputs import ExchangeCase

MOST_ROUNDS: Final = 6
LINE_EXCHANGE_ROW: Final = MOST_ROUNDS
N_OPTIONS: Final = MOST_ROUNDS + 1

VOLUME_STEP: Final = 1e-4
"""Relative step of the derivative by the volume; the share is smooth, so its error is of this order."""

MOST_TANKS: Final = 3
"""Upper end of the range of tanks in series. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RetainedShares:
    """Rows 0 to 5: one to six rounds; row 6: line exchange. Arrays of shape (7, n).

    Parameters
    ----------
    retained, retained_sd : ndarray
        Old share and its standard deviation; 1 and 0 where a line exchange cannot be done. [-]
    litres_15c : ndarray
        New fluid that passes, without over-fill. [L]
    is_available : ndarray of bool
    """

    retained: Floats
    retained_sd: Floats
    litres_15c: Floats
    is_available: Booleans


def retained_shares(case: ExchangeCase) -> RetainedShares:
    """Old share after one to six rounds and after a line exchange.

    Parameters
    ----------
    case : ExchangeCase

    Returns
    -------
    RetainedShares

    Raises
    ------
    InvalidInputError
        If a round drains more than the plug can reach, or a value is out of range.

    Notes
    -----
    The error of the total volume enters through the derivative, the split between sump and converter held;
    for a line exchange it is half the span between one and three tanks (derived). O(n).
    """
    volume = require_within("volume_15c_litres", case.state.volume_15c_litres, 1e-6)
    line = np.broadcast_to(np.asarray(case.line_15c_litres, dtype=np.float64), volume.shape)
    can_line = ~np.isnan(line)
    passed = require_within("line_15c_litres", np.where(can_line, line, 0.0), 0.0)
    drained = np.broadcast_to(
        require_within("drained_15c_litres", case.drained_15c_litres, 0.0), volume.shape
    )
    by_rounds = rounds_retained(case, MOST_ROUNDS)
    slope = (rounds_retained(case, MOST_ROUNDS, 1.0 + VOLUME_STEP) - by_rounds) / (VOLUME_STEP * volume)
    turnovers = passed / volume
    span = retained_well_mixed(turnovers) - retained_tanks_in_series(turnovers, MOST_TANKS)
    volume_sd = require_within("volume_sd_litres", case.volume_sd_litres, 0.0)
    return RetainedShares(
        retained=np.vstack([by_rounds, retained_tanks_in_series(turnovers)]),
        retained_sd=np.vstack([slope * volume_sd, 0.5 * span]),
        litres_15c=np.vstack([drained * np.arange(1.0, MOST_ROUNDS + 1.0)[:, np.newaxis], passed]),
        is_available=np.vstack([np.ones((MOST_ROUNDS, volume.shape[0]), dtype=np.bool_), can_line]),
    )


def rounds_retained(case: ExchangeCase, n_rounds: int, volume_factor: float = 1.0) -> Floats:
    """Old share after each of a number of equal rounds in one visit.

    Parameters
    ----------
    case : ExchangeCase
    n_rounds : int
    volume_factor : float
        Scales the total volume, for derivatives.

    Returns
    -------
    ndarray, shape (n_rounds, n), float64
        [-]

    Raises
    ------
    InvalidInputError
        If a round drains more than the plug can reach, or a value is out of range.
    """
    volume = case.state.volume_15c_litres
    converter = require_within("converter_15c_litres", case.converter_15c_litres, 0.0)
    require_enough(converter, volume)
    drained = np.broadcast_to(np.asarray(case.drained_15c_litres, dtype=np.float64), volume.shape)
    return circuit_rounds(
        sump_litres=volume_factor * (volume - converter),
        converter_litres=volume_factor * converter,
        drained_litres=np.broadcast_to(drained, (n_rounds, *volume.shape)),
        efficiency=case.mixing_efficiency,
    ).mean
