"""Alarm limits for laboratory values: defaults that every organisation can edit.

There is no agreed common set of limits. These are starting points with their sources; an organisation's own
history, as percentiles of its own samples, is the better guide as soon as there is enough of it.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from service.domain.fluid_contamination import CONTAMINATION_DEFAULTS
from service.domain.fluid_kinds import AUTOMATIC_KINDS, ENGINE_OIL_KINDS, GEAR_OIL_KINDS, OIL_KINDS, FluidKind
from service.domain.laboratory import PROPERTY_RULES, LaboratoryProperty
from service.domain.plausibility import CHANGE_AGAINST_NEW, FRACTION, Bounds
from service.domain.sourced import NO_SOURCE, NOT_VERIFIED, Flag
from service.errors import InvalidInputError


class Basis(StrEnum):
    """What a limit is compared with."""

    VALUE = "value"
    """So much may be in the fluid: the limit has been passed by more than this."""
    VALUE_FALLING = "value_falling"
    """The fluid is condemned once the value has fallen to this."""
    INCREASE = "increase"
    """Likewise, once it has risen by so much above the new fluid."""
    CHANGE_FRACTION = "change_fraction"
    """Likewise, once it has changed by this share of the new fluid's, either way."""
    LEFT_FRACTION = "left_fraction"
    """Likewise, once no more than this share of the new fluid's is left."""


FALLING: Final = frozenset({Basis.VALUE_FALLING, Basis.LEFT_FRACTION})
"""Compared downwards: critical is below caution."""

IN_PROPERTY_UNIT: Final = frozenset({Basis.VALUE, Basis.VALUE_FALLING, Basis.INCREASE})
"""The levels carry the property's unit; those of the others are shares of the new fluid's value."""


class AlarmLevel(StrEnum):
    """How far a value has gone."""

    NORMAL = "normal"
    CAUTION = "caution"
    CRITICAL = "critical"
    UNKNOWN = "unknown"
    """The limit needs the value of the new fluid, and nobody gave it."""


CAUTION_FIRST: Final = "Caution must be reached before critical."


def is_critical_first(basis: Basis, caution: float, critical: float) -> bool:
    """Whether a value on its way out of bounds would reach critical before caution."""
    return caution < critical if basis in FALLING else caution > critical


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmLimit:
    """One pair of limits for one property in one kind of fluid."""

    kind: FluidKind
    laboratory_property: LaboratoryProperty
    basis: Basis
    caution: float
    critical: float
    flag: Flag
    source: str

    def __post_init__(self) -> None:
        if is_critical_first(self.basis, self.caution, self.critical):
            raise InvalidInputError(CAUTION_FIRST)

    def level(self, value: float, new_value: float | None = None) -> AlarmLevel:
        """Compare a value with the limits; the value of the new fluid is needed for relative limits."""
        measure = self._measure(value, new_value)
        if measure is None:
            return AlarmLevel.UNKNOWN
        if self._is_out(measure, self.critical):
            return AlarmLevel.CRITICAL
        return AlarmLevel.CAUTION if self._is_out(measure, self.caution) else AlarmLevel.NORMAL

    def _is_out(self, measure: float, limit: float) -> bool:
        # A manual calls up to 0.2 % of condensate normal; ASTM D7590 condemns with a quarter of the additive left.
        if self.basis is Basis.VALUE:
            return measure > limit
        return measure <= limit if self.basis in FALLING else measure >= limit

    def _measure(self, value: float, new_value: float | None) -> float | None:
        if self.basis in {Basis.VALUE, Basis.VALUE_FALLING}:
            return value
        if new_value is None or (new_value <= 0 and self.basis is not Basis.INCREASE):
            return None
        if self.basis is Basis.INCREASE:
            return value - new_value
        return value / new_value if self.basis is Basis.LEFT_FRACTION else abs(value / new_value - 1)


_HEAVY_MANUAL: Final = "Operator's manual of a heavy automatic transmission, fluid condition table"
_ENGINE_GUIDE: Final = "An independent laboratory's engine-oil guide, which calls its levels approximate"
_PLANT_ARTICLE: Final = "Plant-maintenance magazine, October 2010: viscosity of industrial oils"
_D7590: Final = "ASTM D7590 as quoted in an article on voltammetry"

_P = LaboratoryProperty


