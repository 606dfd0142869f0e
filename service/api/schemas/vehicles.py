"""Request and answer models of vehicles and compartments."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any, Final, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from service.api.inputs import (
    NOT_NAMED,
    Body,
    CompartmentLitres,
    Day,
    EngineHours,
    ExpansionCelsius,
    FluidCelsius,
    IntervalHours,
    IntervalKm,
    IntervalMonths,
    Line40,
    Line120,
    Note,
    Odometer,
    Pieces,
    VehicleReference,
    Vin,
    Weekday,
    Yes,
)
from service.domain.duties import DUTY_DEFAULTS, Duty
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.domain.units_of_distance import DistanceUnit
from service.domain.vehicle_classes import VehicleClass
from service.store.tables.vehicles import Compartment, Vehicle
from service.usecases.fleet.register_compartments import MOST_SEALS
from service.usecases.fluids.own_ageing import (
    MOST_TEMPERATURES,
    EarlyWear,
    WearByTemperature,
    life_warnings,
    own_lives,
    wear_by_temperature,
)
from service.usecases.fluids.told_meters import ShownLess, meter_warnings

VEHICLE_EXAMPLE: dict[str, Any] = {
    "vehicle": "VAN-07",
    "class": "van",
    "depot": "North",
    "duty": "normal",
    "odometer_unit": "km",
    "vin": None,
}
COMPARTMENT_EXAMPLE: dict[str, Any] = {
    "compartment": "gearbox",
    "kind": "automatic_transmission_car",
    "fluid": "ATF-A",
    "total_litres": 9.0,
    "drainable_litres": 3.5,
    "interval_km": 80000,
    "interval_months": 96,
    "level_min_celsius": 35,
    "level_max_celsius": 45,
    "has_fluid_counter": True,
}


IN_SERVICE: Final = "First day of use, wherever that was; nothing of more than a year before it is recorded."


class VehicleCreate(Body):
    """A vehicle to register."""

    model_config = ConfigDict(json_schema_extra={"examples": [VEHICLE_EXAMPLE]})

    vehicle: VehicleReference
    vehicle_class: VehicleClass = Field(alias="class")
    depot: Line40 = Field(default="Main", description="A depot that is not known yet is made.")
    duty: Duty = Field(
        default=Duty.NORMAL,
        description=" ".join(f"{duty}: {DUTY_DEFAULTS[duty].recognised_by}" for duty in Duty),
    )
    odometer_unit: DistanceUnit = DistanceUnit.KM
    vin: Vin | None = None
    in_service_on: Day | None = Field(default=None, description=IN_SERVICE)
    available_weekdays: list[Weekday] | None = Field(
        default=None,
        min_length=1,
        max_length=7,
        description="ISO weekdays on which it can come in; all if not given.",
    )


class VehicleUpdate(Body):
    """What to change; what is not named stays."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"duty": "severe"}]})

    vehicle: VehicleReference = NOT_NAMED
    vehicle_class: VehicleClass = Field(default=NOT_NAMED, alias="class")
    depot: Line40 = NOT_NAMED
    duty: Duty = NOT_NAMED
    odometer_unit: DistanceUnit = NOT_NAMED
    vin: Vin | None = None
    in_service_on: Day | None = Field(default=None, description=IN_SERVICE)
    available_weekdays: list[Weekday] | None = Field(default=None, min_length=1, max_length=7)


class VehicleRead(BaseModel):
    """A registered vehicle."""

    model_config = ConfigDict(
        serialize_by_alias=True, json_schema_extra={"examples": [{"id": "veh_12", **VEHICLE_EXAMPLE}]}
    )

    id: str
    vehicle: str
    vehicle_class: VehicleClass = Field(serialization_alias="class")
    depot: str
    duty: Duty
    odometer_unit: DistanceUnit
    vin: str | None
    in_service_on: date | None
    available_weekdays: list[int]
    version: int
    created_at: datetime
    warnings: list[str] = []

    @classmethod
    def of(cls, vehicle: Vehicle, depot: str, warnings: list[str] | None = None) -> Self:
        """Show a row."""
        return cls(
            id=format_id(IdKind.VEHICLE, vehicle.id),
            vehicle=vehicle.reference,
            vehicle_class=VehicleClass(vehicle.vehicle_class),
            depot=depot,
            duty=Duty(vehicle.duty),
            odometer_unit=DistanceUnit(vehicle.odometer_unit),
            vin=vehicle.vin,
            in_service_on=vehicle.in_service_on,
            available_weekdays=[day for day in range(1, 8) if vehicle.available_weekdays & (1 << (day - 1))],
            version=vehicle.version,
            created_at=vehicle.created_at,
            warnings=warnings or [],
        )


class VehiclePage(BaseModel):
    """Some vehicles; the Link header leads to the next ones."""

    vehicles: list[VehicleRead]


