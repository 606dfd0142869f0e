"""How each fluid kind is exchanged by default: method, share, density, level window, waste stream."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from service.domain.exchange_methods import ExchangeMethod
from service.domain.fluid_kinds import FluidKind
from service.domain.sourced import Flag, Sourced, SourcedRange, derived, practice
from service.domain.used_fluid import WasteStream

_OVERFLOW_PLUG: Final = SourcedRange(
    low=35,
    high=45,
    flag=Flag.PUBLISHED,
    source="Maker's manuals of two units with an overflow plug",
)
_HEAVY_HOT_CHECK: Final = SourcedRange(
    low=71,
    high=93,
    flag=Flag.PUBLISHED,
    source="Maker's manual of a heavy automatic, hot check",
)

_TRANSMISSION_FLUID: Final = practice(850, 835, 870)
_ENGINE_OIL: Final = practice(860, 840, 890)
_GEAR_OIL: Final = practice(885, 860, 910)
_HYDRAULIC_OIL: Final = practice(870)
_BRAKE_FLUID: Final = derived(1075, "Middle of two fluid data sheets: 1050 to 1100 at 20 °C", 1050, 1100)
_COOLANT: Final = derived(1075, "CoolProp 8.0.0, ASHRAE 2001 ethylene glycol, 50 volume percent at 15 °C")


@dataclass(frozen=True, slots=True, kw_only=True)
class ExchangeDefaults:
    """How one fluid kind leaves and arrives."""

    method: ExchangeMethod
    drainable_fraction: Sourced
    """Share of the whole charge that one drain, or one flush, replaces; carries a standard deviation."""
    density_15c_kg_per_m3: Sourced
    level_window_celsius: SourcedRange | None
    """Fluid temperature at which the level is set; the maker's window replaces it."""
    waste_stream: WasteStream


def _oil(
    fraction: float, sd: float, density: Sourced, window: SourcedRange | None = None
) -> ExchangeDefaults:
    return ExchangeDefaults(
        method=ExchangeMethod.DRAIN_AND_FILL,
        drainable_fraction=practice(fraction, sd=sd),
        density_15c_kg_per_m3=density,
        level_window_celsius=window,
        waste_stream=WasteStream.LUBRICATING_OIL,
    )


_COOLANT_EXCHANGE: Final = ExchangeDefaults(
    method=ExchangeMethod.DRAIN_AND_FILL,
    drainable_fraction=practice(0.60, 0.5, 0.7, sd=0.15),
    density_15c_kg_per_m3=_COOLANT,
    level_window_celsius=None,
    waste_stream=WasteStream.COOLANT,
)

EXCHANGE_DEFAULTS: Final[Mapping[FluidKind, ExchangeDefaults]] = MappingProxyType(
    {
        FluidKind.AUTOMATIC_TRANSMISSION_CAR: _oil(0.45, 0.10, _TRANSMISSION_FLUID, _OVERFLOW_PLUG),
        FluidKind.AUTOMATIC_TRANSMISSION_HEAVY: _oil(0.80, 0.05, _TRANSMISSION_FLUID, _HEAVY_HOT_CHECK),
        FluidKind.CVT: _oil(0.60, 0.15, _TRANSMISSION_FLUID, _OVERFLOW_PLUG),
        FluidKind.DUAL_CLUTCH: _oil(0.60, 0.15, _TRANSMISSION_FLUID, _OVERFLOW_PLUG),
        FluidKind.MANUAL_GEARBOX: _oil(0.92, 0.04, _GEAR_OIL),
        FluidKind.AXLE: _oil(0.92, 0.04, _GEAR_OIL),
        FluidKind.ENGINE_OIL_PETROL: _oil(0.92, 0.03, _ENGINE_OIL),
        FluidKind.ENGINE_OIL_DIESEL_LIGHT: _oil(0.92, 0.03, _ENGINE_OIL),
        FluidKind.ENGINE_OIL_DIESEL_HEAVY: _oil(0.93, 0.03, _ENGINE_OIL),
        FluidKind.COOLANT_TRADITIONAL: _COOLANT_EXCHANGE,
        FluidKind.COOLANT_OAT: _COOLANT_EXCHANGE,
        FluidKind.BRAKE_FLUID: ExchangeDefaults(
            method=ExchangeMethod.FLUSH,
            drainable_fraction=practice(0.85, 0.8, 0.9, sd=0.08),
            density_15c_kg_per_m3=_BRAKE_FLUID,
            level_window_celsius=None,
            waste_stream=WasteStream.BRAKE_FLUID,
        ),
        FluidKind.HYDRAULIC: ExchangeDefaults(
            method=ExchangeMethod.DRAIN_AND_FILL,
            drainable_fraction=practice(0.85, sd=0.08),
            density_15c_kg_per_m3=_HYDRAULIC_OIL,
            level_window_celsius=None,
            waste_stream=WasteStream.HYDRAULIC_OIL,
        ),
        FluidKind.TRACTOR_TRANSMISSION: _oil(0.85, 0.08, _HYDRAULIC_OIL),
        FluidKind.POWER_STEERING: _oil(0.35, 0.10, _TRANSMISSION_FLUID),
    }
)
