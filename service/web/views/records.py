"""One record of a vehicle as a page: what it says, and what taking it back would do."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.domain.exchange_methods import METHOD_LABELS, ExchangeMethod
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.domain.laboratory import LaboratoryProperty
from service.domain.visual_grades import VisualGrade, grade_texts
from service.store.repositories.services import DoneItem
from service.store.tables.access import AuditEntry
from service.store.tables.services import Service
from service.store.tables.vehicles import Compartment, Vehicle
from service.usecases.fluids.judge_sample import SampleFindings
from service.web.catalogue import tell, translate
from service.web.forms import FormState
from service.web.views.actors import told_actor
from service.web.views.sample_findings import Findings, findings_of, measured

Facts = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What every record's page needs beside the record."""

    presentation: Presentation
    zone: ZoneInfo
    voiding: AuditEntry | None
    may_void: bool
    form: FormState


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordPage:
    """The whole page."""

    title: str
    path: str
    vehicle: str
    vehicle_id: str
    facts: Facts
    works: tuple[tuple[str, Facts], ...]
    """Compartments, each with what was done to it."""

    findings: Findings
    """What a sample says; nothing of a service."""

    voided: str
    """Since when it is void, by whom and why; empty while it counts."""

    what_follows: str
    may_void: bool
    form: FormState


def service_record_page(
    service: Service,
    done: Sequence[DoneItem],
    *,
    vehicle: Vehicle,
    places: Mapping[int, Compartment],
    fluids: Mapping[int | None, str],
    told: Told,
) -> RecordPage:
    """Fill the page of a service."""
    shown = told.presentation
    when = shown.wall_time(service.done_at.astimezone(told.zone))
    facts = [
        (translate("record_done_at"), when),
        *_meters(service.odometer_km, service.engine_hours, shown),
        (translate("record_done_by"), service.done_by or ""),
        (translate("record_note"), service.note or ""),
        (translate("record_reference"), service.reference or ""),
        (translate("record_by"), _entered(service.recorded_by, service.recorded_at, told)),
    ]
    return RecordPage(
        title=translate("record_service_title", vehicle=vehicle.reference, when=when),
        path=record_path("service", format_id(IdKind.SERVICE, service.id)),
        vehicle=vehicle.reference,
        vehicle_id=format_id(IdKind.VEHICLE, vehicle.id),
        facts=_filled(facts),
        works=tuple(
            (
                places[one.item.compartment_id].reference,
                _filled(_work(one, FluidKind(places[one.item.compartment_id].kind), fluids, shown)),
            )
            for one in done
            if one.service.id == service.id
        ),
        findings=Findings(),
        voided=_voided(service.voided_at, told),
        what_follows=translate("record_service_follows"),
        may_void=told.may_void and service.voided_at is None,
        form=told.form,
    )


def sample_record_page(judged: SampleFindings, *, vehicle: Vehicle, told: Told) -> RecordPage:
    """Fill the page of a sample."""
    sample, place, shown = judged.sample, judged.compartment, told.presentation
    when = shown.wall_time(sample.taken_at.astimezone(told.zone))
    look = (
        ""
        if sample.grade is None
        else tell(grade_texts(FluidKind(place.kind))[VisualGrade(sample.grade)].look)
    )
    facts = [
        (translate("sample_at"), when),
        (translate("kept_compartment"), place.reference),
        *_meters(sample.odometer_km, sample.engine_hours, shown),
        (translate("sample_grade"), look),
        *(
            (translate(f"lab_{name}"), measured(LaboratoryProperty(name), value, shown))
            for name, value in sample.laboratory.items()
        ),
        (translate("sample_reference"), sample.reference or ""),
        (translate("record_note"), sample.note or ""),
        (translate("record_by"), _entered(sample.recorded_by, sample.recorded_at, told)),
    ]
    return RecordPage(
        title=translate("record_sample_title", vehicle=vehicle.reference, when=when),
        path=record_path("sample", format_id(IdKind.SAMPLE, sample.id)),
        vehicle=vehicle.reference,
        vehicle_id=format_id(IdKind.VEHICLE, vehicle.id),
        facts=_filled(facts),
        works=(),
        findings=findings_of(judged, shown),
        voided=_voided(sample.voided_at, told),
        what_follows=translate("record_sample_follows"),
        may_void=told.may_void and sample.voided_at is None,
        form=told.form,
    )


def record_path(kind: str, reference: str | None) -> str:
    """Address of the page of a service or a sample."""
    return f"/{kind}s/{reference}" if reference else ""


def voiding_words(voiding: AuditEntry, presentation: Presentation, zone: ZoneInfo) -> str:
    """Say since when a record is void, by whom and why."""
    when, who = presentation.wall_time(voiding.at.astimezone(zone)), told_actor(voiding.actor)
    told = translate("record_voided", when=when, who=who)
    reason = voiding.detail.get("reason")
    return f"{told} {translate('record_voided_why', reason=reason)}" if reason else told


def _voided(at: datetime | None, told: Told) -> str:
    if at is None or told.voiding is None:
        return ""
    return voiding_words(told.voiding, told.presentation, told.zone)


def _meters(
    odometer_km: float | None, hours: float | None, presentation: Presentation
) -> Iterator[tuple[str, str]]:
    yield translate("reading_odometer"), "" if odometer_km is None else presentation.distance(odometer_km)
    yield (
        translate("reading_hours"),
        "" if hours is None else translate("hours", n=presentation.number(hours, 1)),
    )


def _work(
    one: DoneItem, kind: FluidKind, fluids: Mapping[int | None, str], presentation: Presentation
) -> Iterator[tuple[str, str]]:
    item = one.item
    drained = sum(row.drained_litres for row in one.rounds)
    filled = sum(row.filled_litres for row in one.rounds)
    yield translate("record_work"), tell(METHOD_LABELS[ExchangeMethod(item.method)])
    yield translate("record_fluid"), fluids.get(item.fluid_id, translate("record_no_fluid"))
    if one.rounds:
        amounts = translate(
            "record_rounds_amounts",
            n=len(one.rounds),
            drained=presentation.volume(drained),
            filled=presentation.volume(filled),
        )
        yield translate("record_rounds"), amounts
    yield (
        translate("record_passed"),
        "" if item.passed_litres is None else presentation.volume(item.passed_litres),
    )
    if item.old_fluid_grade is not None:
        yield translate("record_old_fluid"), tell(grade_texts(kind)[VisualGrade(item.old_fluid_grade)].look)
    yield (
        translate("record_level"),
        "" if item.level_celsius is None else presentation.celsius(item.level_celsius),
    )
    yield (
        translate("record_excess"),
        "" if item.excess_drained_litres is None else presentation.volume(item.excess_drained_litres),
    )
    for name, is_done in (("job_seals", item.seals_renewed), ("job_counter", item.counter_reset)):
        yield translate(name), "" if is_done is None else translate("record_yes" if is_done else "record_no")
    yield translate("record_override"), item.override_reason or ""


def _entered(actor: str, at: datetime, told: Told) -> str:
    when = told.presentation.wall_time(at.astimezone(told.zone))
    return translate("record_entered", who=told_actor(actor), when=when)


def _filled(facts: Sequence[tuple[str, str]] | Iterator[tuple[str, str]]) -> Facts:
    return tuple((name, value) for name, value in facts if value)
