"""Depots, vehicles and compartments of one organisation."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from sqlalchemy import ColumnElement
from sqlalchemy import select as core_select
from sqlmodel import Session, col, func, select

from service.domain.external_ids import IdKind, parse_id
from service.errors import NotFoundError
from service.store.dialects import is_sqlite
from service.store.in_lists import in_lists, is_one_of
from service.store.row_locks import locked
from service.store.tables.organisation import Depot, Organisation
from service.store.tables.vehicles import Compartment, Vehicle


def get_organisation(session: Session, organisation_id: int) -> Organisation:
    """Organisation with this id."""
    organisation = session.get(Organisation, organisation_id)
    if organisation is None:
        raise NotFoundError("There is no such organisation.")
    return organisation


def lock_organisation(session: Session, organisation_id: int) -> Organisation:
    """Let one at a time decide about people, secrets, receivers and settings; on SQLite the writers queue anyway.

    The organisation is given as it is now. What was read before of what belongs to it may be old.
    """
    return session.exec(locked(select(Organisation).where(Organisation.id == organisation_id))).one()


def list_organisations(session: Session) -> list[Organisation]:
    """All organisations, oldest first."""
    return list(session.exec(select(Organisation).order_by(col(Organisation.id))))


def organisation_named(session: Session, name: str) -> Organisation | None:
    """Organisation with this name."""
    return session.exec(select(Organisation).where(Organisation.name == name)).first()


def list_organisation_ids(session: Session) -> list[int]:
    """Ids of all organisations, oldest first."""
    return [
        key for key in session.exec(select(Organisation.id).order_by(col(Organisation.id))) if key is not None
    ]


def find_depot(
    session: Session, organisation_id: int, reference: str, *, for_update: bool = False
) -> Depot | None:
    """Depot by its reference or id; locked if it will be changed."""
    number = parse_id(IdKind.DEPOT, reference)
    wanted = Depot.reference == reference if number is None else Depot.id == number
    query = select(Depot).where(Depot.organisation_id == organisation_id, wanted)
    return session.exec(locked(query) if for_update else query).first()


def list_depots(session: Session, organisation_id: int) -> list[Depot]:
    """All depots, by reference."""
    query = select(Depot).where(Depot.organisation_id == organisation_id).order_by(col(Depot.reference))
    return list(session.exec(query))


def depot_names(session: Session, organisation_id: int) -> dict[int | None, str]:
    """References of all depots by key."""
    return {depot.id: depot.reference for depot in list_depots(session, organisation_id)}


def in_use(organisation_id: int) -> tuple[ColumnElement[bool], ColumnElement[bool]]:
    """Conditions for the vehicles of an organisation that have not left its fleet."""
    return col(Vehicle.organisation_id) == organisation_id, col(Vehicle.retired_at).is_(None)


def find_vehicle(
    session: Session, organisation_id: int, reference: str, *, for_update: bool = False
) -> Vehicle | None:
    """Vehicle in use by the fleet's own number, or any vehicle by its id; locked if it will be changed."""
    query = select(Vehicle).where(Vehicle.organisation_id == organisation_id)
    if for_update:
        query = locked(query)
    number = parse_id(IdKind.VEHICLE, reference)
    if number is not None:
        return session.exec(query.where(Vehicle.id == number)).first()
    return session.exec(
        query.where(Vehicle.reference == reference, col(Vehicle.retired_at).is_(None))
    ).first()


def get_vehicle(
    session: Session, organisation_id: int, reference: str, *, for_update: bool = False
) -> Vehicle:
    """Vehicle by number or id; locked if it will be changed.

    Raises
    ------
    NotFoundError
        If the organisation has none, whoever else may have.
    """
    vehicle = find_vehicle(session, organisation_id, reference, for_update=for_update)
    if vehicle is None:
        raise NotFoundError("There is no vehicle with this number or id.")
    return vehicle


def get_vehicle_by_id(session: Session, organisation_id: int, vehicle_id: int) -> Vehicle:
    """Vehicle by its key, in use or not."""
    query = select(Vehicle).where(Vehicle.organisation_id == organisation_id, Vehicle.id == vehicle_id)
    return session.exec(query).one()


def list_vehicles(
    session: Session,
    organisation_id: int,
    *,
    after_id: int = 0,
    limit: int | None = None,
    depot_id: int | None = None,
) -> list[Vehicle]:
    """Vehicles in use by id, a page at a time."""
    query = select(Vehicle).where(*in_use(organisation_id), col(Vehicle.id) > after_id)
    if depot_id is not None:
        query = query.where(Vehicle.depot_id == depot_id)
    return list(session.exec(query.order_by(col(Vehicle.id)).limit(limit)))


def list_vehicle_ids(session: Session, organisation_id: int) -> list[int]:
    """Keys of all vehicles, retired ones too, in ascending order."""
    query = (
        select(col(Vehicle.id)).where(Vehicle.organisation_id == organisation_id).order_by(col(Vehicle.id))
    )
    return [key for key in session.exec(query) if key is not None]


def lock_vehicles(session: Session, organisation_id: int, vehicle_ids: Iterable[int]) -> None:
    """Let one writer at a time change what is known of these vehicles; on SQLite the writers queue anyway.

    What was read of them before may be old by now. Always in the order of ids, so that two writers cannot wait for
    each other.
    """
    if is_sqlite(session):
        return
    query = select(Vehicle.id).where(
        Vehicle.organisation_id == organisation_id, is_one_of(session, col(Vehicle.id), list(vehicle_ids))
    )
    session.exec(query.order_by(col(Vehicle.id)).with_for_update(key_share=True)).all()


