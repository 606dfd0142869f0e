"""Limits for laboratory values: the defaults, and over them what an organisation has set itself."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from service.domain.fluid_kinds import FluidKind
from service.domain.laboratory import LaboratoryProperty
from service.domain.limits import AlarmLimit, Basis, check_pair, limits_for
from service.domain.roles import Scope
from service.domain.sourced import Flag
from service.errors import NotFoundError
from service.store.repositories import alarm_limits
from service.store.repositories.stale_vehicles import mark_stale
from service.store.tables.alarm_limits import OwnAlarmLimit
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller

LimitsByKind = Mapping[FluidKind, tuple[AlarmLimit, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownLimit:
    """A limit in force, the row if the organisation set it, and the default in its place."""

    limit: AlarmLimit
    own: OwnAlarmLimit | None
    default: AlarmLimit | None


def limits_in_force(session: Session, organisation_id: int) -> LimitsByKind:
    """Limits that samples are held against, by kind of fluid."""
    own = alarm_limits.list_own_limits(session, organisation_id)
    return {
        kind: tuple(shown.limit for shown in _merged(kind, (row for row in own if row.kind == kind)))
        for kind in FluidKind
    }


def list_limits(session: Session, caller: Caller, kind: FluidKind | None) -> list[ShownLimit]:
    """List the limits of one kind of fluid, or of all."""
    caller.require(Scope.READ)
    own = alarm_limits.list_own_limits(session, caller.organisation_id, kind)
    kinds = list(FluidKind) if kind is None else [kind]
    return [shown for one in kinds for shown in _merged(one, (row for row in own if row.kind == one))]


def set_limit(
    session: Session,
    caller: Caller,
    now: datetime,
    place: tuple[FluidKind, LaboratoryProperty, Basis | None],
    levels: tuple[float, float],
    source: str,
) -> ShownLimit:
    """Set a limit in place of the default, or where there is none; states follow from all samples anew.

    Without a basis it is compared as the default of the property is, else by the value itself. A sample that was
    marked as contaminated when it was recorded stays so.

    Raises
    ------
    InvalidInputError
        If critical is reached before caution, or a level is out of bounds.
    """
    caller.require(Scope.PLANNING)
    kind, laboratory_property, basis = place
    default = _default(kind, laboratory_property)
    used = basis or (default.basis if default is not None else Basis.VALUE)
    check_pair(laboratory_property, used, *levels)
    before = _own_of(session, caller, kind, laboratory_property)
    row = alarm_limits.put_own_limit(
        session,
        OwnAlarmLimit(
            organisation_id=caller.organisation_id,
            kind=kind,
            laboratory_property=laboratory_property,
            basis=used,
            caution=levels[0],
            critical=levels[1],
            source=source,
            set_by=caller.actor[:80],
            set_at=now,
        ),
    )
    replaced = next((_levels(one) for one in before if one.basis == used), None)
    detail = {"kind": str(kind), "before": replaced, "after": _levels(row), "source": source}
    record_change(session, caller, now, "set", "alarm limit", row.id, detail)
    _follow_on(session, caller, now, kind)
    return ShownLimit(limit=_limit(row), own=row, default=_same_place(default, used))


def reset_limit(
    session: Session, caller: Caller, now: datetime, kind: FluidKind, laboratory_property: LaboratoryProperty
) -> None:
    """Remove what the organisation set for a property; the default holds again.

    Raises
    ------
    NotFoundError
        If it set nothing there.
    """
    caller.require(Scope.PLANNING)
    rows = _own_of(session, caller, kind, laboratory_property)
    if not rows:
        raise NotFoundError("No limit of your own is set for this kind of fluid and property.")
    for row in rows:
        detail = {"kind": str(kind), "before": _levels(row), "after": None}
        record_change(session, caller, now, "reset", "alarm limit", row.id, detail)
    alarm_limits.delete_own_limits(session, rows)
    _follow_on(session, caller, now, kind)


def _merged(kind: FluidKind, own: Iterable[OwnAlarmLimit]) -> list[ShownLimit]:
    """Put own limits over the defaults of the same property and basis; one on another basis stands beside it."""
    rows = {(row.laboratory_property, row.basis): row for row in own}
    found = []
    for default in limits_for(kind):
        row = rows.pop((default.laboratory_property.value, default.basis.value), None)
        limit = default if row is None else _limit(row)
        found.append(ShownLimit(limit=limit, own=row, default=default))
    return [*found, *(ShownLimit(limit=_limit(row), own=row, default=None) for row in rows.values())]


def _own_of(
    session: Session, caller: Caller, kind: FluidKind, laboratory_property: LaboratoryProperty
) -> list[OwnAlarmLimit]:
    rows = alarm_limits.list_own_limits(session, caller.organisation_id, kind)
    return [row for row in rows if row.laboratory_property == laboratory_property]


def _default(kind: FluidKind, laboratory_property: LaboratoryProperty) -> AlarmLimit | None:
    return next((one for one in limits_for(kind) if one.laboratory_property is laboratory_property), None)


def _same_place(default: AlarmLimit | None, basis: Basis) -> AlarmLimit | None:
    return default if default is not None and default.basis is basis else None


def _limit(row: OwnAlarmLimit) -> AlarmLimit:
    return AlarmLimit(
        kind=FluidKind(row.kind),
        laboratory_property=LaboratoryProperty(row.laboratory_property),
        basis=Basis(row.basis),
        caution=row.caution,
        critical=row.critical,
        flag=Flag.OWN_DATA,
        source=row.source,
    )


def _levels(row: OwnAlarmLimit) -> dict[str, float | str]:
    return {
        "property": row.laboratory_property,
        "basis": row.basis,
        "caution": row.caution,
        "critical": row.critical,
    }


def _follow_on(session: Session, caller: Caller, now: datetime, kind: FluidKind) -> None:
    """Let the states of this kind be followed anew before they are next shown."""
    ids = alarm_limits.vehicle_ids_with_kind(session, caller.organisation_id, kind)
    mark_stale(session, caller.organisation_id, ids, now)
