"""A due list as a file: CSV, XLSX, PDF or calendar."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from enum import StrEnum
from typing import Final, cast
from urllib.parse import urlsplit

from service.documents.calendar_file import due_list_calendar
from service.documents.due_list import due_list_csv, due_list_pdf, due_list_xlsx
from service.documents.file_names import attachment_name
from service.documents.models import Change, DueLine, PartNeed, ShelfItem
from service.documents.models import DueList as DueListDocument
from service.documents.presentation import DateStyle, Presentation, VolumeUnit
from service.domain.cautions import DEFERENCE
from service.domain.due_reasons import Limit
from service.domain.exchange_methods import METHOD_LABELS, ExchangeMethod
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import KIND_LABELS, FluidKind
from service.domain.service_work import bay_minutes, n_visits
from service.domain.units_of_distance import DistanceUnit
from service.domain.weeks import IsoWeek
from service.store.repositories.due_lists import day_of, is_closed, state_of
from service.store.tables.due_lists import DueListLine, LineEvent
from service.store.tables.organisation import Organisation
from service.usecases.week.describe_line import ListedLine
from service.usecases.week.show_due_list import ShownList


class FileKind(StrEnum):
    """Forms in which a list can be fetched."""

    CSV = "csv"
    XLSX = "xlsx"
    PDF = "pdf"
    ICS = "ics"


_WRITERS: Final[dict[FileKind, Callable[[DueListDocument, Presentation], bytes]]] = {
    FileKind.CSV: due_list_csv,
    FileKind.XLSX: due_list_xlsx,
    FileKind.PDF: due_list_pdf,
    FileKind.ICS: due_list_calendar,
}
_VOLUME_UNITS: Final = {
    "litre": "L",
    "us_gallon": "US gal",
    "us_quart": "US qt",
    "imperial_gallon": "imp gal",
}
_MONTH_FIRST: Final = frozenset({"en-US"})
_DATE_STYLES: Final[dict[str, DateStyle]] = {
    "en-US": "month first",
    "de": "day first, points",
    "pl": "day first, points",
    "nl": "day first, dashes",
    "sv": "iso",
}
"""By locale or its language, day first elsewhere: short dates of Unicode CLDR, with the year in full."""


EVENTS_A_WEEK: Final = 100
"""Room in a visit's sequence number for what is said of a line between two lists."""


def render_due_list(shown: ShownList, kind: FileKind, now: datetime, public_url: str) -> tuple[bytes, str]:
    """Write a list as a file; gives the bytes and a file name."""
    document = due_list_document(shown, now, public_url)
    content = _WRITERS[kind](document, presentation_of(shown.organisation))
    return content, attachment_name("due-list", str(shown.week), suffix=kind)


def presentation_of(organisation: Organisation) -> Presentation:
    """How an organisation wants its numbers and dates written."""
    is_english = organisation.locale.startswith("en")
    language = organisation.locale.partition("-")[0]
    style = _DATE_STYLES.get(organisation.locale) or _DATE_STYLES.get(language, "day first")
    return Presentation(
        volume_unit=cast("VolumeUnit", _VOLUME_UNITS[organisation.volume_unit]),
        distance_unit=DistanceUnit(organisation.distance_unit),
        decimal_mark="." if is_english else ",",
        date_style=style,
        paper="us-letter" if organisation.locale in _MONTH_FIRST else "a4",
    )


def due_list_document(shown: ShownList, now: datetime, public_url: str) -> DueListDocument:
    """Fill the document's plain values from a list."""
    published_at = now if shown.published is None else shown.published.published_at
    open_on = [(line, day_of(line, events)) for line, events in shown.lines if not is_closed(events)]
    still_open = [line for line, _ in open_on]
    litres: dict[str, float] = {}
    for line in still_open:
        litres[_fluid(line)] = litres.get(_fluid(line), 0.0) + line.litres
    parts: Counter[str] = Counter()
    for line in still_open:
        for seal in line.detail.get("seals", ()):
            parts[seal["part"]] += seal["pieces"]
    return DueListDocument(
        organisation=shown.organisation.name,
        iso_week=str(shown.week),
        published_at=published_at.astimezone(shown.organisation.zone),
        calendar_domain=urlsplit(public_url).hostname or "sumpwise.invalid",
        lines=tuple(
            replace(document_line(line, events), visit_sequence=sequence_number(line, shown.week, events))
            for line, events in shown.lines
        ),
        litres_by_fluid=tuple(sorted(litres.items())),
        is_draft=shown.published is None,
        shelf=(
            *(ShelfItem(item=name, volume_litres=value) for name, value in sorted(litres.items())),
            *(ShelfItem(item=name, quantity=pieces) for name, pieces in sorted(parts.items())),
        ),
        bay_minutes=bay_minutes(
            sum(line.labour_minutes for line in still_open),
            n_visits((line.vehicle_id, day) for line, day in open_on),
        ),
        notes=_notes(shown),
        url=f"{public_url}/due-lists/{shown.week}",
    )


def _fluid(line: DueListLine | ListedLine) -> str:
    return line.fluid or KIND_LABELS[FluidKind(line.kind)]


def document_line(line: DueListLine | ListedLine, events: Sequence[LineEvent] = ()) -> DueLine:
    """Fill one line's plain values; the visit is known by the vehicle and the week it was first listed for."""
    return DueLine(
        line_id=f"{line.compartment_id}-{line.first_listed_week}",
        vehicle=line.vehicle,
        compartment=line.compartment,
        fluid=_fluid(line),
        reason=line.reason,
        limit=line.limit_reached,
        first_listed_on=IsoWeek.parse(line.first_listed_week).first_day,
        depot=line.depot,
        due_p10_on=line.due_q10_on,
        due_p50_on=line.due_q50_on,
        due_p90_on=line.due_q90_on,
        visit_on=day_of(line, events),
        visit_id=f"{format_id(IdKind.VEHICLE, line.vehicle_id)}-{line.first_listed_week}",
        method=METHOD_LABELS[ExchangeMethod(line.method)].lower(),
        n_rounds=line.n_rounds,
        volume_litres=line.litres,
        work_minutes=float(line.labour_minutes),
        parts=tuple(
            PartNeed(name=seal["part"], quantity=seal["pieces"]) for seal in line.detail.get("seals", ())
        ),
        change=cast("Change", line.change.replace("_", " ")),
        is_overdue=line.overdue_probability >= 0.5,
        caution=_own_caution(line),
        state=state_of(events),
    )


def sequence_number(line: DueListLine | ListedLine, week: IsoWeek, events: Sequence[LineEvent]) -> int:
    """How often a line's visit has changed by the list of this week, and what was said of the line since."""
    n_weeks = IsoWeek.parse(line.first_listed_week).weeks_until(week)
    return n_weeks * EVENTS_A_WEEK + min(len(events), EVENTS_A_WEEK - 1)


def _own_caution(line: DueListLine | ListedLine) -> str:
    """What concerns this line alone; the cautions of all work stand once, below the list."""
    if line.limit_reached != Limit.CONTAMINATION:
        return ""
    return "Find where water or coolant comes in before anything is filled; keep the vehicle standing until then."


def _notes(shown: ShownList) -> tuple[str, ...]:
    common = dict.fromkeys(text for line, _ in shown.lines for text in line.detail.get("cautions", ())[:1])
    draft = () if shown.published is not None else ("Draft: this week's list is not published yet.",)
    return (*draft, *common, DEFERENCE)