def _limits(
    kinds: frozenset[FluidKind],
    laboratory_property: LaboratoryProperty,
    basis: Basis,
    levels: tuple[float, float],
    flag: Flag,
    source: str,
) -> tuple[AlarmLimit, ...]:
    return tuple(
        AlarmLimit(
            kind=kind,
            laboratory_property=laboratory_property,
            basis=basis,
            caution=levels[0],
            critical=levels[1],
            flag=flag,
            source=source,
        )
        for kind in sorted(kinds)
    )


def _water_limits() -> Iterator[AlarmLimit]:
    """Water stands with the other contamination of each kind; here it becomes a limit like the rest."""
    for kind, contamination in CONTAMINATION_DEFAULTS.items():
        caution, reject = contamination.water_caution_fraction, contamination.water_reject_fraction
        if caution is not None and reject is not None:
            yield AlarmLimit(
                kind=kind,
                laboratory_property=_P.WATER_FRACTION,
                basis=Basis.VALUE,
                caution=caution.value,
                critical=reject.value,
                flag=reject.flag,
                source=reject.source,
            )


_PETROL: Final = frozenset({FluidKind.ENGINE_OIL_PETROL})
_DIESEL: Final = ENGINE_OIL_KINDS - _PETROL
_HEAVY_AUTOMATIC: Final = frozenset({FluidKind.AUTOMATIC_TRANSMISSION_HEAVY})
_HYDRAULIC: Final = frozenset({FluidKind.HYDRAULIC})
_TRACTOR: Final = frozenset({FluidKind.TRACTOR_TRANSMISSION})
_MEMORY, _PUBLISHED, _PRACTICE = Flag.FROM_MEMORY, Flag.PUBLISHED, Flag.COMMON_PRACTICE

_LIGHT_AUTOMATICS: Final = AUTOMATIC_KINDS - _HEAVY_AUTOMATIC
_TAKEN_OVER: Final = f"Taken over from heavy units: {_HEAVY_MANUAL}"
_CAUTION_IS_PRACTICE: Final = f"{_HEAVY_MANUAL}; caution at four fifths of it is common practice"

