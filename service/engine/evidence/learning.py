"""Fit ageing rates again from a fleet's own samples, shrunk towards what was assumed."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.exchange.checks import require_within
from service.errors import InvalidInputError


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AgeingSamples:
    """What m laboratory samples say about growth; every field has shape (m,).

    Parameters
    ----------
    expected_growth : ndarray, float64
        Life that the rates in use say was used since the last known state, positive. [-]
    observed_growth : ndarray, float64
        Life used by the sample minus what was left of the known state; may be negative by chance. [-]
    observed_growth_sd : ndarray, float64
        Its measurement error, positive. [-]
    group_index : ndarray, int64
        Group of each sample (fluid kind, duty and vehicle class), 0 to n_groups − 1.
    """

    expected_growth: Floats
    observed_growth: Floats
    observed_growth_sd: Floats
    group_index: Integers


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RefittedRates:
    """Proposed rates, to be shown before anybody accepts them; arrays of shape (n_groups,).

    Parameters
    ----------
    n_samples : ndarray of int64
    multiplier_before, multiplier_observed, multiplier_proposed : ndarray
        By the default rate; a life of L km becomes L divided by it. Observed is NaN without samples. [-]
    log_sd : ndarray
        Standard deviation of the proposed log multiplier. [-]
    own_weight : ndarray
        0: the group only borrows from the others; 1: it only listens to itself. [-]
    """

    n_samples: Integers
    multiplier_before: Floats
    multiplier_observed: Floats
    multiplier_proposed: Floats
    log_sd: Floats
    own_weight: Floats


LARGEST_LOG_MULTIPLIER: Final = 2.3
"""Rates beyond ten times or a tenth of the default are records gone wrong. Common practice, no source."""

DEFAULT_LOG_SD: Final = 0.4
"""How far a whole fleet may be from the default rates, sd of the log. Common practice, no source."""

SMALLEST_BETWEEN_GROUPS_LOG_SD: Final = 0.2
"""Least difference granted between groups, so that few groups can still differ: it gave the best coverage on simulated
fleets whose groups differ by 0.1 to 0.4."""

N_LINEARISATIONS: Final = 25


def refit_rates(samples: AgeingSamples, multiplier_in_use: Floats) -> RefittedRates:
    """Estimate one rate multiplier for each group, shrunk to the fleet and the fleet to the default.

    Parameters
    ----------
    samples : AgeingSamples
    multiplier_in_use : ndarray, shape (n_groups,), float64
        Rate in use by default rate, positive. Not modified. [-]

    Returns
    -------
    RefittedRates

    Raises
    ------
    InvalidInputError
        If a growth, deviation, group or multiplier cannot be.

    Notes
    -----
    In a group, weighted least squares through the origin of observed on expected growth; its variance is
    raised by the ratio of Birge where samples scatter more than their errors. The multiplier is
    log-normal between groups: each estimate m̂ is linearised at the proposal ℓ, as an effect
    ℓ + m̂ e^{−ℓ} − 1 with variance v_g = var(m̂) e^{−2ℓ}, so that a small or negative m̂ needs no logarithm.
    Between groups τ² by DerSimonian and Laird, not below its floor. Fleet mean μ by precision, with the
    default as one more observation. Then ℓ = B effect + (1 − B) μ with B = τ²/(τ² + v_g), and variance
    B v_g + (1 − B)² var(μ) (normal-normal); repeated 25 times. A group without samples gets the fleet's.
    O(m + n_groups).

    References
    ----------
    .. [1] DerSimonian, Laird, "Meta-analysis in clinical trials", 1986.
    .. [2] Birge, "The calculation of errors by the method of least squares", 1932.
    """
    before = require_within("multiplier_in_use", multiplier_in_use, 1e-3, 1e3)
    floor = SMALLEST_BETWEEN_GROUPS_LOG_SD**2
    n_samples, observed, variance = _own_estimates(samples, before)
    has_samples = n_samples > 0
    log_multiplier = np.zeros(before.shape[0])
    fleet, fleet_variance, between = 0.0, DEFAULT_LOG_SD**2, floor
    own, log_variance = np.zeros_like(log_multiplier), np.ones_like(log_multiplier)
    for _ in range(N_LINEARISATIONS):
        slope = np.exp(-log_multiplier)
        effect = np.where(has_samples, log_multiplier + observed * slope - 1.0, 0.0)
        log_variance = np.where(has_samples, variance * np.square(slope), np.inf)
        between = max(between_groups_variance(effect[has_samples], log_variance[has_samples]), floor)
        precision = 1.0 / (log_variance + between)
        fleet_variance = float(1.0 / (precision.sum() + 1.0 / DEFAULT_LOG_SD**2))
        fleet = float((precision * effect).sum() * fleet_variance)
        own = between / (between + log_variance)
        log_multiplier = (own * effect + (1.0 - own) * fleet).clip(
            -LARGEST_LOG_MULTIPLIER, LARGEST_LOG_MULTIPLIER
        )
    spread = 1.0 / (1.0 / log_variance + 1.0 / between)
    return RefittedRates(
        n_samples=n_samples,
        multiplier_before=before,
        multiplier_observed=np.where(has_samples, observed, np.nan),
        multiplier_proposed=np.exp(log_multiplier),
        log_sd=np.sqrt(spread + np.square(1.0 - own) * fleet_variance),
        own_weight=own,
    )


def between_groups_variance(effect: Floats, variance: Floats) -> float:
    """Variance between groups beyond what their own errors explain (DerSimonian and Laird).

    Parameters
    ----------
    effect, variance : ndarray, shape (n_groups,), float64
        Estimate of each group and its variance, positive. Not modified.

    Returns
    -------
    float
        τ² = max(0, (Q − (k − 1)) / (Σw − Σw²/Σw)); 0 with fewer than two groups.
    """
    if effect.shape[0] < 2:
        return 0.0
    weight = 1.0 / variance
    total = weight.sum()
    deviation = effect - (weight * effect).sum() / total
    excess = (weight * np.square(deviation)).sum() - (effect.shape[0] - 1)
    return float(max(0.0, excess / (total - np.square(weight).sum() / total)))


def _own_estimates(samples: AgeingSamples, in_use: Floats) -> tuple[Integers, Floats, Floats]:
    """Count, multiplier of the default rate and its variance for each group."""
    n_groups = in_use.shape[0]
    group = np.asarray(samples.group_index, dtype=np.int64)
    if group.size and (int(group.min()) < 0 or int(group.max()) >= n_groups):
        raise InvalidInputError.at("/group_index", "there is no such group")
    expected = require_within("expected_growth", samples.expected_growth, 1e-9) / in_use[group]
    observed = require_within("observed_growth", samples.observed_growth, -10.0, 10.0)
    weight = 1.0 / np.square(require_within("observed_growth_sd", samples.observed_growth_sd, 1e-6))

    def total(values: Floats) -> Floats:
        return np.bincount(group, weights=values, minlength=n_groups).astype(np.float64)

    n_samples = np.bincount(group, minlength=n_groups).astype(np.int64)
    squares, products = total(weight * expected**2), total(weight * expected * observed)
    divisor = np.where(n_samples > 0, squares, 1.0)
    multiplier = products / divisor
    chi_squared = total(weight * observed**2) - multiplier * products
    birge = np.maximum(chi_squared / np.maximum(n_samples - 1, 1), 1.0)
    return n_samples, multiplier, np.where(n_samples > 1, birge, 1.0) / divisor
