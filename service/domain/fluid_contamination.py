"""What may not be in a fluid, per kind: water, coolant, and the glycol share a coolant must keep."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from service.domain.fluid_kinds import COOLANT_KINDS, ENGINE_OIL_KINDS, FluidKind
from service.domain.sourced import Flag, Sourced, SourcedRange, practice, published

_HEAVY_MANUAL: Final = "Operator's manual of a heavy automatic transmission, table of fluid condition limits"
_LAB_GUIDE: Final = "An independent laboratory's engine-oil guide, approximate, first to third level"
_MARKET_SURVEY: Final = "Water content of 1,000 cars, TRL report LR903, abstract: half had 3 percent or more"


@dataclass(frozen=True, slots=True, kw_only=True)
class ContaminationDefaults:
    """Limits in mass fractions; None where a limit makes no sense for the kind."""

    water_caution_fraction: Sourced | None
    water_reject_fraction: Sourced | None
    water_fresh_fraction: Sourced | None
    water_saturation_fraction: Sourced | None = None
    """Where the uptake from the air levels off (brake fluid)."""
    water_time_constant_days: Sourced | None = None
    glycol_target_fraction: SourcedRange | None = None
    """By volume; coolant only."""
    coolant_is_contamination: bool = True


_TAKEN_OVER: Final = Sourced(
    value=0.002, flag=Flag.COMMON_PRACTICE, source=f"Taken over from heavy units: {_HEAVY_MANUAL}"
)
_AUTOMATIC: Final = ContaminationDefaults(
    water_caution_fraction=published(0.002, _HEAVY_MANUAL),
    water_reject_fraction=published(0.002, _HEAVY_MANUAL),
    water_fresh_fraction=practice(0.0),
)
_OTHER_CLUTCHES: Final = ContaminationDefaults(
    water_caution_fraction=_TAKEN_OVER,
    water_reject_fraction=_TAKEN_OVER,
    water_fresh_fraction=practice(0.0),
)
_ENGINE: Final = ContaminationDefaults(
    water_caution_fraction=published(0.001, _LAB_GUIDE),
    water_reject_fraction=published(0.004, _LAB_GUIDE),
    water_fresh_fraction=practice(0.0),
)
_OTHER_OIL: Final = ContaminationDefaults(
    water_caution_fraction=practice(0.001),
    water_reject_fraction=practice(0.002),
    water_fresh_fraction=practice(0.0),
)
_COOLANT: Final = ContaminationDefaults(
    water_caution_fraction=None,
    water_reject_fraction=None,
    water_fresh_fraction=None,
    glycol_target_fraction=SourcedRange(
        low=0.45,
        high=0.60,
        flag=Flag.COMMON_PRACTICE,
        source="Inside the 40 to 60 volume percent of the scope of ASTM D3306",
    ),
    coolant_is_contamination=False,
)
_FRESH_BRAKE_FLUID: Final = Sourced(
    value=0.0015,
    low=0.001,
    high=0.002,
    flag=Flag.COMMON_PRACTICE,
    source="Under the 0.20 percent that a data sheet of new brake fluid allows",
)
_BRAKE: Final = ContaminationDefaults(
    water_caution_fraction=practice(0.03),
    water_reject_fraction=practice(0.04),
    water_fresh_fraction=_FRESH_BRAKE_FLUID,
    water_saturation_fraction=Sourced(
        value=0.05, flag=Flag.COMMON_PRACTICE, source=f"Default shape; wide scatter in: {_MARKET_SURVEY}"
    ),
    water_time_constant_days=practice(4 * 365.25),
)

_CLUTCH_KINDS: Final = frozenset(
    {
        FluidKind.AUTOMATIC_TRANSMISSION_CAR,
        FluidKind.CVT,
        FluidKind.DUAL_CLUTCH,
        FluidKind.TRACTOR_TRANSMISSION,
    }
)


_SINGLE: Final = {FluidKind.BRAKE_FLUID: _BRAKE, FluidKind.AUTOMATIC_TRANSMISSION_HEAVY: _AUTOMATIC}


def _choose(kind: FluidKind) -> ContaminationDefaults:
    if kind in COOLANT_KINDS:
        return _COOLANT
    if kind in ENGINE_OIL_KINDS:
        return _ENGINE
    return _SINGLE.get(kind, _OTHER_CLUTCHES if kind in _CLUTCH_KINDS else _OTHER_OIL)


CONTAMINATION_DEFAULTS: Final[Mapping[FluidKind, ContaminationDefaults]] = MappingProxyType(
    {kind: _choose(kind) for kind in FluidKind}
)
