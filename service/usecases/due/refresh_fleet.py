"""Bring stored states up to date after readings came in: what every read would else compute again."""

from collections.abc import Sequence
from datetime import datetime
from typing import Final

from sqlmodel import Session

from service.store.repositories import fleet, projections
from service.store.tables.projections import UsageModel
from service.usecases.fluids.lasting_states import vehicles_to_follow
from service.usecases.fluids.update_states import update_states
from service.usecases.usage.estimate_usage import store_usage, updated_usage
from service.usecases.usage.usage_model import fit_usage_model, is_due_for_fit, keep_usage_model

VEHICLES_A_TURN: Final = 500
"""Vehicles in one transaction, so that other writers wait less than a second."""


def refresh_fleet(session: Session, organisation_id: int, now: datetime) -> int:
    """Store the states of some vehicles whose readings changed; returns how many, zero when all are up to date."""
    stale = projections.list_stale_vehicles(session, organisation_id, VEHICLES_A_TURN)
    if stale:
        fleet.lock_vehicles(session, organisation_id, stale)
        refresh_vehicles(session, organisation_id, stale, now)
    return len(stale)


def refresh_vehicles(
    session: Session, organisation_id: int, vehicle_ids: Sequence[int], now: datetime
) -> None:
    """Store the states of these vehicles and of their fluids anew; whoever calls this has locked them."""
    if vehicle_ids:
        usage = updated_usage(session, organisation_id, vehicle_ids)
        moved = vehicles_to_follow(session, organisation_id, vehicle_ids, usage)
        store_usage(session, organisation_id, vehicle_ids, usage, now)
        update_states(session, organisation_id, moved)


def fit_fleet(session: Session, organisation_id: int, now: datetime) -> UsageModel | None:
    """Fit what the fleet's vehicles have in common, if that is due; takes seconds and stores nothing."""
    if not is_due_for_fit(session, organisation_id, now):
        return None
    return fit_usage_model(session, organisation_id, now)


def keep_fit(session: Session, model: UsageModel) -> None:
    """Store what was fitted; all states follow as they are refreshed."""
    keep_usage_model(session, model)
    projections.mark_all_stale(session, model.organisation_id)
