"""Everything that is assumed of a compartment when the maker's figures are not known yet."""

from dataclasses import dataclass

from service.domain.fluid_ageing import AGEING_DEFAULTS, AgeingDefaults
from service.domain.fluid_contamination import CONTAMINATION_DEFAULTS, ContaminationDefaults
from service.domain.fluid_exchange_defaults import EXCHANGE_DEFAULTS, ExchangeDefaults
from service.domain.fluid_kinds import KIND_LABELS, FluidKind
from service.domain.fluid_schedules import Schedule, schedule_for
from service.domain.fluid_volumes import total_volume_for
from service.domain.sourced import Sourced
from service.domain.vehicle_classes import VehicleClass


@dataclass(frozen=True, slots=True, kw_only=True)
class FluidDefaults:
    """The defaults of one fluid kind in one class of vehicles."""

    kind: FluidKind
    vehicle_class: VehicleClass
    label: str
    total_volume_litres: Sourced
    schedule: Schedule
    ageing: AgeingDefaults
    exchange: ExchangeDefaults
    contamination: ContaminationDefaults

    @property
    def drainable_litres(self) -> float:
        """Litres that one drain is expected to bring out."""
        return self.total_volume_litres.value * self.exchange.drainable_fraction.value


def defaults_for(kind: FluidKind, vehicle_class: VehicleClass) -> FluidDefaults:
    """Collect the defaults of a fluid kind in a class of vehicles; every pair has an answer."""
    return FluidDefaults(
        kind=kind,
        vehicle_class=vehicle_class,
        label=KIND_LABELS[kind],
        total_volume_litres=total_volume_for(kind, vehicle_class),
        schedule=schedule_for(kind, vehicle_class),
        ageing=AGEING_DEFAULTS[kind],
        exchange=EXCHANGE_DEFAULTS[kind],
        contamination=CONTAMINATION_DEFAULTS[kind],
    )
