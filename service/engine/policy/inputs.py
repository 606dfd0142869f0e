"""What an exchange plan is made from, as structures of arrays."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from service.engine.arrays import Booleans, Numbers
from service.engine.exchange.state import FluidState


class Method(IntEnum):
    """How the fluid is exchanged."""

    ROUNDS = 0
    LINE_EXCHANGE = 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ExchangeCase:
    """What stands in the bay: n compartments; fields are numbers or arrays of shape (n,).

    Parameters
    ----------
    state : FluidState
        Before the service.
    drained_15c_litres : float or ndarray
        What one round takes out and puts back, at 15 °C. [L]
    volume_sd_litres : float or ndarray
        Standard deviation of the total volume. [L]
    converter_15c_litres : float or ndarray
        Part of the total that no plug drains and that mixes in between rounds; 0 for a plain sump. [L]
    mixing_efficiency : float or ndarray
        How far it mixes between two rounds of one visit. [-]
    overfill_15c_litres : float or ndarray
        Poured on top for the level check, released there. [L]
    line_15c_litres : float or ndarray
        New fluid that a line exchange would pass; NaN where it cannot be done. [L]
    """

    state: FluidState
    drained_15c_litres: Numbers
    volume_sd_litres: Numbers = 0.0
    converter_15c_litres: Numbers = 0.0
    mixing_efficiency: Numbers = 1.0
    overfill_15c_litres: Numbers = 0.0
    line_15c_litres: Numbers = np.nan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DueRates:
    """How soon the compartments come back; fields are numbers or arrays of shape (n,).

    Parameters
    ----------
    km_per_day : float or ndarray
        Not negative. [km/d]
    life_used_per_km : float or ndarray
        With duty or temperature in it. [1/km]
    life_used_per_day : float or ndarray
        By calendar time and hours. [1/d]
    highest_life_used : float or ndarray
        Condition limit with its margin, such as 0.8. [-]
    interval_km, interval_days : float or ndarray
        The schedule of a full service; infinite where there is none. [km], [d]
    km_since_full_service, days_since_full_service : float or ndarray
        On the schedule's clock. [km], [d]
    is_one_round_the_full_service : bool or ndarray of bool
        True where the maker's own service is one drain-and-fill, so that it counts in full.
    """

    km_per_day: Numbers
    life_used_per_km: Numbers
    life_used_per_day: Numbers = 0.0
    highest_life_used: Numbers = 0.8
    interval_km: Numbers = np.inf
    interval_days: Numbers = np.inf
    km_since_full_service: Numbers = 0.0
    days_since_full_service: Numbers = 0.0
    is_one_round_the_full_service: bool | Booleans = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prices:
    """What a service costs, in minor units of one currency; numbers or arrays of shape (n,).

    Parameters
    ----------
    visit_minor : float or ndarray
        Each visit, whatever is done.
    labour_minor_per_minute : float or ndarray
    visit_minutes, round_minutes, line_minutes : float or ndarray
        Set-up, each round, and a line exchange. [min]
    line_equipment_minor : float or ndarray
        Extra for a line exchange: adapters, seals, dismantling.
    fluid_minor_per_litre, disposal_minor_per_litre : float or ndarray
        New fluid, and getting rid of the used.
    """

    visit_minor: Numbers = 0.0
    labour_minor_per_minute: Numbers = 0.0
    visit_minutes: Numbers = 0.0
    round_minutes: Numbers = 0.0
    line_minutes: Numbers = 0.0
    line_equipment_minor: Numbers = 0.0
    fluid_minor_per_litre: Numbers = 0.0
    disposal_minor_per_litre: Numbers = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelTask:
    """How the level will be checked; numbers or arrays of shape (n,).

    Parameters
    ----------
    level_litres : float or ndarray
        What the compartment holds when the fluid just reaches the mark. [L]
    pour_celsius, check_celsius : float or ndarray
        Of the fluid poured, and of the oil at the check. [°C]
    density_15c_kg_per_m3 : float or ndarray
        [kg/m³]
    """

    level_litres: Numbers
    pour_celsius: Numbers = 20.0
    check_celsius: Numbers = 40.0
    density_15c_kg_per_m3: Numbers = 850.0
