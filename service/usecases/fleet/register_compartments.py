"""Register the places in a vehicle that hold a fluid; what the maker's figures leave open comes from the kind."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, Final

from sqlmodel import Session

from service.domain.external_ids import looks_like_an_id
from service.domain.fluid_defaults import FluidDefaults, defaults_for
from service.domain.fluid_kinds import FluidKind
from service.domain.roles import Scope
from service.domain.sourced import Sourced
from service.domain.vehicle_classes import VehicleClass
from service.domain.vehicle_life import require_in_life, require_in_use
from service.errors import DuplicateError, InvalidInputError
from service.store.repositories import fleet, fluids
from service.store.tables.fluids import Fluid
from service.store.tables.vehicles import Compartment, Vehicle
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.fleet.required_fields import refuse_nothing
from service.usecases.fluids.own_ageing import OWN_LIVES, own_ageing, own_lives
from service.usecases.fluids.recommend_exchange import FULL_DRAIN_FRACTION
from service.usecases.fluids.told_meters import require_told_meters
from service.usecases.fluids.update_states import update_states

MOST_SEALS: Final = 20
MAY_BE_NOTHING: Final = frozenset(
    {
        "fluid",
        "specification",
        "interval_km",
        "interval_months",
        "interval_hours",
        "level_min_celsius",
        "level_max_celsius",
        "maker_notes",
        "baseline_on",
        "baseline_odometer_km",
        "baseline_engine_hours",
        *OWN_LIVES,
    }
)
TOLD: Final = frozenset({"baseline_on", "baseline_odometer_km", "baseline_engine_hours"})
"""What is told of the last service."""


def register_compartment(
    session: Session, caller: Caller, now: datetime, vehicle: str, kind: FluidKind, facts: Mapping[str, Any]
) -> Compartment:
    """Register a compartment of a vehicle.

    `facts` may name any column of the table, `fluid` for the article usually filled, and lives of its own.

    Raises
    ------
    DuplicateError
        If the vehicle has a compartment of this name.
    InvalidInputError
        If the figures contradict each other.
    """
    caller.require(Scope.PLANNING)
    owner = fleet.get_vehicle(session, caller.organisation_id, vehicle)
    assert owner.id is not None  # noqa: S101 - it was read
    require_in_use(owner.reference, owner.retired_at)
    defaults = defaults_for(kind, VehicleClass(owner.vehicle_class))
    named = {
        name: value
        for name, value in facts.items()
        if value is not None and name != "fluid" and name not in OWN_LIVES
    }
    columns = _columns_from(defaults) | _own_volume(defaults, named) | named
    columns.setdefault("reference", str(kind))
    columns["ageing"] = own_ageing(kind, columns.get("ageing", {}), facts)
    _require_free_name(session, owner, columns["reference"])
    compartment = Compartment(
        organisation_id=caller.organisation_id,
        vehicle_id=owner.id,
        kind=kind,
        fluid_id=_fluid_id(session, caller, kind, facts.get("fluid")),
        created_at=now,
        **columns,
    )
    _check_figures(compartment)
    _check_last_service(session, compartment, owner, now)
    session.add(compartment)
    session.flush()
    require_told_meters(session, compartment)
    detail = {"vehicle": owner.reference, "compartment": compartment.reference, "kind": str(kind)}
    record_change(session, caller, now, "registered", "compartment", compartment.id, detail)
    update_states(session, caller.organisation_id, [owner.id])
    return compartment


def change_compartment(
    session: Session, caller: Caller, now: datetime, reference: str, changes: Mapping[str, Any]
) -> Compartment:
    """Change what `changes` names; the other columns stay."""
    caller.require(Scope.PLANNING)
    refuse_nothing(changes, MAY_BE_NOTHING)
    compartment = fleet.get_compartment(session, caller.organisation_id, reference)
    owner = fleet.get_vehicle_by_id(session, caller.organisation_id, compartment.vehicle_id)
    require_in_use(owner.reference, owner.retired_at)
    if changes.get("reference", compartment.reference) != compartment.reference:
        _require_free_name(session, owner, changes["reference"])
    before: dict[str, Any] = {}
    lives = own_lives(compartment.ageing)
    for name, value in changes.items():
        if name in lives:
            before[name] = lives[name]
            continue
        column, new = name, value
        if name == "fluid":
            column, new = "fluid_id", _fluid_id(session, caller, FluidKind(compartment.kind), value)
        before[name] = _plain(getattr(compartment, column))
        setattr(compartment, column, new)
    compartment.ageing = own_ageing(FluidKind(compartment.kind), compartment.ageing, changes)
    _check_figures(compartment)
    if "baseline_on" in changes:
        _check_last_service(session, compartment, owner, now)
    compartment.version += 1
    session.add(compartment)
    session.flush()
    if TOLD & changes.keys():
        require_told_meters(session, compartment)
    after = {name: _plain(value) for name, value in changes.items()}
    record_change(
        session, caller, now, "changed", "compartment", compartment.id, {"before": before, "after": after}
    )
    update_states(session, caller.organisation_id, [compartment.vehicle_id])
    return compartment


def _require_free_name(session: Session, owner: Vehicle, name: str) -> None:
    if looks_like_an_id(name):
        raise InvalidInputError.at(
            "/compartment", "Looks like one of this service's own ids; choose another name."
        )
    existing = fleet.list_compartments(session, owner.organisation_id, owner.id or 0)
    if name in {compartment.reference for compartment in existing}:
        raise DuplicateError(f"{owner.reference} has a compartment “{name}” already.")


def _check_figures(compartment: Compartment) -> None:
    """Refuse figures that contradict each other."""
    if compartment.drainable_litres > compartment.total_litres:
        raise InvalidInputError.at("/drainable_litres", "Cannot be more than the compartment holds.")
    low, high = compartment.level_min_celsius, compartment.level_max_celsius
    if (low is None) != (high is None):
        raise InvalidInputError.at("/level_max_celsius", "The level window needs both ends.")
    if low is not None and high is not None and low >= high:
        raise InvalidInputError.at(
            "/level_max_celsius", "The upper end of the window must be above the lower one."
        )


def _check_last_service(session: Session, compartment: Compartment, owner: Vehicle, now: datetime) -> None:
    if compartment.baseline_on is None:
        return
    today = fleet.get_organisation(session, owner.organisation_id).today(now)
    if compartment.baseline_on > today:
        raise InvalidInputError.at("/last_service_on", "Lies in the future.")
    require_in_life("/last_service_on", compartment.baseline_on, owner.in_service_on, today)


def _columns_from(defaults: FluidDefaults) -> dict[str, Any]:
    schedule, window = defaults.schedule, defaults.exchange.level_window_celsius
    months = _value(schedule.months)
    return {
        "total_litres": defaults.total_volume_litres.value,
        "drainable_litres": round(defaults.drainable_litres, 3),
        "interval_km": _value(schedule.km),
        "interval_months": None if months is None else round(months),
        "interval_hours": _value(schedule.hours),
        "level_min_celsius": None if window is None else window.low,
        "level_max_celsius": None if window is None else window.high,
        "has_fluid_counter": False,
        "partial_is_full": defaults.exchange.drainable_fraction.value >= FULL_DRAIN_FRACTION,
    }


def _own_volume(defaults: FluidDefaults, named: Mapping[str, Any]) -> dict[str, Any]:
    """Scale the drainable share when only the total is known."""
    if "total_litres" not in named or "drainable_litres" in named:
        return {}
    share = defaults.exchange.drainable_fraction.value
    return {"drainable_litres": round(named["total_litres"] * share, 3)}


def _value(sourced: Sourced | None) -> float | None:
    return None if sourced is None else sourced.value


def _fluid_id(session: Session, caller: Caller, kind: FluidKind, reference: str | None) -> int | None:
    if reference is None:
        return None
    fluid: Fluid | None = fluids.find_fluid(session, caller.organisation_id, reference)
    if fluid is None:
        raise InvalidInputError.at("/fluid", "There is no such fluid; add it first with POST /v1/fluids.")
    if fluid.kind != kind:
        raise InvalidInputError.at(
            "/fluid", f"This fluid is of the kind {fluid.kind}, the compartment of {kind}."
        )
    return fluid.id


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value
