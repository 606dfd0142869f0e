"""Interval and number of rounds with the lowest long-run cost, when a round exchanges only a share."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Booleans, Floats, Integers, Numbers
from service.engine.exchange.checks import require_within
from service.engine.exchange.credit import steady_life_used
from service.engine.policy.flatness import IntervalRange, indifference_range
from service.engine.policy.shares import MOST_ROUNDS
from service.errors import InvalidInputError


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WearAndHazard:
    """How n classes age and fail.

    Parameters
    ----------
    exchanged_share : float or ndarray, shape (n,)
        φ of one round, above 0, at most 1. [-]
    life_used_per_km : ndarray, shape (n,) or (n_draws, n)
        γ; draws carry its uncertainty. [1/km]
    life_used_limit : float or ndarray, shape (n,)
        What the fluid may reach, and where the hazard below is stated. [-]
    hazard_shape : float or ndarray, shape (n,)
        b: the hazard grows as the b-th power of life used. [-]
    hazard_scale_km : float or ndarray, shape (n,)
        η: mean distance between failures with the fluid at its limit. [km]
    """

    exchanged_share: Numbers
    life_used_per_km: Floats
    life_used_limit: Numbers = 1.0
    hazard_shape: Numbers = 3.0
    hazard_scale_km: Numbers = np.inf


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ServiceCosts:
    """Costs of a visit; numbers or arrays of shape (n,), in minor units of one currency.

    Parameters
    ----------
    visit_minor, round_minor : float or ndarray
        Each visit, and the labour of each round.
    round_litres : float or ndarray
        New fluid a round takes. [L]
    fluid_minor_per_litre : float or ndarray
    failure_minor : float or ndarray
        What a failure costs.
    """

    visit_minor: Numbers
    round_minor: Numbers
    round_litres: Numbers
    fluid_minor_per_litre: Numbers
    failure_minor: Numbers


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoundsPolicy:
    """One to six rounds for n classes; arrays of shape (6, n) unless said otherwise.

    Parameters
    ----------
    unconstrained_km : ndarray
        Interval with the lowest cost, whatever life used becomes; infinite without a hazard. [km]
    longest_km : ndarray
        Interval at which life used still stays below its limit with the wanted probability. [km]
    interval_km : ndarray
        The smaller of the two and of the longest that was allowed. [km]
    cost_minor_per_km : ndarray
        At that interval.
    peak_life_used : ndarray
        Mean, just before a visit, in the long run. [-]
    visit_litres, effectively_new_share : ndarray
        New fluid a visit takes, [L]; share of the charge that it renews. [-]
    is_held_by_limit : ndarray of bool
        True where the limit, not the cost, sets the interval.
    best_rounds : ndarray of int64, shape (n,)
        Rounds with the lowest cost.
    flat_km : IntervalRange
        Intervals that cost at most 2 % more than the unconstrained best, arrays of shape (6, n). [km]
    """

    unconstrained_km: Floats
    longest_km: Floats
    interval_km: Floats
    cost_minor_per_km: Floats
    peak_life_used: Floats
    visit_litres: Floats
    effectively_new_share: Floats
    is_held_by_limit: Booleans
    best_rounds: Integers
    flat_km: IntervalRange


def plan_rounds_policy(
    wear: WearAndHazard,
    costs: ServiceCosts,
    *,
    compliance_probability: float = 0.5,
    allowed_km: Numbers = np.inf,
) -> RoundsPolicy:
    """Best interval for one to six rounds a visit, and the best number of rounds.

    Parameters
    ----------
    wear : WearAndHazard
    costs : ServiceCosts
    compliance_probability : float
        With which life used must stay below its limit before each visit, over the draws of γ. [-]
    allowed_km : float or ndarray, shape (n,)
        Longest interval for other reasons, such as the calendar at a class's pace. [km]

    Returns
    -------
    RoundsPolicy

    Raises
    ------
    InvalidInputError
        If a value is out of range.

    Notes
    -----
    ρ = (1 − φ)^n stays. Between visits life used runs from ρ c₁ to c₁ = γ τ/(1 − ρ); with hazard
    (c/c_lim)^b/η the long-run cost by kilometre is C(τ) = A/τ + B τ^b with A = visit + n (round + litres · price)
    and B = c_f E[γ^b] (1 − ρ^{b+1}) / ((b + 1)(1 − ρ)^{b+1} c_lim^b η), lowest at τ* = (A/(b B))^{1/(b+1)}
    (renewal reward; derived). The mean over draws of γ is taken of the cost, not of γ. O(n_draws n).
    """
    share = require_within("exchanged_share", wear.exchanged_share, 1e-6, 1.0)
    speed = np.atleast_2d(require_within("life_used_per_km", wear.life_used_per_km, 1e-15))
    limit = require_within("life_used_limit", wear.life_used_limit, 1e-6)
    if not 0.0 < compliance_probability < 1.0:
        raise InvalidInputError.at("/compliance_probability", "a probability lies between 0 and 1")
    rounds = np.arange(1.0, MOST_ROUNDS + 1.0)[:, np.newaxis]
    kept = (1.0 - share) ** rounds
    visit, risk = _cost_terms(wear, costs, kept, rounds)
    shape = np.asarray(wear.hazard_shape, dtype=np.float64)
    visit, risk, shape = np.broadcast_arrays(visit, risk, shape)
    cheapest = np.full(visit.shape, np.inf)
    np.divide(visit, shape * risk, out=cheapest, where=risk > 0.0)
    cheapest = cheapest ** (1.0 / (shape + 1.0))
    fast = np.quantile(speed, compliance_probability, axis=0)
    longest = np.broadcast_to((1.0 - kept) * limit / fast, visit.shape)
    bound = np.minimum(longest, require_within("allowed_km", allowed_km, 1e-6, np.inf))
    interval = np.minimum(cheapest, bound)
    cost = visit / interval + risk * interval**shape

    def cost_rate(km: Floats) -> Floats:
        return np.asarray(visit / km + risk * km**shape)

    has_optimum = np.isfinite(cheapest)
    flat = indifference_range(cost_rate, np.where(has_optimum, cheapest, interval))
    return RoundsPolicy(
        unconstrained_km=cheapest,
        longest_km=longest,
        interval_km=interval,
        cost_minor_per_km=cost,
        peak_life_used=steady_life_used(speed.mean(axis=0) * interval, 1.0 - kept),
        visit_litres=np.broadcast_to(rounds * costs.round_litres, visit.shape),
        effectively_new_share=np.broadcast_to(1.0 - kept, visit.shape),
        is_held_by_limit=longest < cheapest,
        best_rounds=(cost.argmin(axis=0) + 1).astype(np.int64),
        flat_km=IntervalRange(
            shortest=np.where(has_optimum, flat.shortest, np.nan),
            longest=np.where(has_optimum, flat.longest, np.nan),
        ),
    )


def failure_cost_rate(wear: WearAndHazard, costs: ServiceCosts, interval_km: Numbers) -> Floats:
    """What failures cost by kilometre at an interval that somebody chose.

    Parameters
    ----------
    wear : WearAndHazard
    costs : ServiceCosts
    interval_km : float or ndarray, shape (n,)
        Between visits, positive. [km]

    Returns
    -------
    ndarray, shape (6, n)
        For one to six rounds a visit; B τ^b of `plan_rounds_policy`.

    Raises
    ------
    InvalidInputError
        If a value is out of range.
    """
    share = require_within("exchanged_share", wear.exchanged_share, 1e-6, 1.0)
    require_within("life_used_per_km", wear.life_used_per_km, 1e-15)
    rounds = np.arange(1.0, MOST_ROUNDS + 1.0)[:, np.newaxis]
    _, risk = _cost_terms(wear, costs, (1.0 - share) ** rounds, rounds)
    interval = require_within("interval_km", interval_km, 1e-6)
    return np.asarray(risk * interval ** np.asarray(wear.hazard_shape, dtype=np.float64))


def _cost_terms(
    wear: WearAndHazard, costs: ServiceCosts, kept: Floats, rounds: Floats
) -> tuple[Floats, Floats]:
    """A and B of the cost by kilometre, A/τ + B τ^b."""
    litres = require_within("round_litres", costs.round_litres, 0.0)
    fluid = litres * require_within("fluid_minor_per_litre", costs.fluid_minor_per_litre, 0.0)
    by_round = require_within("round_minor", costs.round_minor, 0.0) + fluid
    visit = require_within("visit_minor", costs.visit_minor, 0.0) + rounds * by_round
    require_within("the cost of a visit", visit, 1e-9)
    shape = require_within("hazard_shape", wear.hazard_shape, 1e-3, 20.0)
    scale = require_within("hazard_scale_km", wear.hazard_scale_km, 1e-3, np.inf)
    failure = require_within("failure_minor", costs.failure_minor, 0.0)
    power = np.mean(np.atleast_2d(wear.life_used_per_km) ** shape, axis=0)
    swing = (1.0 - kept ** (shape + 1.0)) / ((shape + 1.0) * (1.0 - kept) ** (shape + 1.0))
    return visit, failure * power * swing / (np.asarray(wear.life_used_limit) ** shape * scale)
