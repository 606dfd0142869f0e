"""Which fluids must never meet, and why."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from service.domain.fluid_kinds import FluidKind


class FluidFamily(StrEnum):
    """What a fluid is made of, as far as mixing cares."""

    AUTOMATIC_TRANSMISSION = "automatic_transmission"
    CVT = "cvt"
    DUAL_CLUTCH = "dual_clutch"
    GEAR_OIL = "gear_oil"
    ENGINE_OIL = "engine_oil"
    HYDRAULIC_OIL = "hydraulic_oil"
    TRACTOR_OIL = "tractor_oil"
    POWER_STEERING = "power_steering"
    COOLANT_TRADITIONAL = "coolant_traditional"
    COOLANT_OAT = "coolant_oat"
    BRAKE_GLYCOL = "brake_glycol"
    BRAKE_SILICONE = "brake_silicone"


class MixingVerdict(StrEnum):
    """What comes of it."""

    SAME_FAMILY = "same_family"
    """May mix if both meet the specification."""
    WITH_APPROVAL = "with_approval"
    """Only if the maker of the unit allows both."""
    NEVER = "never"


@dataclass(frozen=True, slots=True)
class Mixing:
    """The verdict on two fluids and its reason."""

    verdict: MixingVerdict
    reason: str

    @property
    def is_allowed(self) -> bool:
        """Whether a program may accept it without a person overriding it."""
        return self.verdict is MixingVerdict.SAME_FAMILY


FAMILY_OF_KIND: Final[Mapping[FluidKind, FluidFamily]] = MappingProxyType(
    {
        FluidKind.AUTOMATIC_TRANSMISSION_CAR: FluidFamily.AUTOMATIC_TRANSMISSION,
        FluidKind.AUTOMATIC_TRANSMISSION_HEAVY: FluidFamily.AUTOMATIC_TRANSMISSION,
        FluidKind.CVT: FluidFamily.CVT,
        FluidKind.DUAL_CLUTCH: FluidFamily.DUAL_CLUTCH,
        FluidKind.MANUAL_GEARBOX: FluidFamily.GEAR_OIL,
        FluidKind.AXLE: FluidFamily.GEAR_OIL,
        FluidKind.ENGINE_OIL_PETROL: FluidFamily.ENGINE_OIL,
        FluidKind.ENGINE_OIL_DIESEL_LIGHT: FluidFamily.ENGINE_OIL,
        FluidKind.ENGINE_OIL_DIESEL_HEAVY: FluidFamily.ENGINE_OIL,
        FluidKind.COOLANT_TRADITIONAL: FluidFamily.COOLANT_TRADITIONAL,
        FluidKind.COOLANT_OAT: FluidFamily.COOLANT_OAT,
        FluidKind.BRAKE_FLUID: FluidFamily.BRAKE_GLYCOL,
        FluidKind.HYDRAULIC: FluidFamily.HYDRAULIC_OIL,
        FluidKind.TRACTOR_TRANSMISSION: FluidFamily.TRACTOR_OIL,
        FluidKind.POWER_STEERING: FluidFamily.POWER_STEERING,
    }
)
"""Silicone brake fluid has no kind of its own: it is said of the product."""

_SILICONE_GRADE: Final = re.compile(r"\bDOT ?5\b(?!\.1)", re.IGNORECASE)
"""DOT 5 is silicone, DOT 5.1 is glycol."""

_BRAKES: Final = frozenset({FluidFamily.BRAKE_GLYCOL, FluidFamily.BRAKE_SILICONE})
_COOLANTS: Final = frozenset({FluidFamily.COOLANT_TRADITIONAL, FluidFamily.COOLANT_OAT})
_WET_CLUTCHES: Final = frozenset(
    {
        FluidFamily.AUTOMATIC_TRANSMISSION,
        FluidFamily.CVT,
        FluidFamily.DUAL_CLUTCH,
        FluidFamily.TRACTOR_OIL,
    }
)

_SAME: Final = Mixing(
    MixingVerdict.SAME_FAMILY,
    "Of one family: may mix if both meet the specification that the maker asks for.",
)
_SILICONE: Final = Mixing(
    MixingVerdict.NEVER,
    "Silicone brake fluid (DOT 5) does not dissolve in glycol fluid (DOT 3, 4, 5.1): the mixture "
    "separates, holds air and water in pockets, and the brakes can fail. Strip, clean and renew the seals "
    "by the maker's procedure.",
)
_BRAKE_AND_OTHER: Final = Mixing(
    MixingVerdict.NEVER,
    "Oil or coolant in a brake circuit swells its seals and can fail the brakes; brake fluid in an oil or "
    "coolant ruins both. Do not drive; refer.",
)
_COOLANT_AND_OIL: Final = Mixing(
    MixingVerdict.NEVER,
    "Coolant in an oil strips bearings and clutch linings; oil in coolant swells hoses and stops heat. "
    "Find the leak before filling anything.",
)
_TWO_COOLANTS: Final = Mixing(
    MixingVerdict.NEVER,
    "The inhibitors of traditional and organic-acid coolant spoil each other and can gel: the mixture "
    "protects less long than either. Flush before changing from one to the other.",
)
_CLUTCHES: Final = Mixing(
    MixingVerdict.NEVER,
    "Clutches, belts and synchronisers work by the friction of their own fluid: a share of another one "
    "makes them slip, grab or wear. Drain and flush by the maker's procedure.",
)
_OTHER_OILS: Final = Mixing(
    MixingVerdict.WITH_APPROVAL,
    "Different families of oil: only if the maker of the unit allows both, because their additives may react.",
)


def family_of(kind: FluidKind, specifications: Iterable[str] = ()) -> FluidFamily:
    """Tell the family of a product from its kind and what its label says."""
    if kind is FluidKind.BRAKE_FLUID and any(_SILICONE_GRADE.search(text) for text in specifications):
        return FluidFamily.BRAKE_SILICONE
    return FAMILY_OF_KIND[kind]


def meets(required: str, specifications: Iterable[str]) -> bool:
    """Whether a product says that it meets what the maker requires; case and spaces do not count."""
    return _plain(required) in {_plain(text) for text in specifications}


def mixing(one: FluidFamily, other: FluidFamily) -> Mixing:
    """Judge two families; the order does not matter."""
    pair = frozenset({one, other})
    if len(pair) == 1:
        return _SAME
    if pair == _BRAKES:
        return _SILICONE
    if pair == _COOLANTS:
        return _TWO_COOLANTS
    if pair & _BRAKES:
        return _BRAKE_AND_OTHER
    if pair & _COOLANTS:
        return _COOLANT_AND_OIL
    return _CLUTCHES if pair & _WET_CLUTCHES else _OTHER_OILS


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())
