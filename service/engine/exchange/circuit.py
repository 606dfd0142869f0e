"""Rounds on a sump whose converter and cooler keep fluid back."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Floats, Numbers
from service.engine.exchange.checks import require_within
from service.engine.exchange.mixing import require_enough


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CircuitShares:
    """Old share after each round; arrays of shape (n_rounds, n).

    Parameters
    ----------
    sump, converter : ndarray
        Old share in either part. A drained sample shows the sump's, not the mean. [-]
    mean : ndarray
        Old share of the whole charge. [-]
    """

    sump: Floats
    converter: Floats
    mean: Floats


def circuit_rounds(
    *,
    sump_litres: Numbers,
    converter_litres: Numbers,
    drained_litres: Floats,
    efficiency: Numbers,
) -> CircuitShares:
    """Old share in sump and converter after each round of draining and refilling the sump.

    Parameters
    ----------
    sump_litres : float or ndarray, shape (n,)
        What the sump holds, positive. [L]
    converter_litres : float or ndarray, shape (n,)
        What does not come out of the plug; 0 makes it a plain sump. [L]
    drained_litres : ndarray, shape (n_rounds, n) or (n_rounds,), float64
        Taken from the sump and replaced, each round. Not modified. [L]
    efficiency : float or ndarray, shape (n,)
        ε, how far sump and converter mix between two rounds: 0 not at all, 1 completely. Idling for t minutes
        with a flow q between them gives 1 − exp(−q t (1/S + 1/C)), derived. [-]

    Returns
    -------
    CircuitShares

    Raises
    ------
    InvalidInputError
        If a value is out of range or more is drained than the sump holds.

    Notes
    -----
    s ← s (1 − d/S); m = (S s + C c)/(S + C); s ← m + (1 − ε)(s − m), c likewise (derived). All at one
    temperature. ε = 1 is the plain geometric share; with ε = 0 the converter's fluid never leaves.
    O(n_rounds n).
    """
    sump = require_within("sump_litres", sump_litres, 1e-6)
    converter = require_within("converter_litres", converter_litres, 0.0)
    kept_apart = 1.0 - require_within("efficiency", efficiency, 0.0, 1.0)
    drained = np.atleast_1d(require_within("drained_litres", drained_litres, 0.0))
    rows = drained[:, np.newaxis] if drained.ndim == 1 else drained
    require_enough(rows, sump)
    shape = (
        rows.shape[0],
        np.broadcast_shapes(rows.shape[1:], sump.shape, converter.shape, kept_apart.shape)[0],
    )
    shares = CircuitShares(sump=np.empty(shape), converter=np.empty(shape), mean=np.empty(shape))
    in_sump, in_converter = np.ones(shape[1]), np.ones(shape[1])
    for index, litres in enumerate(rows):
        in_sump = in_sump * np.maximum(1.0 - litres / sump, 0.0)
        mean = (sump * in_sump + converter * in_converter) / (sump + converter)
        in_sump = mean + kept_apart * (in_sump - mean)
        in_converter = mean + kept_apart * (in_converter - mean)
        shares.sump[index], shares.converter[index], shares.mean[index] = in_sump, in_converter, mean
    return shares
