"""The job sheet as a page: the plan, the order of work, and boxes to fill in."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.domain.cautions import DEFERENCE, JobStage
from service.domain.exchange_methods import METHOD_LABELS
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import KIND_LABELS, FluidKind
from service.domain.service_work import STEP_TEXTS, ServiceStep
from service.domain.visual_grades import colour_caution
from service.usecases.services.prepare_job import Job, JobPart
from service.web.catalogue import tell, translate
from service.web.forms import FormState
from service.web.views.actors import told_actor
from service.web.views.grades import grade_options

MOST_ROUNDS: Final = 6

FASTENERS: Final = ("drain_plug", "fill_plug", "other")
"""Where a torque is written down; its figure comes from the maker's data alone, so none is proposed."""

TICKED_STEPS: Final = (
    ServiceStep.SPECIFICATION_CHECKED,
    ServiceStep.FILL_PLUG_OPENED_FIRST,
    ServiceStep.TORQUE_BY_MAKER,
    ServiceStep.LEAKS_CHECKED,
    ServiceStep.USED_FLUID_STORED,
)
"""Steps that only a tick can show; the others show in a figure, a choice or a box of their own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepBox:
    """A step to tick."""

    name: str
    label: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundRow:
    """One round: what it should measure, and the fields for what it did."""

    number: int
    planned: str
    drained_name: str
    filled_name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TorqueRow:
    """A fastener, and the field for the torque it was tightened to."""

    name: str
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PartSheet:
    """One compartment."""

    key: str
    name: str
    is_listed: bool
    reason: str
    facts: tuple[tuple[str, str], ...]
    maker_notes: str
    before: tuple[StepBox, ...]
    after: tuple[StepBox, ...]
    draining: tuple[str, ...]
    """With what is read before any work, where the head of the page does not say it."""

    filling: tuple[str, ...]
    finishing: tuple[str, ...]
    rounds: tuple[RoundRow, ...]
    torques: tuple[TorqueRow, ...]
    has_counter: bool
    has_level_check: bool
    excess: str
    window: str
    method: str
    fluids: tuple[tuple[str, str], ...]
    fluid: str
    grades: tuple[tuple[str, str], ...]
    colour_caution: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JobSheetPage:
    """The whole page."""

    vehicle: str
    vehicle_id: str
    visit: str
    draft: str
    cautions: tuple[str, ...]
    deference: str
    parts: tuple[PartSheet, ...]
    methods: tuple[tuple[str, str], ...]
    volume_unit: str
    unit: str
    now_local: str
    done_by: str
    may_work: bool
    may_plan: bool
    form: FormState


def job_sheet_page(
    job: Job,
    presentation: Presentation,
    zone: ZoneInfo,
    now: datetime,
    who: str,
    form: FormState,
    *,
    may_work: bool,
    may_plan: bool,
) -> JobSheetPage:
    """Fill the page; a draft fills the boxes unless the form was just sent."""
    vehicle, draft = job.projection.vehicle, job.draft
    if draft is not None and not form.values:
        form = FormState(draft.fields)
    listed = [part for part in job.parts if _is_listed(job, part)]
    cautions = dict.fromkeys(text for part in listed for text in _cautions(part, JobStage.BEFORE))
    return JobSheetPage(
        vehicle=vehicle.reference,
        vehicle_id=format_id(IdKind.VEHICLE, vehicle.id),
        visit="" if job.visit_on is None else presentation.day(job.visit_on),
        draft=""
        if draft is None
        else translate(
            "job_draft",
            who=told_actor(draft.saved_by),
            when=presentation.wall_time(draft.saved_at.astimezone(zone)),
        ),
        cautions=tuple(cautions),
        deference=tell(DEFERENCE),
        parts=tuple(_part(job, part, presentation, form, cautions) for part in job.parts),
        methods=tuple((str(method), tell(label)) for method, label in METHOD_LABELS.items()),
        volume_unit=presentation.volume_unit,
        unit=vehicle.odometer_unit,
        now_local=f"{now.astimezone(zone):%Y-%m-%dT%H:%M}",
        done_by=who,
        may_work=may_work,
        may_plan=may_plan,
        form=form,
    )


def _cautions(part: JobPart, *stages: JobStage) -> tuple[str, ...]:
    """Cautions of these stages of the work, to stand where the work is."""
    return tuple(tell(one.text) for one in part.cautions if one.stage in stages)


def _is_listed(job: Job, part: JobPart) -> bool:
    """Whether the part is the work of this visit; where nothing is listed, all of them may be."""
    return part.line is not None or all(one.line is None for one in job.parts)


def _part(
    job: Job, part: JobPart, presentation: Presentation, form: FormState, head: Collection[str]
) -> PartSheet:
    compartment = part.compartment
    before = tuple(text for text in _cautions(part, JobStage.BEFORE) if text not in head)
    low, high = compartment.level_min_celsius, compartment.level_max_celsius
    return PartSheet(
        key=part.key,
        name=compartment.reference,
        is_listed=part.line is not None or len(job.parts) == 1,
        reason=presentation.sentence(tell(part.reason)),
        facts=tuple(_facts(part, presentation)),
        maker_notes=compartment.maker_notes or "",
        before=_boxes(part, TICKED_STEPS[:2]),
        after=_boxes(part, TICKED_STEPS[2:]),
        draining=(*before, *_cautions(part, JobStage.DRAIN)),
        filling=_cautions(part, JobStage.FILL, JobStage.LEVEL),
        finishing=_cautions(part, JobStage.AFTER),
        rounds=tuple(_round(part, number, presentation) for number in range(1, _n_rows(part, form) + 1)),
        torques=tuple(
            TorqueRow(
                name=f"{part.key}-torque_{place}",
                label=translate("torque_in", place=translate(f"torque_{place}")),
            )
            for place in FASTENERS
            if ServiceStep.TORQUE_BY_MAKER in part.steps
        ),
        has_counter=compartment.has_fluid_counter,
        has_level_check=part.has_level_check,
        excess=""
        if part.excess_litres is None
        else translate(
            "job_excess_hint",
            litres=presentation.volume(part.excess_litres),
            **_temperatures(part, presentation),
        ),
        window=translate("job_no_window")
        if low is None
        else translate("job_window", low=presentation.celsius(low), high=presentation.celsius(high)),
        method=str(part.method),
        fluids=tuple((fluid.reference, fluid.reference) for fluid in part.fitting_fluids)
        or (("", translate("none")),),
        fluid="" if part.fluid is None else part.fluid.reference,
        grades=grade_options(FluidKind(compartment.kind)),
        colour_caution=presentation.sentence(tell(colour_caution(FluidKind(compartment.kind)))),
    )


def _facts(part: JobPart, presentation: Presentation) -> list[tuple[str, str]]:
    compartment, fluid = part.compartment, part.fluid
    return [
        (translate("job_kind"), tell(KIND_LABELS[FluidKind(compartment.kind)])),
        (translate("job_required"), compartment.specification or translate("job_by_maker")),
        (
            translate("job_fluid"),
            "–" if fluid is None else _with_specifications(fluid.reference, fluid.specifications),
        ),
        (
            translate("job_plan"),
            translate("job_plan_text", method=tell(METHOD_LABELS[part.method]), n=len(part.rounds) or 1),
        ),
        (translate("job_litres"), presentation.volume(part.litres)),
        (translate("job_life"), presentation.percent(part.life_used)),
        (
            translate("job_parts"),
            ", ".join(f"{seal['pieces']} × {seal['part']}" for seal in compartment.seals) or "–",
        ),
    ]


def _with_specifications(reference: str, specifications: Sequence[str]) -> str:
    return f"{reference} ({', '.join(specifications)})" if specifications else reference


def _boxes(part: JobPart, steps: tuple[ServiceStep, ...]) -> tuple[StepBox, ...]:
    return tuple(
        StepBox(
            name=f"{part.key}-step_{step}", label=tell(STEP_TEXTS[step].label), why=tell(STEP_TEXTS[step].why)
        )
        for step in steps
        if step in part.steps
    )


def _temperatures(part: JobPart, presentation: Presentation) -> dict[str, str]:
    """At which the litres that run out are meant, and those that are poured: warm fluid takes more room."""
    return {
        "warm": presentation.celsius(part.drained_celsius),
        "cold": presentation.celsius(part.filled_celsius),
    }


def _n_rows(part: JobPart, form: FormState) -> int:
    """As many rounds as planned and one more, or as many as are filled in."""
    filled = [
        number
        for number in range(1, MOST_ROUNDS + 1)
        if form.value(f"{part.key}-drained-{number}") or form.value(f"{part.key}-filled-{number}")
    ]
    return min(max(len(part.rounds) + 1, *filled, 1) if filled else len(part.rounds) + 1, MOST_ROUNDS)


def _round(part: JobPart, number: int, presentation: Presentation) -> RoundRow:
    planned = translate("job_round_more") if part.rounds else ""
    if number <= len(part.rounds):
        one = part.rounds[number - 1]
        planned = translate(
            "job_round_mass" if part.filled_celsius is None else "job_round_plan",
            **_temperatures(part, presentation),
            out=presentation.volume(one.drain_litres),
            into=presentation.volume(one.fill_litres),
            share=presentation.percent(one.fresh_share),
        )
    return RoundRow(
        number=number,
        planned=planned,
        drained_name=f"{part.key}-drained-{number}",
        filled_name=f"{part.key}-filled-{number}",
    )
