"""How much water a fluid may hold, per kind, and how fast brake fluid takes it up."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from service.domain.fluid_kinds import COOLANT_KINDS, ENGINE_OIL_KINDS, FluidKind
from service.domain.sourced import Flag, Sourced, practice, published
from service.units import DAYS_PER_YEAR

_HEAVY_MANUAL: Final = "Operator's manual of a heavy automatic transmission, table of fluid condition limits"
COOLANT_IN_AUTOMATIC: Final = (
    "Engine coolant in an automatic gearbox means that it is opened and cleaned; "
    "new fluid alone does not mend it."
)
"""Never tolerable, strip and clean: the same manual, for a heavy one. Of the others common practice, no source."""

_LAB_GUIDE: Final = "An independent laboratory's engine-oil guide, approximate, first to third level"
_MARKET_SURVEY: Final = "Water content of 1,000 cars, TRL report LR903, abstract: half had 3 percent or more"


@dataclass(frozen=True, slots=True, kw_only=True)
class ContaminationDefaults:
    """Limits in mass fractions; None where a limit makes no sense for the kind."""

    water_caution_fraction: Sourced | None
    water_reject_fraction: Sourced | None
    water_saturation_fraction: Sourced | None = None
    """Where the uptake from the air levels off (brake fluid)."""
    water_time_constant_days: Sourced | None = None


_TAKEN_OVER: Final = Sourced(
    value=0.002, flag=Flag.COMMON_PRACTICE, source=f"Taken over from heavy units: {_HEAVY_MANUAL}"
)
_AUTOMATIC: Final = ContaminationDefaults(
    water_caution_fraction=published(0.002, _HEAVY_MANUAL),
    water_reject_fraction=published(0.002, _HEAVY_MANUAL),
)
_OTHER_CLUTCHES: Final = ContaminationDefaults(
    water_caution_fraction=_TAKEN_OVER,
    water_reject_fraction=_TAKEN_OVER,
)
_ENGINE: Final = ContaminationDefaults(
    water_caution_fraction=published(0.001, _LAB_GUIDE),
    water_reject_fraction=published(0.004, _LAB_GUIDE),
)
_OTHER_OIL: Final = ContaminationDefaults(
    water_caution_fraction=practice(0.001),
    water_reject_fraction=practice(0.002),
)
_COOLANT: Final = ContaminationDefaults(
    water_caution_fraction=None,
    water_reject_fraction=None,
)
_BRAKE: Final = ContaminationDefaults(
    water_caution_fraction=practice(0.03),
    water_reject_fraction=practice(0.04),
    water_saturation_fraction=Sourced(
        value=0.05, flag=Flag.COMMON_PRACTICE, source=f"Default shape; wide scatter in: {_MARKET_SURVEY}"
    ),
    water_time_constant_days=practice(4 * DAYS_PER_YEAR),
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