def vehicles_by_reference(
    session: Session, organisation_id: int, references: Iterable[str]
) -> dict[str, Vehicle]:
    """Vehicles in use for a batch of numbers or ids; what is unknown is missing from the answer."""
    found: dict[str, Vehicle] = {}
    numbers: dict[int, str] = {}
    names: list[str] = []
    for reference in dict.fromkeys(references):
        number = parse_id(IdKind.VEHICLE, reference)
        if number is None:
            names.append(reference)
        else:
            numbers[number] = reference
    for chunk in in_lists(names):
        rows = session.exec(
            select(Vehicle).where(*in_use(organisation_id), col(Vehicle.reference).in_(chunk))
        )
        found |= {vehicle.reference: vehicle for vehicle in rows}
    for ids in in_lists(list(numbers)):
        rows = session.exec(select(Vehicle).where(*in_use(organisation_id), col(Vehicle.id).in_(ids)))
        found |= {numbers[vehicle.id]: vehicle for vehicle in rows if vehicle.id is not None}
    return found


def classes_of_vehicles(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> dict[int, str]:
    """Classes of some vehicles, in use or not, by key."""
    query = core_select(col(Vehicle.id), col(Vehicle.vehicle_class)).where(
        col(Vehicle.organisation_id) == organisation_id, is_one_of(session, col(Vehicle.id), vehicle_ids)
    )
    session.flush()
    return {key or 0: name for key, name in session.connection().execute(query)}


def classes_in_use(session: Session, organisation_id: int, most: int | None = None) -> dict[int, str]:
    """Classes of the vehicles in use, by key in ascending order; of the first so many, or of all."""
    query = core_select(col(Vehicle.id), col(Vehicle.vehicle_class)).where(*in_use(organisation_id))
    rows = session.execute(query.order_by(col(Vehicle.id)).limit(most))
    return {key or 0: name for key, name in rows}


def vehicle_references(session: Session, organisation_id: int, vehicle_ids: Iterable[int]) -> dict[int, str]:
    """Numbers of some vehicles, in use or not, by key."""
    found: dict[int, str] = {}
    for chunk in in_lists(sorted(vehicle_ids)):
        query = select(Vehicle.id, Vehicle.reference).where(
            Vehicle.organisation_id == organisation_id, col(Vehicle.id).in_(chunk)
        )
        found |= {key: reference for key, reference in session.exec(query) if key is not None}
    return found


def count_vehicles(session: Session, organisation_id: int) -> int:
    """How many vehicles are in use."""
    return session.exec(select(func.count(col(Vehicle.id))).where(*in_use(organisation_id))).one()


def retire_vehicle(session: Session, vehicle: Vehicle, now: datetime) -> None:
    """Take a vehicle out of use; its history stays."""
    vehicle.retired_at = now
    vehicle.version += 1
    session.add(vehicle)


def retired_among(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> set[int]:
    """Keys of those vehicles that are no longer in use."""
    query = select(col(Vehicle.id)).where(
        Vehicle.organisation_id == organisation_id,
        is_one_of(session, col(Vehicle.id), vehicle_ids),
        col(Vehicle.retired_at).is_not(None),
    )
    return {key for key in session.exec(query) if key is not None}


def list_compartments(session: Session, organisation_id: int, vehicle_id: int) -> list[Compartment]:
    """Compartments of a vehicle, in the order they were registered."""
    query = select(Compartment).where(
        Compartment.organisation_id == organisation_id, Compartment.vehicle_id == vehicle_id
    )
    return list(session.exec(query.order_by(col(Compartment.id))))


def get_compartment(
    session: Session, organisation_id: int, reference: str, *, for_update: bool = False
) -> Compartment:
    """Compartment by its id; locked if it will be changed.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    number = parse_id(IdKind.COMPARTMENT, reference)
    query = select(Compartment).where(
        Compartment.organisation_id == organisation_id, Compartment.id == number
    )
    if for_update:
        query = locked(query)
    compartment = session.exec(query).first() if number is not None else None
    if compartment is None:
        raise NotFoundError("There is no compartment with this id.")
    return compartment


def vehicle_ids_of_group(
    session: Session, organisation_id: int, *, kind: str, duty: str, vehicle_class: str
) -> list[int]:
    """Vehicles of one duty and class that hold a kind of fluid, in ascending order."""
    query = (
        select(Vehicle.id)
        .join(Compartment, col(Compartment.vehicle_id) == Vehicle.id)
        .where(
            Vehicle.organisation_id == organisation_id,
            Compartment.organisation_id == organisation_id,
            Compartment.kind == kind,
            Vehicle.duty == duty,
            Vehicle.vehicle_class == vehicle_class,
        )
        .distinct()
        .order_by(col(Vehicle.id))
    )
    return [key for key in session.exec(query) if key is not None]


def compartments_by_id(
    session: Session, organisation_id: int, compartment_ids: Sequence[int]
) -> list[Compartment]:
    """Some compartments by key, in ascending order; what is unknown is missing."""
    query = select(Compartment).where(
        Compartment.organisation_id == organisation_id, col(Compartment.id).in_(compartment_ids)
    )
    return list(session.exec(query.order_by(col(Compartment.id))))


def compartment_references(
    session: Session, organisation_id: int, compartment_ids: Iterable[int]
) -> dict[int, str]:
    """Names of some compartments on their vehicles, by key."""
    found: dict[int, str] = {}
    for chunk in in_lists(sorted(compartment_ids)):
        query = select(Compartment.id, Compartment.reference).where(
            Compartment.organisation_id == organisation_id, col(Compartment.id).in_(chunk)
        )
        found |= {key: reference for key, reference in session.exec(query) if key is not None}
    return found
