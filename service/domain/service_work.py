"""The steps of a fluid service that must be closed before the job is, and where in a vehicle a fluid sits."""

from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from service.domain.exchange_methods import ExchangeMethod
from service.domain.fluid_kinds import OIL_KINDS, FluidKind
from service.domain.sourced import Sourced, practice


class CompartmentPlace(StrEnum):
    """Where in a vehicle a fluid sits."""

    ENGINE = "engine"
    TRANSMISSION = "transmission"
    TRANSFER_CASE = "transfer_case"
    FRONT_AXLE = "front_axle"
    MIDDLE_AXLE = "middle_axle"
    REAR_AXLE = "rear_axle"
    FINAL_DRIVE = "final_drive"
    RETARDER = "retarder"
    COOLING_CIRCUIT = "cooling_circuit"
    BRAKE_CIRCUIT = "brake_circuit"
    CLUTCH_CIRCUIT = "clutch_circuit"
    HYDRAULIC_TANK = "hydraulic_tank"
    STEERING = "steering"
    OTHER = "other"


USUAL_PLACE: Final[Mapping[FluidKind, CompartmentPlace]] = MappingProxyType(
    {
        FluidKind.AUTOMATIC_TRANSMISSION_CAR: CompartmentPlace.TRANSMISSION,
        FluidKind.AUTOMATIC_TRANSMISSION_HEAVY: CompartmentPlace.TRANSMISSION,
        FluidKind.CVT: CompartmentPlace.TRANSMISSION,
        FluidKind.DUAL_CLUTCH: CompartmentPlace.TRANSMISSION,
        FluidKind.MANUAL_GEARBOX: CompartmentPlace.TRANSMISSION,
        FluidKind.AXLE: CompartmentPlace.REAR_AXLE,
        FluidKind.ENGINE_OIL_PETROL: CompartmentPlace.ENGINE,
        FluidKind.ENGINE_OIL_DIESEL_LIGHT: CompartmentPlace.ENGINE,
        FluidKind.ENGINE_OIL_DIESEL_HEAVY: CompartmentPlace.ENGINE,
        FluidKind.COOLANT_TRADITIONAL: CompartmentPlace.COOLING_CIRCUIT,
        FluidKind.COOLANT_OAT: CompartmentPlace.COOLING_CIRCUIT,
        FluidKind.BRAKE_FLUID: CompartmentPlace.BRAKE_CIRCUIT,
        FluidKind.HYDRAULIC: CompartmentPlace.HYDRAULIC_TANK,
        FluidKind.TRACTOR_TRANSMISSION: CompartmentPlace.TRANSMISSION,
        FluidKind.POWER_STEERING: CompartmentPlace.STEERING,
    }
)


class ServiceStep(StrEnum):
    """A step that somebody confirms on the job sheet."""

    SPECIFICATION_CHECKED = "specification_checked"
    FILL_PLUG_OPENED_FIRST = "fill_plug_opened_first"
    DRAINED_MEASURED = "drained_measured"
    OLD_FLUID_LOOKED_AT = "old_fluid_looked_at"
    SEALS_RENEWED = "seals_renewed"
    TORQUE_BY_MAKER = "torque_by_maker"
    FILLED_MEASURED = "filled_measured"
    LEVEL_IN_WINDOW = "level_in_window"
    COUNTER_RESET = "counter_reset"
    LEAKS_CHECKED = "leaks_checked"
    USED_FLUID_STORED = "used_fluid_stored"


@dataclass(frozen=True, slots=True)
class StepText:
    """What a step is called, and why a job may not be closed without it."""

    label: str
    why: str


STEP_TEXTS: Final[Mapping[ServiceStep, StepText]] = MappingProxyType(
    {
        ServiceStep.SPECIFICATION_CHECKED: StepText(
            "Specification checked", "The wrong fluid can ruin clutches, seals or bearings."
        ),
        ServiceStep.FILL_PLUG_OPENED_FIRST: StepText(
            "Fill plug opened first", "A unit that is drained and cannot be filled cannot be moved."
        ),
        ServiceStep.DRAINED_MEASURED: StepText(
            "Drained litres measured",
            "What came out tells how low it was, and how much of the fluid is renewed.",
        ),
        ServiceStep.OLD_FLUID_LOOKED_AT: StepText(
            "Old fluid looked at", "Flakes, milk or a burnt smell change what should be done next."
        ),
        ServiceStep.SEALS_RENEWED: StepText(
            "Seals renewed", "A washer that was crushed once does not seal again."
        ),
        ServiceStep.TORQUE_BY_MAKER: StepText(
            "Plugs tightened by the maker's figure", "Figures differ several-fold between units."
        ),
        ServiceStep.FILLED_MEASURED: StepText(
            "Filled litres measured", "Without it the share of fresh fluid is not known."
        ),
        ServiceStep.LEVEL_IN_WINDOW: StepText(
            "Level set inside the temperature window",
            "Fluid swells as it warms; outside the window the level is wrong though it looks right.",
        ),
        ServiceStep.COUNTER_RESET: StepText(
            "Fluid counter reset", "The vehicle otherwise goes on counting the old fluid and warns too early."
        ),
        ServiceStep.LEAKS_CHECKED: StepText(
            "Checked for leaks, warm", "A plug or filter that weeps empties the unit on the road."
        ),
        ServiceStep.USED_FLUID_STORED: StepText(
            "Used fluid in its own container",
            "Mixed streams cost more to get rid of, and may not be taken at all.",
        ),
    }
)

