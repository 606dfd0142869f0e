"""What happened to a vehicle: records and changes together, the latest first."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.domain.external_ids import IdKind, format_id
from service.store.tables.access import AuditEntry
from service.usecases.plans.show_vehicle import CompartmentView, VehicleView
from service.web.catalogue import ENGLISH, tell, translate
from service.web.views.actors import told_actor
from service.web.views.records import record_path, voiding_words

HISTORY_SHOWN: Final = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened."""

    when: str
    what: str
    who: str
    path: str
    """Where its record is; empty where there is none to open."""


@dataclass(frozen=True, slots=True)
class _Happened:
    at: datetime
    what: str
    who: str
    path: str = ""


def history_events(
    view: VehicleView, voidings: Sequence[AuditEntry], presentation: Presentation, zone: ZoneInfo
) -> tuple[Event, ...]:
    """Put everything in order."""
    happened = [one for place in view.compartments for one in _steps(place, presentation)]
    for change in view.changes:
        key = f"change_{change.object_type}"
        subject = translate(key) if key in ENGLISH else change.object_type
        happened.append(_Happened(change.at, f"{subject}: {_action(change.action)}", change.actor))
    happened += [_voided(one, presentation, zone) for one in voidings]
    happened.sort(key=lambda one: one.at, reverse=True)
    return tuple(
        Event(
            when=presentation.wall_time(one.at.astimezone(zone)),
            what=one.what,
            who=told_actor(one.who),
            path=one.path,
        )
        for one in happened[:HISTORY_SHOWN]
    )


def _steps(place: CompartmentView, presentation: Presentation) -> list[_Happened]:
    found = []
    for step in place.history.steps:
        if step.event not in {"service", "sample"}:
            continue
        what = translate(
            f"event_{step.event}",
            compartment=place.compartment.reference,
            why=presentation.sentence(tell(step.why)),
        )
        if step.grades:
            named = ", ".join(f"{one.standard} {one.grade}" for one in step.grades)
            what = f"{what} {translate('event_grades', grades=named)}"
        found.append(_Happened(step.at, what, step.by or "", record_path(step.event, step.id)))
    return found


def _voided(voiding: AuditEntry, presentation: Presentation, zone: ZoneInfo) -> _Happened:
    kind = voiding.object_type
    prefix = IdKind.SERVICE if kind == "service" else IdKind.SAMPLE
    what = translate(f"event_voided_{kind}", voided=voiding_words(voiding, presentation, zone))
    return _Happened(
        voiding.at, what, voiding.actor, record_path(kind, format_id(prefix, voiding.object_id or 0))
    )


def _action(action: str) -> str:
    key = f"action_{action.replace(' ', '_').replace('-', '_')}"
    return translate(key) if key in ENGLISH else action