DEFAULT_LIMITS: Final[tuple[AlarmLimit, ...]] = (
    *(
        limit
        for laboratory_property, basis, levels, heavy_source in (
            (_P.VISCOSITY_100C_MM2_PER_S, Basis.CHANGE_FRACTION, (0.20, 0.25), _CAUTION_IS_PRACTICE),
            (_P.ACID_NUMBER_MG_KOH_PER_G, Basis.INCREASE, (2.4, 3.0), _CAUTION_IS_PRACTICE),
        )
        for limit in (
            *_limits(_HEAVY_AUTOMATIC, laboratory_property, basis, levels, _PUBLISHED, heavy_source),
            *_limits(_LIGHT_AUTOMATICS, laboratory_property, basis, levels, _PRACTICE, _TAKEN_OVER),
        )
    ),
    *_limits(_HEAVY_AUTOMATIC, _P.OXIDATION_ABS_PER_CM, Basis.INCREASE, (24, 30), _MEMORY, NOT_VERIFIED),
    *_limits(_HEAVY_AUTOMATIC, _P.SOLIDS_FRACTION, Basis.VALUE, (0.016, 0.02), _MEMORY, NOT_VERIFIED),
    *_limits(
        _HYDRAULIC,
        _P.VISCOSITY_40C_MM2_PER_S,
        Basis.CHANGE_FRACTION,
        (0.05, 0.10),
        _PUBLISHED,
        _PLANT_ARTICLE,
    ),
    *_limits(
        _TRACTOR,
        _P.VISCOSITY_40C_MM2_PER_S,
        Basis.CHANGE_FRACTION,
        (0.10, 0.20),
        _PRACTICE,
        f"Twice those of oils without viscosity improver: {_PLANT_ARTICLE}",
    ),
    *_limits(
        ENGINE_OIL_KINDS,
        _P.BASE_NUMBER_MG_KOH_PER_G,
        Basis.LEFT_FRACTION,
        (0.50, 0.35),
        _PUBLISHED,
        _ENGINE_GUIDE,
    ),
    *_limits(ENGINE_OIL_KINDS, _P.OXIDATION_ABS_PER_CM, Basis.INCREASE, (10, 20), _PUBLISHED, _ENGINE_GUIDE),
    *_limits(ENGINE_OIL_KINDS, _P.NITRATION_ABS_PER_CM, Basis.INCREASE, (7, 11), _PUBLISHED, _ENGINE_GUIDE),
    *_limits(ENGINE_OIL_KINDS, _P.SULFATION_ABS_PER_CM, Basis.INCREASE, (16, 27), _PUBLISHED, _ENGINE_GUIDE),
    *_limits(_PETROL, _P.FUEL_FRACTION, Basis.VALUE, (0.024, 0.049), _PUBLISHED, _ENGINE_GUIDE),
    *_limits(_DIESEL, _P.SOOT_FRACTION, Basis.VALUE, (0.034, 0.069), _PUBLISHED, _ENGINE_GUIDE),
    *_limits(OIL_KINDS, _P.COOLANT_FRACTION, Basis.VALUE, (1e-6, 1e-6), _PRACTICE, NO_SOURCE),
    *_limits(OIL_KINDS, _P.ANTIOXIDANT_LEFT_FRACTION, Basis.VALUE_FALLING, (0.40, 0.25), _PUBLISHED, _D7590),
    *_limits(ENGINE_OIL_KINDS, _P.IRON_MG_PER_KG, Basis.VALUE, (100, 150), _MEMORY, NOT_VERIFIED),
    *_limits(ENGINE_OIL_KINDS, _P.COPPER_MG_PER_KG, Basis.VALUE, (30, 50), _MEMORY, NOT_VERIFIED),
    *_limits(AUTOMATIC_KINDS, _P.IRON_MG_PER_KG, Basis.VALUE, (150, 250), _MEMORY, NOT_VERIFIED),
    *_limits(AUTOMATIC_KINDS, _P.COPPER_MG_PER_KG, Basis.VALUE, (100, 200), _MEMORY, NOT_VERIFIED),
    *_limits(GEAR_OIL_KINDS, _P.IRON_MG_PER_KG, Basis.VALUE, (300, 500), _MEMORY, NOT_VERIFIED),
    *_limits(GEAR_OIL_KINDS, _P.COPPER_MG_PER_KG, Basis.VALUE, (50, 100), _MEMORY, NOT_VERIFIED),
    *_limits(_HYDRAULIC, _P.IRON_MG_PER_KG, Basis.VALUE, (20, 50), _MEMORY, NOT_VERIFIED),
    *_limits(_HYDRAULIC, _P.COPPER_MG_PER_KG, Basis.VALUE, (20, 50), _MEMORY, NOT_VERIFIED),
    *_water_limits(),
)

_BY_KIND: Final[Mapping[FluidKind, tuple[AlarmLimit, ...]]] = MappingProxyType(
    {kind: tuple(limit for limit in DEFAULT_LIMITS if limit.kind is kind) for kind in FluidKind}
)


def limits_for(kind: FluidKind) -> tuple[AlarmLimit, ...]:
    """List the default limits of a fluid kind."""
    return _BY_KIND[kind]


def check_pair(
    laboratory_property: LaboratoryProperty, basis: Basis, caution: float, critical: float
) -> None:
    """Refuse a pair of limits that cannot be meant.

    Raises
    ------
    InvalidInputError
        If a level is out of the bounds of its property and basis, or critical would be reached before caution.
    """
    bounds = _level_bounds(laboratory_property, basis)
    bounds.check("/caution", caution)
    bounds.check("/critical", critical)
    if is_critical_first(basis, caution, critical):
        raise InvalidInputError.at("/critical", CAUTION_FIRST)


def _level_bounds(laboratory_property: LaboratoryProperty, basis: Basis) -> Bounds:
    if basis is Basis.CHANGE_FRACTION:
        return CHANGE_AGAINST_NEW
    if basis is Basis.LEFT_FRACTION:
        return FRACTION
    bounds = PROPERTY_RULES[laboratory_property].bounds
    if basis is Basis.INCREASE:
        return Bounds(1e-6, bounds.maximum - bounds.minimum, bounds.reason)
    # a limit of nothing at all would be passed by every trace
    is_rising_share = basis is Basis.VALUE and bounds.minimum == 0.0
    return Bounds(1e-6, bounds.maximum, bounds.reason) if is_rising_share else bounds