class Seal(Body):
    """A part that is used once a service."""

    part: Line40
    pieces: Pieces = 1


class HoursAtTemperature(Body):
    """How long the fluid was about so warm."""

    celsius: FluidCelsius
    hours: EngineHours


class CompartmentFields(Body):
    """What can be said of a compartment; what is not said is filled from the fluid kind."""

    fluid: Line40 | None = Field(default=None, description="Article name of the fluid usually filled.")
    specification: Line120 | None = None
    total_litres: CompartmentLitres | None = None
    drainable_litres: CompartmentLitres | None = None
    interval_km: IntervalKm | None = None
    interval_months: IntervalMonths | None = None
    interval_hours: IntervalHours | None = None
    level_min_celsius: ExpansionCelsius | None = None
    level_max_celsius: ExpansionCelsius | None = None
    has_fluid_counter: Yes | None = None
    partial_is_full: Yes | None = None
    maker_notes: Note | None = None
    seals: list[Seal] | None = Field(default=None, max_length=MOST_SEALS)
    life_km: IntervalKm | None = Field(
        default=None, description="What wears this fluid out by itself, where it differs from the kind's."
    )
    life_months: IntervalMonths | None = None
    life_hours: IntervalHours | None = None
    oil_temperatures: list[HoursAtTemperature] | None = Field(
        default=None,
        max_length=MOST_TEMPERATURES,
        description="Hours at each temperature of the fluid, as logged; they count instead of the vehicle's duty.",
    )
    last_service_on: Day | None = Field(default=None, description="Last full change, if known.")
    last_service_odometer_km: Odometer | None = None
    last_service_engine_hours: EngineHours | None = None


class CompartmentCreate(CompartmentFields):
    """A compartment to register."""

    model_config = ConfigDict(json_schema_extra={"examples": [COMPARTMENT_EXAMPLE]})

    compartment: Line40 | None = Field(
        default=None, description="Its name on the vehicle; the kind's if not given."
    )
    kind: FluidKind

    @model_validator(mode="after")
    def _check_window(self) -> Self:
        if (self.level_min_celsius is None) != (self.level_max_celsius is None):
            message = "the level window needs both ends"
            raise ValueError(message)
        return self


class CompartmentUpdate(CompartmentFields):
    """What to change; what is not named stays."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"interval_km": 60000}]})

    compartment: Line40 = NOT_NAMED
    total_litres: CompartmentLitres = NOT_NAMED
    drainable_litres: CompartmentLitres = NOT_NAMED
    has_fluid_counter: Yes = NOT_NAMED
    partial_is_full: Yes = NOT_NAMED
    seals: list[Seal] = Field(default=NOT_NAMED, max_length=MOST_SEALS)
    oil_temperatures: list[HoursAtTemperature] = Field(default=NOT_NAMED, max_length=MOST_TEMPERATURES)


class CompartmentRead(BaseModel):
    """A registered compartment."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"id": "cmp_31", **COMPARTMENT_EXAMPLE}]})

    id: str
    vehicle: str
    compartment: str
    kind: FluidKind
    fluid: str | None
    specification: str | None
    total_litres: float
    drainable_litres: float
    interval_km: float | None
    interval_months: int | None
    interval_hours: float | None
    level_min_celsius: float | None
    level_max_celsius: float | None
    has_fluid_counter: bool
    partial_is_full: bool
    maker_notes: str | None
    seals: list[dict[str, Any]]
    life_km: float | None
    life_months: float | None
    life_hours: float | None
    oil_temperatures: list[HoursAtTemperature]
    last_service_on: date | None = Field(
        description="Last full change as it was told here; services come after it."
    )
    last_service_odometer_km: float | None
    last_service_engine_hours: float | None
    wear_by_temperature: WearByTemperature | None
    version: int
    warnings: list[str] = []

    @classmethod
    def of(
        cls,
        compartment: Compartment,
        vehicle: str,
        fluid: str | None,
        *,
        early: Sequence[EarlyWear],
        less: Sequence[ShownLess],
    ) -> Self:
        """Show a row."""
        logged = compartment.oil_temperatures
        fields = compartment.model_dump(
            include=set(cls.model_fields) - {"id", "vehicle", "compartment", "fluid"}
        )
        return cls(
            id=format_id(IdKind.COMPARTMENT, compartment.id),
            vehicle=vehicle,
            compartment=compartment.reference,
            fluid=fluid,
            last_service_on=compartment.baseline_on,
            last_service_odometer_km=compartment.baseline_odometer_km,
            last_service_engine_hours=compartment.baseline_engine_hours,
            wear_by_temperature=wear_by_temperature(FluidKind(compartment.kind), logged) if logged else None,
            warnings=[*life_warnings(early), *meter_warnings(less)],
            **own_lives(compartment.ageing),
            **fields,
        )


class CompartmentList(BaseModel):
    """All compartments of a vehicle."""

    compartments: list[CompartmentRead]
