"""What cannot wait for the next list: fluids found contaminated since the present one was fixed."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from service.domain.due_reasons import Limit
from service.domain.fluid_kinds import FluidKind
from service.domain.roles import Scope
from service.store.repositories.contaminated import list_contaminated
from service.usecases.access.caller import Caller
from service.usecases.week.contamination_reason import contamination_reasons
from service.usecases.week.show_due_list import CURRENT, ShownList, week_named


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """A compartment that is due now, and what was found in it."""

    vehicle_id: int
    vehicle: str
    compartment_id: int
    compartment: str
    reason: str


def contaminated_since(session: Session, caller: Caller, now: datetime, shown: ShownList) -> list[Alarm]:
    """Give what a published list of the present week, or of a coming one, does not say of contaminated fluids.

    A compartment that is on the list for another reason is given too: whoever works the line off has to know.
    """
    caller.require(Scope.READ)
    if shown.published is None or shown.week < week_named(session, caller, CURRENT, now):
        return []
    told = {line.compartment_id for line, _ in shown.lines if line.limit_reached == Limit.CONTAMINATION}
    found = [
        (vehicle, compartment)
        for vehicle, compartment in list_contaminated(session, caller.organisation_id)
        if compartment.id not in told
    ]
    kinds = {compartment.id or 0: FluidKind(compartment.kind) for _, compartment in found}
    reasons = contamination_reasons(session, caller.organisation_id, kinds)
    return [
        Alarm(
            vehicle_id=vehicle.id or 0,
            vehicle=vehicle.reference,
            compartment_id=compartment.id or 0,
            compartment=compartment.reference,
            reason=reasons[compartment.id or 0],
        )
        for vehicle, compartment in found
    ]
