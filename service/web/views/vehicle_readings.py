"""Readings of a vehicle one by one: those that wait for a decision, and all of them, the newest first."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.domain.external_ids import IdKind, format_id
from service.domain.outcomes import REASON_TEXTS, ReadingOutcome, ReadingReason
from service.store.tables.readings import Reading
from service.usecases.readings.known_readings import KEPT_SOURCES, RECORD_SOURCES
from service.web.catalogue import ENGLISH, tell, translate
from service.web.views.actors import told_actor
from service.web.views.paging import Pager, pager_of
from service.web.views.records import record_path

HELD_SHOWN: Final = 20
READINGS_A_PAGE: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldReading:
    """A reading that waits for somebody to say whether it is right."""

    reading_id: str
    taken: str
    shown: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingLine:
    """One reading, whatever became of it."""

    reading_id: str
    taken: str
    shown: str
    source: str
    state: str
    is_held: bool
    path: str
    """Where the record is that it came with; empty where there is none to open."""

    decision: str
    """What else may be said of it; nothing of what came with a record, and of what waits above."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingLines:
    """A page of them."""

    rows: tuple[ReadingLine, ...]
    pager: Pager
    is_open: bool


def held_readings(
    readings: Sequence[Reading], presentation: Presentation, zone: ZoneInfo
) -> tuple[HeldReading, ...]:
    """Those that wait for a decision."""
    held = [row for row in readings if row.outcome == ReadingOutcome.HELD]
    return tuple(
        HeldReading(
            reading_id=format_id(IdKind.READING, row.id),
            taken=presentation.wall_time(row.taken_at.astimezone(zone)),
            shown=_shown(row, presentation),
            why=tell(REASON_TEXTS[ReadingReason(row.reason)].sentence) if row.reason else "",
        )
        for row in held[:HELD_SHOWN]
    )


def reading_lines(
    readings: Sequence[Reading], page: int | None, presentation: Presentation, zone: ZoneInfo
) -> ReadingLines:
    """One page of them; shown at once if it was asked for."""
    pager = pager_of(len(readings), READINGS_A_PAGE, page or 1)
    return ReadingLines(
        rows=tuple(_line(row, presentation, zone) for row in readings[pager.start : pager.end]),
        pager=pager,
        is_open=page is not None,
    )


def _line(row: Reading, presentation: Presentation, zone: ZoneInfo) -> ReadingLine:
    source = f"source_{row.source}"
    return ReadingLine(
        reading_id=format_id(IdKind.READING, row.id),
        taken=presentation.wall_time(row.taken_at.astimezone(zone)),
        shown=_shown(row, presentation),
        source=translate(source) if source in ENGLISH else row.source,
        state=_state(row),
        is_held=row.outcome == ReadingOutcome.HELD,
        path=record_path(row.source, row.reference) if row.source in RECORD_SOURCES else "",
        decision=_decision(row),
    )


def _shown(row: Reading, presentation: Presentation) -> str:
    """Both meters as they were told, in the unit of the telling."""
    odometer = "" if row.odometer is None else f"{presentation.number(row.odometer)}\u00a0{row.unit}"
    hours = "" if row.engine_hours is None else translate("hours", n=presentation.number(row.engine_hours, 1))
    return ", ".join(filter(None, (odometer, hours)))


def _state(row: Reading) -> str:
    if row.outcome == ReadingOutcome.REJECTED:
        return translate("reading_discarded", who=told_actor(row.decided_by or ""))
    return translate("reading_held" if row.outcome == ReadingOutcome.HELD else "reading_counts")


def _decision(row: Reading) -> str:
    if row.source in KEPT_SOURCES or row.outcome == ReadingOutcome.HELD:
        return ""
    return "release" if row.outcome == ReadingOutcome.REJECTED else "discard"
