"""How past projections turned out: the service's own against plain averages, from rolling origins."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain.roles import Scope
from service.engine.skill.backtest import HORIZONS_DAYS, Scorecard, backtest
from service.engine.skill.due_dates import DateScorecard, date_exercises, score_dates
from service.engine.usage.filter import filter_readings
from service.engine.usage.origins import histories_up_to
from service.store.repositories import fleet
from service.store.repositories.meter_histories import MeterHistory, meter_histories
from service.usecases.access.caller import Caller
from service.usecases.usage.estimate_usage import meter, operational_days
from service.usecases.usage.usage_model import KnownUsage, known_usage

MOST_VEHICLES: Final = 400
"""Scored at once; evenly spread over a larger fleet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """Scores of the service and of the plain methods, all horizons together and each one; and those of our dates."""

    as_of: datetime
    n_vehicles: int
    cards: list[Scorecard]
    dates: list[DateScorecard]


def show_accuracy(session: Session, caller: Caller, now: datetime) -> Accuracy:
    """Score the projections that would have been made along the stored histories."""
    caller.require(Scope.READ)
    in_use = fleet.classes_in_use(session, caller.organisation_id)
    step = max(1, -(-len(in_use) // MOST_VEHICLES))
    chosen = list(in_use)[::step]
    history, _ = meter_histories(session, caller.organisation_id, chosen)
    known = known_usage(session, caller.organisation_id)
    classes = [in_use[key] for key in chosen]
    cards = backtest(
        history.time_days,
        history.value,
        history.offsets,
        known.odometer_priors(classes),
        known.hyperparameters_of(classes),
        operational_days=operational_days(known.seasons_of(classes), history),
    )
    scored = [card for card in cards if card.n_exercises > 0 and np.isfinite(card.pinball_km)]
    dates = _score_dates(history, known, classes, now)
    return Accuracy(as_of=now, n_vehicles=len(chosen), cards=scored, dates=dates)


def _score_dates(
    history: MeterHistory, known: KnownUsage, classes: Sequence[str], now: datetime
) -> list[DateScorecard]:
    """Ask the due forecast at every origin for the dates of a limit ahead, and look when it was reached."""
    exercises = date_exercises(history.time_days, history.value, history.offsets, HORIZONS_DAYS)
    vehicle = exercises.origins.vehicle
    at, offsets = histories_up_to(exercises.origins, history.offsets)
    season = known.seasons_of(classes)
    state = filter_readings(
        operational_days(season, history)[at],
        history.value[at],
        offsets,
        known.odometer_priors(classes).take(vehicle),
        known.hyperparameters_of(classes).take(vehicle),
    )
    read_then = replace(meter(state, now, season.take(vehicle)), days_since_reading=np.zeros(vehicle.size))
    return [card for card in score_dates(exercises, read_then) if card.n_dates + card.n_open > 0]
