"""The forms for vehicles and their compartments."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from service.documents.presentation import Presentation
from service.domain.duties import DUTY_DEFAULTS, Duty
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import KIND_LABELS, FluidKind
from service.domain.vehicle_classes import CLASS_DEFAULTS, VehicleClass
from service.store.tables.fluids import Fluid
from service.store.tables.organisation import Depot
from service.store.tables.vehicles import Compartment, Vehicle
from service.usecases.fluids.own_ageing import EarlyWear, own_lives
from service.web.catalogue import tell, translate
from service.web.forms import FormState
from service.web.views.compartment_warnings import early_wear_words

Options = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleFormPage:
    """A vehicle to register or to change."""

    vehicle: str
    """Its number; empty for a new one."""

    path: str
    back: str
    values: Mapping[str, str]
    classes: Options
    duties: Options
    units: Options
    weekdays: Options
    open_weekdays: frozenset[str]
    depots: tuple[str, ...]
    form: FormState


@dataclass(frozen=True, slots=True, kw_only=True)
class CompartmentFormPage:
    """A compartment to register or to change."""

    vehicle: str
    name: str
    """Empty for a new one."""

    path: str
    back: str
    values: Mapping[str, str]
    flags: Mapping[str, bool]
    kinds: Options
    fluids: Options
    distance_unit: str
    volume_unit: str
    warnings: tuple[str, ...]
    form: FormState


FIRST_DEPOT: Final = "Main"
EMPTY_VEHICLE: Final = {"vehicle_reference": "", "vin": "", "in_service_on": ""}
COMPARTMENT_FIELDS: Final = (
    "name",
    "kind",
    "fluid",
    "specification",
    "total_litres",
    "drainable_litres",
    "interval_km",
    "interval_months",
    "interval_hours",
    "level_min_celsius",
    "level_max_celsius",
    "maker_notes",
    "last_service_on",
    "last_service_odometer_km",
    "last_service_engine_hours",
    "seals",
    "life_km",
    "life_months",
    "life_hours",
    "oil_temperatures",
)


def vehicle_form_page(
    row: Vehicle | None, depots: Sequence[Depot], presentation: Presentation, form: FormState
) -> VehicleFormPage:
    """Fill the form with what is stored."""
    names = {depot.id: depot.reference for depot in depots}
    mask = 127 if row is None else row.available_weekdays
    back = "/vehicles" if row is None else f"/vehicles/{format_id(IdKind.VEHICLE, row.id)}"
    return VehicleFormPage(
        vehicle="" if row is None else row.reference,
        path=f"{back}/new" if row is None else f"{back}/change",
        back=back,
        values=_values_of(row, names, presentation.distance_unit),
        classes=tuple((str(one), tell(CLASS_DEFAULTS[one].label)) for one in VehicleClass),
        duties=tuple((str(one), tell(DUTY_DEFAULTS[one].label)) for one in Duty),
        units=(("km", translate("unit_km")), ("mi", translate("unit_mi"))),
        weekdays=tuple((str(day), presentation.labels[f"weekday_{day}"]) for day in range(1, 8)),
        open_weekdays=frozenset(str(day) for day in range(1, 8) if mask & (1 << (day - 1))),
        depots=tuple(names.values()),
        form=form,
    )


def compartment_form_page(
    vehicle: Vehicle,
    row: Compartment | None,
    fluids: Sequence[Fluid],
    early: Sequence[EarlyWear],
    presentation: Presentation,
    form: FormState,
) -> CompartmentFormPage:
    """Fill the form with what is stored, in the organisation's units."""
    back = f"/vehicles/{format_id(IdKind.VEHICLE, vehicle.id)}"
    fitting = [fluid for fluid in fluids if row is None or fluid.kind == row.kind]
    used = next((fluid.reference for fluid in fluids if row is not None and fluid.id == row.fluid_id), "")
    return CompartmentFormPage(
        vehicle=vehicle.reference,
        name="" if row is None else row.reference,
        path=f"{back}/compartments/new"
        if row is None
        else f"/compartments/{format_id(IdKind.COMPARTMENT, row.id)}/change",
        back=back,
        values=dict.fromkeys(COMPARTMENT_FIELDS, "")
        if row is None
        else compartment_values(row, used, presentation),
        flags={
            "has_fluid_counter": row is not None and row.has_fluid_counter,
            "partial_is_full": row is not None and row.partial_is_full,
        },
        kinds=tuple((str(kind), tell(KIND_LABELS[kind])) for kind in FluidKind),
        fluids=(
            ("", translate("none")),
            *((fluid.reference, _fluid_name(fluid, row is None)) for fluid in fitting),
        ),
        distance_unit=presentation.distance_unit,
        volume_unit=presentation.volume_unit,
        warnings=early_wear_words(early, presentation),
        form=form,
    )


def _values_of(row: Vehicle | None, depots: Mapping[int | None, str], distance_unit: str) -> dict[str, str]:
    if row is None:
        depot = next(iter(depots.values()), FIRST_DEPOT)
        usual = {"depot": depot, "odometer_unit": distance_unit, "vehicle_class": "van", "duty": "normal"}
        return EMPTY_VEHICLE | usual
    return {
        "vehicle_reference": row.reference,
        "vehicle_class": row.vehicle_class,
        "depot": depots[row.depot_id],
        "duty": row.duty,
        "odometer_unit": row.odometer_unit,
        "vin": row.vin or "",
        "in_service_on": _day(row.in_service_on),
    }


def compartment_values(row: Compartment, fluid: str, presentation: Presentation) -> dict[str, str]:
    """What is stored, as it stands in the fields; a field that still reads so was not changed."""
    volume, distance = presentation.volume_value, presentation.distance_value
    lives = own_lives(row.ageing)
    return {
        "name": row.reference,
        "kind": row.kind,
        "fluid": fluid,
        "specification": row.specification or "",
        "total_litres": _number(volume(row.total_litres), 3),
        "drainable_litres": _number(volume(row.drainable_litres), 3),
        "interval_km": "" if row.interval_km is None else _number(distance(row.interval_km), 1),
        "interval_months": _number(row.interval_months, 0),
        "interval_hours": _number(row.interval_hours, 1),
        "level_min_celsius": _number(row.level_min_celsius, 1),
        "level_max_celsius": _number(row.level_max_celsius, 1),
        "maker_notes": row.maker_notes or "",
        "last_service_on": _day(row.baseline_on),
        "last_service_odometer_km": ""
        if row.baseline_odometer_km is None
        else _number(distance(row.baseline_odometer_km), 1),
        "last_service_engine_hours": _number(row.baseline_engine_hours, 1),
        "seals": "\n".join(f"{seal['pieces']} × {seal['part']}" for seal in row.seals),
        "life_km": "" if lives["life_km"] is None else _number(distance(lives["life_km"]), 1),
        "life_months": _number(lives["life_months"], 1),
        "life_hours": _number(lives["life_hours"], 1),
        "oil_temperatures": "\n".join(
            f"{_number(one['celsius'], 1)} °C {_number(one['hours'], 1)} h" for one in row.oil_temperatures
        ),
    }


def _fluid_name(fluid: Fluid, with_kind: bool) -> str:
    return f"{fluid.reference} ({tell(KIND_LABELS[FluidKind(fluid.kind)])})" if with_kind else fluid.reference


def _number(value: float | None, n_decimals: int) -> str:
    """Write a number the way a field takes it, without zeros at the end."""
    if value is None:
        return ""
    text = f"{value:.{n_decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _day(day: date | None) -> str:
    return "" if day is None else day.isoformat()