_ALWAYS: Final = (
    ServiceStep.SPECIFICATION_CHECKED,
    ServiceStep.DRAINED_MEASURED,
    ServiceStep.OLD_FLUID_LOOKED_AT,
    ServiceStep.FILLED_MEASURED,
    ServiceStep.LEAKS_CHECKED,
    ServiceStep.USED_FLUID_STORED,
)
_WITH_PLUGS: Final = (
    ServiceStep.FILL_PLUG_OPENED_FIRST,
    ServiceStep.SEALS_RENEWED,
    ServiceStep.TORQUE_BY_MAKER,
)


def required_steps(
    method: ExchangeMethod, kind: FluidKind, *, has_level_window: bool, has_fluid_counter: bool
) -> tuple[ServiceStep, ...]:
    """List the steps that a job of this method must close, in the order of work.

    Nothing of a cooling circuit is asked to be opened first: it is under pressure while it is warm.
    """
    if method is ExchangeMethod.TOP_UP:
        needed = {ServiceStep.SPECIFICATION_CHECKED, ServiceStep.FILLED_MEASURED, ServiceStep.LEAKS_CHECKED}
    else:
        needed = set(_ALWAYS)
    if method is ExchangeMethod.DRAIN_AND_FILL:
        needed.update(_WITH_PLUGS)
        if kind not in OIL_KINDS:
            needed.remove(ServiceStep.FILL_PLUG_OPENED_FIRST)
    if has_level_window:
        needed.add(ServiceStep.LEVEL_IN_WINDOW)
    if has_fluid_counter and method is not ExchangeMethod.TOP_UP:
        needed.add(ServiceStep.COUNTER_RESET)
    return tuple(step for step in ServiceStep if step in needed)


def open_steps(
    required: tuple[ServiceStep, ...], closed: AbstractSet[ServiceStep]
) -> tuple[tuple[ServiceStep, str], ...]:
    """List the steps that are still open, each with the reason why it matters."""
    return tuple((step, STEP_TEXTS[step].why) for step in required if step not in closed)


@dataclass(frozen=True, slots=True, kw_only=True)
class LabourMinutes:
    """Bay minutes of a method: for the first round, and for every further one."""

    first_round: Sourced
    further_round: Sourced


LABOUR_MINUTES: Final[Mapping[ExchangeMethod, LabourMinutes]] = MappingProxyType(
    {
        ExchangeMethod.DRAIN_AND_FILL: LabourMinutes(
            first_round=practice(45, 25, 90), further_round=practice(25, 15, 45)
        ),
        ExchangeMethod.LINE_EXCHANGE: LabourMinutes(
            first_round=practice(90, 60, 150), further_round=practice(30, 20, 60)
        ),
        ExchangeMethod.FLUSH: LabourMinutes(
            first_round=practice(50, 30, 90), further_round=practice(30, 20, 60)
        ),
        ExchangeMethod.TOP_UP: LabourMinutes(first_round=practice(15, 10, 30), further_round=practice(0)),
    }
)
VISIT_SETUP_MINUTES: Final = practice(20, 10, 40)
FIRST_ROUND_EXTRA_MINUTES: Final = (
    LABOUR_MINUTES[ExchangeMethod.DRAIN_AND_FILL].first_round.value
    - LABOUR_MINUTES[ExchangeMethod.DRAIN_AND_FILL].further_round.value
)
"""What the first round takes longer than a further one: where rounds are compared it belongs to the visit."""


def labour_minutes(method: ExchangeMethod, n_rounds: int) -> float:
    """Usual bay minutes of one job, without the set-up of the visit."""
    minutes = LABOUR_MINUTES[method]
    return minutes.first_round.value + max(n_rounds - 1, 0) * minutes.further_round.value


def bay_minutes(work_minutes: float, n_visits: int) -> float:
    """Bay minutes of visits: the work of all their jobs, and setting up each of them."""
    return work_minutes + n_visits * VISIT_SETUP_MINUTES.value


def n_visits(planned: Iterable[tuple[int, date | None]]) -> int:
    """Count visits by vehicle and day: what is planned of one vehicle for one day is one visit."""
    return len(set(planned))
