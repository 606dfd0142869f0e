"""The job sheet of a vehicle on paper."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final

from sqlmodel import Session

from service.documents.file_names import attachment_name
from service.documents.job_sheet import job_sheet_pdf
from service.documents.models import (
    JobCompartment,
    JobSheet,
    PartNeed,
    RoundPlan,
    WorkStep,
)
from service.domain.cautions import DEFERENCE, JobStage
from service.domain.exchange_methods import METHOD_LABELS
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.domain.service_work import STEP_TEXTS, ServiceStep
from service.domain.vehicle_classes import CLASS_DEFAULTS, VehicleClass
from service.domain.visual_grades import colour_caution, grade_texts
from service.store.repositories import fleet
from service.usecases.access.caller import Caller
from service.usecases.services.prepare_job import Job, JobPart, prepare_job
from service.usecases.week.render_due_list import presentation_of

FASTENERS: Final = ("drain_plug", "fill_plug", "other_fastener")


def render_job_sheet(
    session: Session, caller: Caller, now: datetime, reference: str, public_url: str
) -> tuple[bytes, str]:
    """Typeset a vehicle's compartments with an open line, or all of them where none has one."""
    job = prepare_job(session, caller, now, reference)
    organisation = fleet.get_organisation(session, caller.organisation_id)
    vehicle = job.projection.vehicle
    listed = tuple(part for part in job.parts if part.line is not None)
    odometer, hours = job.projection.odometer_km, job.projection.engine_hours
    parts = listed or job.parts
    presentation = presentation_of(organisation)
    cautions = _for_all(parts)
    sheet = JobSheet(
        organisation=organisation.name,
        vehicle=vehicle.reference,
        visit_on=job.visit_on,
        printed_at=now.astimezone(organisation.zone),
        record_url=f"{public_url}/vehicles/{format_id(IdKind.VEHICLE, vehicle.id)}/job-sheet",
        facts=_facts(job),
        cautions=(*cautions, DEFERENCE),
        compartments=tuple(_compartment(part, presentation.labels, cautions) for part in parts),
        depot=job.depot,
        odometer_km=None if odometer is None else float(odometer[1]),
        engine_hours=None if hours is None else float(hours[1]),
    )
    content = job_sheet_pdf(sheet, presentation)
    return content, attachment_name("job-sheet", vehicle.reference, suffix="pdf")


def _facts(job: Job) -> tuple[tuple[str, str], ...]:
    vehicle = job.projection.vehicle
    facts = [("Class", CLASS_DEFAULTS[VehicleClass(vehicle.vehicle_class)].label)]
    if vehicle.vin:
        facts.append(("VIN", vehicle.vin))
    return tuple(facts)


def _for_all(parts: Sequence[JobPart]) -> tuple[str, ...]:
    """What is read before any work, and what holds for every compartment; the rest stands where its work does."""
    every = [caution for part in parts for caution in part.cautions]
    return tuple(
        dict.fromkeys(
            one.text
            for one in sorted(every, key=lambda one: list(JobStage).index(one.stage))
            if one.stage is JobStage.BEFORE or all(one in part.cautions for part in parts)
        )
    )


def _compartment(part: JobPart, words: Mapping[str, str], for_all: Sequence[str]) -> JobCompartment:
    compartment, kind = part.compartment, FluidKind(part.compartment.kind)
    return JobCompartment(
        compartment=compartment.reference,
        reason=part.reason,
        specification_required=compartment.specification or "",
        fluid="" if part.fluid is None else part.fluid.reference,
        fluid_meets="" if part.fluid is None else ", ".join(part.fluid.specifications),
        method=METHOD_LABELS[part.method],
        rounds=tuple(
            RoundPlan(
                drain_litres=one.drain_litres,
                fill_litres=one.fill_litres,
                fresh_share_after_fraction=one.fresh_share,
            )
            for one in part.rounds
        ),
        cautions=tuple(one.text for one in part.cautions if one.text not in for_all),
        steps=tuple(WorkStep(text=STEP_TEXTS[step].label, why=STEP_TEXTS[step].why) for step in part.steps),
        total_litres=compartment.total_litres,
        drainable_litres=compartment.drainable_litres,
        litres=part.litres,
        drained_celsius=part.drained_celsius,
        filled_celsius=part.filled_celsius,
        excess_expected_litres=part.excess_litres,
        has_level_check=part.has_level_check,
        level_low_celsius=compartment.level_min_celsius,
        level_high_celsius=compartment.level_max_celsius,
        parts=tuple(
            PartNeed(name=str(seal["part"]), quantity=int(seal["pieces"])) for seal in compartment.seals
        ),
        torques=tuple(words[name] for name in FASTENERS if ServiceStep.TORQUE_BY_MAKER in part.steps),
        maker_notes=compartment.maker_notes or "",
        has_fluid_counter=compartment.has_fluid_counter,
        life_used_before_fraction=part.life_used,
        grades=tuple(f"{text.mark} {text.look}" for text in grade_texts(kind).values()),
        grades_caution=colour_caution(kind),
    )
