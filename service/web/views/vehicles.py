"""The list of vehicles."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from service.documents.presentation import Presentation
from service.domain.external_ids import IdKind, format_id
from service.domain.vehicle_classes import CLASS_DEFAULTS, VehicleClass
from service.store.tables.vehicles import Vehicle
from service.usecases.due.list_fleet import FleetPart
from service.web.catalogue import tell, translate
from service.web.views.paging import Pager


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleRow:
    """One vehicle."""

    vehicle: str
    vehicle_id: str
    vehicle_class: str
    depot: str
    odometer: str
    next_due: str
    is_due: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class VehiclesPage:
    """The whole page."""

    rows: tuple[VehicleRow, ...]
    n_found: str
    depots: tuple[tuple[str, str], ...]
    depot: str
    search: str
    pager: Pager
    may_plan: bool


def vehicles_page(
    part: FleetPart,
    pager: Pager,
    depots: Sequence[str],
    depot: str,
    search: str,
    presentation: Presentation,
    *,
    may_plan: bool,
) -> VehiclesPage:
    """Fill the page."""
    return VehiclesPage(
        rows=tuple(_row(vehicle, part, presentation) for vehicle in part.vehicles),
        n_found=translate("vehicles_found", n=presentation.number(part.n_found)),
        depots=(("", translate("filter_all")), *((name, name) for name in depots)),
        depot=depot,
        search=search,
        pager=pager,
        may_plan=may_plan,
    )


def _row(vehicle: Vehicle, part: FleetPart, presentation: Presentation) -> VehicleRow:
    key = vehicle.id or 0
    due = _next(part.next_due, key)
    return VehicleRow(
        vehicle=vehicle.reference,
        vehicle_id=format_id(IdKind.VEHICLE, vehicle.id),
        vehicle_class=tell(CLASS_DEFAULTS[VehicleClass(vehicle.vehicle_class)].label),
        depot=part.depots[vehicle.depot_id],
        odometer=presentation.distance(part.odometer_km.get(key)),
        next_due="–"
        if due is None
        else translate("next_of", day=presentation.day(due[0]), compartment=due[1]),
        is_due=due is not None and due[0] <= part.today,
    )


def _next(next_due: Mapping[int, tuple[date, str]], key: int) -> tuple[date, str] | None:
    return next_due.get(key)
