"""Cautions of a job sheet, in the order of work.

They are the usual ones of the trade and replace nothing: the maker's procedure and a qualified technician,
licensed where the law asks for it, decide.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from service.domain.exchange_methods import ExchangeMethod
from service.domain.fluid_kinds import AUTOMATIC_KINDS, COOLANT_KINDS, OIL_KINDS, FluidKind
from service.domain.sourced import NO_SOURCE, Flag

_HSE: Final = "UK Health and Safety Executive, motor vehicle repair pages"
_ARMY_HOT: Final = "US Army TM 9-2320-272-23-2: no dipstick check above 104 °C"


class JobStage(StrEnum):
    """When in the job a caution is read."""

    BEFORE = "before"
    DRAIN = "drain"
    FILL = "fill"
    LEVEL = "level"
    AFTER = "after"


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One caution, for which fluids and methods it holds; an empty set means all."""

    stage: JobStage
    text: str
    flag: Flag
    source: str
    kinds: frozenset[FluidKind] = frozenset()
    methods: frozenset[ExchangeMethod] = frozenset()

    def concerns(self, kind: FluidKind, method: ExchangeMethod) -> bool:
        """Whether the caution belongs on the sheet of this job."""
        return (not self.kinds or kind in self.kinds) and (not self.methods or method in self.methods)


def _published(stage: JobStage, text: str, source: str, *kinds: FluidKind) -> Caution:
    return Caution(stage=stage, text=text, flag=Flag.PUBLISHED, source=source, kinds=frozenset(kinds))


def _practice(
    stage: JobStage,
    text: str,
    kinds: frozenset[FluidKind] = frozenset(),
    methods: frozenset[ExchangeMethod] = frozenset(),
) -> Caution:
    return Caution(
        stage=stage, text=text, flag=Flag.COMMON_PRACTICE, source=NO_SOURCE, kinds=kinds, methods=methods
    )


DEFERENCE: Final = (
    "This sheet advises. The maker's procedure comes first, and a qualified technician, licensed where "
    "the law asks for it, decides."
)

_BRAKE: Final = frozenset({FluidKind.BRAKE_FLUID})
_PRESSURE: Final = frozenset({FluidKind.HYDRAULIC, FluidKind.TRACTOR_TRANSMISSION, FluidKind.POWER_STEERING})
_PLUGGED: Final = frozenset({ExchangeMethod.DRAIN_AND_FILL})

CAUTIONS: Final = (
    _published(
        JobStage.BEFORE,
        "Level ground, brakes on, wheels chocked. Work under stands or a locked lift, never under a jack "
        "alone: most deaths in vehicle repair are crushings under a vehicle that was badly held.",
        _HSE,
    ),
    _practice(
        JobStage.BEFORE,
        "Hybrid or electric: make the high voltage safe by the maker's procedure, by somebody trained for "
        "it.",
    ),
    _practice(
        JobStage.BEFORE,
        "Check the specification on the maker's data, the container's label and this sheet before opening "
        "anything.",
    ),
    _practice(
        JobStage.BEFORE,
        "A unit that slips, or whose fluid is black or burnt, may not be helped by fresh fluid. Tell the "
        "owner and get their agreement first.",
        kinds=AUTOMATIC_KINDS,
    ),
    _practice(
        JobStage.BEFORE,
        "Let the engine cool. Never open a hot cooling system: it is under pressure and scalds.",
        kinds=COOLANT_KINDS,
    ),
    _practice(
        JobStage.BEFORE,
        "Brakes are a matter of life: bleed in the maker's order, by somebody qualified; test before the "
        "road.",
        kinds=_BRAKE,
    ),
    _practice(
        JobStage.DRAIN,
        "Open the fill or level plug before the drain plug. If it will not open, do not drain.",
        kinds=OIL_KINDS,
        methods=_PLUGGED,
    ),
    _published(
        JobStage.DRAIN,
        "Fluid can be above 100 °C: eye protection, gloves, sleeves. Let it cool; never open a level plug "
        "hot unless the maker's procedure says so.",
        _ARMY_HOT,
    ),
    Caution(
        stage=JobStage.DRAIN,
        text=(
            "Lower pressure and implements first. Never feel for a leak with the hand: a jet under the "
            "skin is an emergency even if it hardly shows."
        ),
        flag=Flag.PUBLISHED,
        source="Operator's manual of a turf machine",
        kinds=_PRESSURE,
    ),
    _practice(
        JobStage.DRAIN,
        "Measure and write down the litres that come out. Do not run, tow or push the vehicle without fluid.",
    ),
    _practice(
        JobStage.DRAIN,
        "Look at the fluid, the magnet and the pan. Fine grey paste is usual; flakes, lining or milk: "
        "stop and refer.",
        kinds=OIL_KINDS,
    ),
    _practice(
        JobStage.DRAIN,
        "Watch the reservoir all the time: if it runs empty, air is in the circuit.",
        kinds=_BRAKE,
    ),
    _practice(
        JobStage.FILL,
        "New seals and washers. Tighten by the maker's figure only: drain plugs of different units differ "
        "several-fold, so no figure here would be safe.",
        methods=_PLUGGED,
    ),
    _practice(
        JobStage.FILL,
        "Clean vessels only, never one that held antifreeze or brake fluid. Measure and write down the "
        "litres filled.",
        kinds=OIL_KINDS,
    ),
    _practice(
        JobStage.FILL,
        "From a sealed container only; what stood open has drawn water. It strips paint: wipe and rinse "
        "at once.",
        kinds=_BRAKE,
    ),
    _practice(
        JobStage.FILL,
        "Poisonous and sweet: keep it away from children and animals, and mop up every drop. Use the "
        "water the maker asks for; fill and bleed by the maker's procedure.",
        kinds=COOLANT_KINDS,
    ),
    Caution(
        stage=JobStage.LEVEL,
        text=(
            "To move the selector with the engine running: service and parking brake held, wheels "
            "chocked, driver in the seat, nobody in front, behind or under, exhaust drawn off, idle only. "
            "Never go under it in gear."
        ),
        flag=Flag.COMMON_PRACTICE,
        source=f"Practice; for other work with the engine running: {_HSE}: brakes on and in neutral",
        kinds=AUTOMATIC_KINDS,
    ),
    _practice(
        JobStage.LEVEL,
        "Set the level only inside the temperature window of this unit. Too much foams and overheats, too "
        "little starves the pump.",
        kinds=OIL_KINDS,
    ),
    _published(
        JobStage.AFTER,
        "Wash skin soon, keep no oily rags in pockets: repeated contact with used oil can cause "
        "dermatitis and, rarely, skin cancer.",
        _HSE,
        *OIL_KINDS,
    ),
    _practice(
        JobStage.AFTER,
        "Pump the pedal until it is hard before the vehicle moves; then try the brakes at walking pace, "
        "off the road.",
        kinds=_BRAKE,
    ),
    _practice(
        JobStage.AFTER,
        "Used fluid into its own closed, labelled container, never mixed; spill kit at hand.",
    ),
    _practice(
        JobStage.AFTER,
        "Check for leaks warm, take a road test, reset the fluid counter where there is one, sign and date.",
    ),
)


def cautions_for(kind: FluidKind, method: ExchangeMethod) -> tuple[Caution, ...]:
    """List the cautions of one job, in the order of work."""
    order = list(JobStage)
    chosen = [caution for caution in CAUTIONS if caution.concerns(kind, method)]
    return tuple(sorted(chosen, key=lambda caution: order.index(caution.stage)))
