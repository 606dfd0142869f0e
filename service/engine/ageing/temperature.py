"""How much faster a fluid ages when it is hotter."""

from typing import Final

import numpy as np
from scipy.constants import R as GAS_CONSTANT

from service.engine.arrays import Floats, Numbers
from service.engine.exchange.checks import require_within
from service.errors import InvalidInputError
from service.units import kelvin_from_celsius

JOULES_PER_KILOJOULE: Final = 1000.0


def arrhenius_factor(
    oil_celsius: Numbers, *, reference_celsius: Numbers, activation_kj_per_mol: Numbers
) -> Floats:
    """Rate at a temperature by rate at the reference temperature.

    Parameters
    ----------
    oil_celsius : float or ndarray
        Bulk temperature, −60 to 250. [°C]
    reference_celsius : float or ndarray
        Temperature at which the life of the fluid is stated. [°C]
    activation_kj_per_mol : float or ndarray
        80 for oils (60 to 100), which doubles the rate every 10 °C around 100 °C; 0 switches the
        effect off. [kJ/mol]

    Returns
    -------
    ndarray of float64

    Raises
    ------
    InvalidInputError
        If a value is out of range.

    Notes
    -----
    k/k_ref = exp[−E/R (1/T − 1/T_ref)]. Not for bench tests: they blow air through the fluid.

    References
    ----------
    .. [1] CODATA 2018 gas constant (exact), through scipy.constants.
    """
    temperature = kelvin_from_celsius(require_within("oil_celsius", oil_celsius, -60.0, 250.0))
    reference = kelvin_from_celsius(require_within("reference_celsius", reference_celsius, -60.0, 250.0))
    activation = require_within("activation_kj_per_mol", activation_kj_per_mol, 0.0, 500.0)
    exponent = activation * JOULES_PER_KILOJOULE / GAS_CONSTANT * (1.0 / reference - 1.0 / temperature)
    return np.asarray(np.exp(exponent))


def duty_from_histogram(
    share_by_bin: Floats,
    bin_celsius: Floats,
    *,
    reference_celsius: Numbers,
    activation_kj_per_mol: Numbers,
) -> Floats:
    """Ageing factor of a distribution of oil temperatures.

    Parameters
    ----------
    share_by_bin : ndarray, shape (n_bins, n) or (n_bins,), float64
        Share of the time in each bin; every compartment's shares add up to 1. Not modified. [-]
    bin_celsius : ndarray, shape (n_bins,), float64
        Temperature of each bin. Not modified. [°C]
    reference_celsius, activation_kj_per_mol : float or ndarray, shape (n,)
        As in `arrhenius_factor`.

    Returns
    -------
    ndarray, shape (n,), float64
        D, to be given as `temperature_factor` to ageing. [-]

    Raises
    ------
    InvalidInputError
        If shares are negative or do not add up to 1, or a temperature is out of range.

    Notes
    -----
    D = Σ f_j k(T_j)/k(T_ref). Never the factor at the mean temperature: the rate is convex in it, so the
    mean understates (Jensen). O(n_bins n).
    """
    shares = require_within("share_by_bin", share_by_bin, 0.0, 1.0)
    if np.any(np.abs(shares.sum(axis=0) - 1.0) > 1e-6):
        raise InvalidInputError.at("/share_by_bin", "the shares of a temperature histogram must add up to 1")
    rows = shares[:, np.newaxis] if shares.ndim == 1 else shares
    if np.ndim(bin_celsius) != 1 or np.shape(bin_celsius)[0] != rows.shape[0]:
        raise InvalidInputError.at("/bin_celsius", "one temperature for each bin of the histogram")
    duty = np.zeros(rows.shape[1])
    for share, celsius in zip(rows, bin_celsius, strict=True):
        duty = duty + share * arrhenius_factor(
            float(celsius), reference_celsius=reference_celsius, activation_kj_per_mol=activation_kj_per_mol
        )
    return duty


def effective_celsius(
    factor: Numbers, *, reference_celsius: Numbers, activation_kj_per_mol: Numbers
) -> Floats:
    """Constant temperature that would age the fluid as fast as a given factor.

    Parameters
    ----------
    factor : float or ndarray
        Rate by rate at the reference, positive. [-]
    reference_celsius : float or ndarray
        [°C]
    activation_kj_per_mol : float or ndarray
        Positive. [kJ/mol]

    Returns
    -------
    ndarray of float64
        [°C]

    Raises
    ------
    InvalidInputError
        If a value is out of range.
    """
    ratio = require_within("factor", factor, 1e-12)
    reference = kelvin_from_celsius(require_within("reference_celsius", reference_celsius, -60.0, 250.0))
    activation = require_within("activation_kj_per_mol", activation_kj_per_mol, 1e-3, 500.0)
    inverse = 1.0 / reference - GAS_CONSTANT * np.log(ratio) / (activation * JOULES_PER_KILOJOULE)
    return np.asarray(1.0 / inverse - kelvin_from_celsius(0.0))
