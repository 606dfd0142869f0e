"""How past projections turned out: the service's own against plain averages, from rolling origins."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
from sqlmodel import Session, col, select

from service.domain.roles import Scope
from service.engine.skill.backtest import Scorecard, backtest
from service.store.repositories.meter_histories import meter_histories
from service.store.tables.vehicles import Vehicle
from service.usecases.access.caller import Caller
from service.usecases.usage.estimate_usage import operational_days
from service.usecases.usage.usage_model import known_usage, vehicle_classes

MOST_VEHICLES: Final = 400
"""Scored at once; evenly spread over a larger fleet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """Scores of the service and of the plain methods, all horizons together and each one."""

    as_of: datetime
    n_vehicles: int
    cards: list[Scorecard]


def show_accuracy(session: Session, caller: Caller, now: datetime) -> Accuracy:
    """Score the projections that would have been made along the stored histories."""
    caller.require(Scope.READ)
    query = select(Vehicle.id).where(
        Vehicle.organisation_id == caller.organisation_id, col(Vehicle.retired_at).is_(None)
    )
    ids = [key for key in session.exec(query.order_by(col(Vehicle.id))) if key is not None]
    step = max(1, -(-len(ids) // MOST_VEHICLES))
    chosen = ids[::step]
    history, _ = meter_histories(session, caller.organisation_id, chosen)
    known = known_usage(session, caller.organisation_id)
    classes = vehicle_classes(session, caller.organisation_id, chosen)
    cards = backtest(
        history.time_days,
        history.value,
        history.offsets,
        known.odometer_priors(classes),
        known.hyperparameters_of(classes),
        operational_days=operational_days(known.seasons_of(classes), history),
    )
    scored = [card for card in cards if card.n_exercises > 0 and np.isfinite(card.pinball_km)]
    return Accuracy(as_of=now, n_vehicles=len(chosen), cards=scored)
