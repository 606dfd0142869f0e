"""Say which vehicle a machine seems to be by its identification number; a person confirms it, or does not."""

from collections.abc import Iterable

from sqlmodel import Session

from service.domain.vin import normalised_vin
from service.store.repositories.machine_matches import vehicles_with_vin
from service.store.tables.machine_sources import MachineEquipment


def propose_vehicles(
    session: Session, organisation_id: int, equipment: Iterable[MachineEquipment]
) -> dict[int, str]:
    """The fleet's own number of the one vehicle in use, by the key of the machine; linked machines are left out.

    A gateway that knows no identification often calls its machines by theirs, so the name counts where there is none.
    """
    vin_of = {
        row.id or 0: normalised_vin(row.identification or row.reference)
        for row in equipment
        if row.vehicle_id is None
    }
    if not vin_of:
        return {}
    found: dict[str, set[str]] = {}
    for vin, reference in vehicles_with_vin(session, organisation_id, sorted(set(vin_of.values()))):
        found.setdefault(vin, set()).add(reference)
    return {key: min(found[vin]) for key, vin in vin_of.items() if len(found.get(vin, ())) == 1}
