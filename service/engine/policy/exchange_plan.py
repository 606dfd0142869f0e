"""Rounds one to six and a line exchange side by side."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Booleans, Floats, Integers, Numbers
from service.engine.exchange.checks import require_within
from service.engine.exchange.credit import amount_since_full_service, keepable_interval_share
from service.engine.exchange.mixing import blend
from service.engine.level.expansion import litres_at
from service.engine.level.setting import excess_millilitres
from service.engine.policy.inputs import DueRates, ExchangeCase, LevelTask, Method, Prices
from service.engine.policy.return_date import ReturnDate, due_again, life_used_per_day
from service.engine.policy.shares import LINE_EXCHANGE_ROW, MOST_ROUNDS, N_OPTIONS, retained_shares

KM_OF_PRICE: Final = 1000.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ExchangePlan:
    """Seven ways to serve n compartments: rows 0 to 5 are one to six rounds, row 6 is a line exchange.

    Parameters
    ----------
    method, n_rounds : ndarray of int64, shape (7,)
        A `Method`; no rounds for a line exchange.
    is_available : ndarray of bool, shape (7, n)
        Where it is false the row describes a visit in which nothing is exchanged.
    fresh_share, life_used_after, life_used_after_sd : ndarray, shape (7, n)
        [-]
    poured_litres : ndarray, shape (7, n)
        New fluid at pouring temperature, with the over-fill. [L]
    labour_minutes, cost_minor : ndarray, shape (7, n)
    due, due_without_service : ReturnDate
        Due again, arrays of shape (7, n); due if nothing is done, arrays of shape (n,).
    cost_minor_per_1000_km : ndarray, shape (7, n)
        Cost by the distance until it is due again; infinite where it is due at once or never moves.
    keepable_km : ndarray, shape (7, n)
        Longest interval that this service, repeated for ever, can keep. [km]
    keeps_full_interval : ndarray of bool, shape (7, n)
        Whether that reaches the schedule's interval; true where the schedule has no distance.
    excess_millilitres : ndarray, shape (7, n)
        What should run off at the level check, missing if negative. [mL]
    """

    method: Integers
    n_rounds: Integers
    is_available: Booleans
    fresh_share: Floats
    life_used_after: Floats
    life_used_after_sd: Floats
    poured_litres: Floats
    labour_minutes: Floats
    cost_minor: Floats
    due: ReturnDate
    due_without_service: ReturnDate
    cost_minor_per_1000_km: Floats
    keepable_km: Floats
    keeps_full_interval: Booleans
    excess_millilitres: Floats


def plan_exchanges(case: ExchangeCase, rates: DueRates, prices: Prices, level: LevelTask) -> ExchangePlan:
    """Work out what each way of exchanging would leave, cost and last.

    Parameters
    ----------
    case : ExchangeCase
    rates : DueRates
    prices : Prices
    level : LevelTask

    Returns
    -------
    ExchangePlan

    Raises
    ------
    InvalidInputError
        If more is drained than there is, or a value is out of range.

    Notes
    -----
    A partial exchange is credited with its fresh share, never with a full service, unless the maker's own
    service is one round. What can be kept for ever is the credit times the interval, and φ times the
    distance of a whole life (see `credit`). O(n).
    """
    shares = retained_shares(case)
    volume = case.state.volume_15c_litres
    life_used, deviation = _life_used_after(case, shares.retained, shares.retained_sd)
    credit = np.where(
        np.asarray(rates.is_one_round_the_full_service) & (shares.retained < 1.0), 1.0, 1.0 - shares.retained
    )
    due = due_again(
        life_used,
        rates,
        km_on_clock=amount_since_full_service(rates.km_since_full_service, credit),
        days_on_clock=amount_since_full_service(rates.days_since_full_service, credit),
    )
    is_rounds = (np.arange(N_OPTIONS) < LINE_EXCHANGE_ROW)[:, np.newaxis]
    overfill = np.where(is_rounds, require_within("overfill_15c_litres", case.overfill_15c_litres, 0.0), 0.0)
    poured = shares.litres_15c + overfill
    minutes = labour_minutes(prices)
    cost = _cost_minor(poured, minutes, is_rounds, prices)
    keepable = _keepable_km(1.0 - shares.retained, credit, rates)
    return ExchangePlan(
        method=np.array([Method.ROUNDS] * MOST_ROUNDS + [Method.LINE_EXCHANGE], dtype=np.int64),
        n_rounds=np.append(np.arange(1, MOST_ROUNDS + 1), 0),
        is_available=shares.is_available,
        fresh_share=1.0 - shares.retained,
        life_used_after=life_used,
        life_used_after_sd=deviation,
        poured_litres=litres_at(poured, level.pour_celsius, level.density_15c_kg_per_m3),
        labour_minutes=np.broadcast_to(minutes, cost.shape),
        cost_minor=cost,
        due=due,
        due_without_service=due_again(
            case.state.life_used,
            rates,
            km_on_clock=rates.km_since_full_service,
            days_on_clock=rates.days_since_full_service,
        ),
        cost_minor_per_1000_km=cost_per_1000_km(cost, due.km),
        keepable_km=keepable,
        keeps_full_interval=(keepable >= rates.interval_km) | np.isinf(rates.interval_km),
        excess_millilitres=excess_millilitres(
            volume_15c_litres=volume + overfill,
            level_litres=level.level_litres,
            check_celsius=level.check_celsius,
            density_15c_kg_per_m3=level.density_15c_kg_per_m3,
        ),
    )


def labour_minutes(prices: Prices) -> Floats:
    """Working time of each option.

    Parameters
    ----------
    prices : Prices

    Returns
    -------
    ndarray, shape (7, 1) or (7, n), float64
        [min]

    Raises
    ------
    InvalidInputError
        If a time is negative or not a number.
    """
    by_round, line, visit = np.broadcast_arrays(
        np.atleast_1d(require_within("round_minutes", prices.round_minutes, 0.0)),
        require_within("line_minutes", prices.line_minutes, 0.0),
        require_within("visit_minutes", prices.visit_minutes, 0.0),
    )
    rounds = np.arange(1.0, MOST_ROUNDS + 1.0)[:, np.newaxis]
    minutes: Floats = np.vstack([rounds * by_round, line]) + visit
    return minutes


def cost_per_1000_km(cost_minor: Numbers, distance_km: Numbers) -> Floats:
    """Cost by a thousand kilometres of good fluid.

    Parameters
    ----------
    cost_minor : float or ndarray
    distance_km : float or ndarray
        0 gives an infinite price, an infinite distance gives 0. [km]

    Returns
    -------
    ndarray of float64
    """
    cost, distance = np.broadcast_arrays(
        np.asarray(cost_minor, dtype=np.float64), np.asarray(distance_km, dtype=np.float64)
    )
    price: Floats = np.full(cost.shape, np.inf)
    np.divide(cost * KM_OF_PRICE, distance, out=price, where=distance > 0.0)
    return price


def _life_used_after(case: ExchangeCase, retained: Floats, retained_sd: Floats) -> tuple[Floats, Floats]:
    after = [
        blend(
            case.state,
            retained_share=share,
            volume_15c_litres=case.state.volume_15c_litres,
            retained_share_sd=deviation,
        )
        for share, deviation in zip(retained, retained_sd, strict=True)
    ]
    life_used = np.stack([state.life_used for state in after])
    return life_used, np.sqrt(np.stack([state.life_used_variance for state in after]))


def _cost_minor(poured: Floats, minutes: Floats, is_rounds: Booleans, prices: Prices) -> Floats:
    fluid = require_within("fluid_minor_per_litre", prices.fluid_minor_per_litre, 0.0)
    disposal = require_within("disposal_minor_per_litre", prices.disposal_minor_per_litre, 0.0)
    labour = minutes * require_within("labour_minor_per_minute", prices.labour_minor_per_minute, 0.0)
    equipment = require_within("line_equipment_minor", prices.line_equipment_minor, 0.0)
    visit = require_within("visit_minor", prices.visit_minor, 0.0)
    extra: Floats = np.where(is_rounds, 0.0, equipment)
    return poured * (fluid + disposal) + labour + visit + extra


def _keepable_km(fresh_share: Floats, credit: Floats, rates: DueRates) -> Floats:
    per_day, speed = np.broadcast_arrays(
        life_used_per_day(rates), np.asarray(rates.km_per_day, dtype=np.float64)
    )
    km_per_life = np.divide(speed, per_day, out=np.full(speed.shape, np.inf), where=per_day > 0.0)
    calendar_km = np.where(
        speed > 0.0, np.asarray(rates.interval_days) * np.where(speed > 0.0, speed, 1.0), 0.0
    )
    schedule_km = np.minimum(rates.interval_km, calendar_km)
    is_exchanged = fresh_share > 0.0
    share = np.where(is_exchanged, fresh_share, 1.0)
    by_condition = keepable_interval_share(share, rates.highest_life_used) * km_per_life
    by_schedule = np.where(is_exchanged, credit, 1.0) * schedule_km
    return np.where(is_exchanged, np.minimum(by_condition, by_schedule), 0.0)
