"""Line exchange: new fluid pushed in at one end while the old leaves at the other."""

from typing import Final

import numpy as np

from service.engine.arrays import Floats, Numbers
from service.engine.exchange.checks import require_within
from service.engine.exchange.mixing import blend
from service.engine.exchange.state import FluidState
from service.errors import InvalidInputError

USUAL_TANKS: Final = 2
"""Tanks in series that a gearbox with cooler behaves like, 1 to 3. Common practice, no source."""


def retained_well_mixed(turnovers: Numbers) -> Floats:
    """Old share after a line exchange through one ideally mixed vessel.

    Parameters
    ----------
    turnovers : float or ndarray, any shape
        Litres passed by litres held, θ = Q / V. [-]

    Returns
    -------
    ndarray of float64
        e^{−θ}. [-]

    Raises
    ------
    InvalidInputError
        If turnovers are negative or not a number.
    """
    share: Floats = np.exp(-require_within("turnovers", turnovers, 0.0))
    return share


def retained_tanks_in_series(turnovers: Numbers, n_tanks: int = USUAL_TANKS) -> Floats:
    """Old share if the way of the fluid behaves like equal mixed tanks in a row.

    Parameters
    ----------
    turnovers : float or ndarray, any shape
        θ = Q / V. [-]
    n_tanks : int
        1 is ideally mixed; more come closer to plug flow.

    Returns
    -------
    ndarray of float64

    Raises
    ------
    InvalidInputError
        If turnovers are negative or not a number, or there is no tank.

    Notes
    -----
    f = (1/N) Σ_{i=1..N} e^{−Nθ} Σ_{k<i} (Nθ)^k / k!, that is (1/N) Σ_k (N − k) (Nθ)^k e^{−Nθ} / k!; derived
    from the residence times of tanks in series. O(N n).

    References
    ----------
    .. [1] Levenspiel, "Chemical Reaction Engineering", tanks-in-series model (model only; form derived).
    """
    if n_tanks < 1:
        raise InvalidInputError.at("/n_tanks", "a line exchange passes through at least one tank")
    passed = n_tanks * require_within("turnovers", turnovers, 0.0)
    term: Floats = np.exp(-passed)
    total = n_tanks * term
    for k in range(1, n_tanks):
        term = term * passed / k
        total = total + (n_tanks - k) * term
    return total / n_tanks


def exchange_line(state: FluidState, passed_15c_litres: Numbers) -> FluidState:
    """State after a line exchange at constant volume.

    Parameters
    ----------
    state : FluidState
        n compartments before, none of them empty. Not modified.
    passed_15c_litres : float or ndarray, shape (n,)
        New fluid pushed in, at 15 °C; as much old and mixed fluid came out. [L]

    Returns
    -------
    FluidState

    Raises
    ------
    InvalidInputError
        If litres are negative or not a number, or a compartment is empty.
    """
    passed = require_within("passed_15c_litres", passed_15c_litres, 0.0)
    held = require_within("volume_15c_litres", state.volume_15c_litres, 1e-6)
    return blend(
        state,
        retained_share=retained_tanks_in_series(passed / held),
        volume_15c_litres=state.volume_15c_litres,
    )
