"""Whom a list is of: an organisation with the names of what it owns, and its vehicles projected."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlmodel import Session

from service.domain.planning_terms import planned_with
from service.store.repositories import fleet, fluids, visits
from service.store.repositories.projections import COMPARTMENT_COLUMNS
from service.store.repositories.visits import VehicleFacts
from service.store.tables.organisation import Organisation
from service.usecases.due.project_due import DUE_PROBABILITIES, FleetProjection, project_due
from service.usecases.usage.estimate_usage import current_usage

VEHICLES_A_BLOCK: Final = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetNames:
    """What lines are named with."""

    organisation: Organisation
    vehicles: dict[int, VehicleFacts]
    depots: dict[int | None, str]
    fluids: dict[int | None, str]


def listing_probability(organisation: Organisation) -> float:
    """How likely a compartment must be due by a week's end to be listed for it."""
    return planned_with(organisation.planning, "listing_probability")


def load_names(session: Session, organisation_id: int) -> FleetNames:
    """Load an organisation with its vehicles in use and the names of its depots and fluids."""
    organisation = fleet.get_organisation(session, organisation_id)
    return FleetNames(
        organisation=organisation,
        vehicles=visits.vehicles_in_use(session, organisation_id),
        depots=fleet.depot_names(session, organisation_id),
        fluids={fluid.id: fluid.reference for fluid in fluids.list_fluids(session, organisation_id)},
    )


def project_in_blocks(
    session: Session,
    names: FleetNames,
    now: datetime,
    vehicle_ids: Iterable[int] | None = None,
    wanted: Sequence[Any] = COMPARTMENT_COLUMNS,
    probabilities: Sequence[float] = DUE_PROBABILITIES,
) -> Iterator[FleetProjection]:
    """Project vehicles in use, all or some, a block at a time so that memory does not grow with the fleet."""
    ids = sorted(names.vehicles if vehicle_ids is None else vehicle_ids)
    organisation_id = names.organisation.id or 0
    for start in range(0, len(ids), VEHICLES_A_BLOCK):
        block = ids[start : start + VEHICLES_A_BLOCK]
        usage = current_usage(session, organisation_id, block)
        yield project_due(
            session, organisation_id, block, usage, now, names.organisation.zone, wanted, probabilities
        )
