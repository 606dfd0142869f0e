"""The visits of a due list as an iCalendar feed to subscribe to (RFC 5545, RFC 7986)."""

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from itertools import groupby
from typing import Final

from icalendar import Calendar, Event, vDuration

from service.documents.models import CancelledVisit, DueLine, DueList
from service.documents.presentation import Presentation
from service.documents.tables import parts_in_words
from service.documents.text import clean_text, one_line

REFRESH_INTERVAL: Final = timedelta(hours=6)
"""How often a subscriber should look again; visits are moved within the week. Our choice."""


def due_list_calendar(due_list: DueList, presentation: Presentation) -> bytes:
    """Write one all-day event a visit, and one cancelled event for each visit that no longer stands.

    An event keeps its identifier for as long as the visit does; the caller raises the visit's sequence number
    at each change, so that subscribers replace the older version. Lines without a visit day stand on the day
    they are most likely due, as tentative.
    """
    name = f"{due_list.organisation} {presentation.labels['due_list']}"
    calendar = Calendar()
    calendar.add("prodid", "-//Sumpwise//Due list//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("name", one_line(name))
    calendar.add("x-wr-calname", one_line(name))
    calendar.add("refresh-interval", REFRESH_INTERVAL, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", vDuration(REFRESH_INTERVAL))
    if due_list.url:
        calendar.add("url", due_list.url)
    for lines in _visits(due_list.lines):
        calendar.add_component(_visit_event(lines, due_list, presentation))
    for visit in due_list.cancelled:
        calendar.add_component(_cancelled_event(visit, due_list, presentation))
    content: bytes = calendar.to_ical()
    return content


def _visit_key(line: DueLine) -> str:
    return line.visit_id or line.line_id


def _visits(lines: Iterable[DueLine]) -> list[tuple[DueLine, ...]]:
    """Gather the lines of each visit that somebody may come for, in the order of the visits' identifiers."""
    wanted = (line for line in lines if line.state != "dropped")
    ordered = sorted(wanted, key=lambda line: (_visit_key(line), line.line_id))
    return [tuple(group) for _, group in groupby(ordered, key=_visit_key)]


def _visit_event(lines: tuple[DueLine, ...], due_list: DueList, presentation: Presentation) -> Event:
    first = lines[0]
    day = first.visit_on or first.due_p50_on or due_list.published_at.date()
    event = _event(_visit_key(first), max(line.visit_sequence for line in lines), day, due_list)
    compartments = ", ".join(dict.fromkeys(line.compartment for line in lines))
    event.add("summary", one_line(f"{first.vehicle}: {compartments}"))
    event.add("description", clean_text("\n\n".join(_described(line, presentation) for line in lines)))
    event.add("status", "CONFIRMED" if first.visit_on else "TENTATIVE")
    if first.depot:
        event.add("location", one_line(first.depot))
    return event


def _cancelled_event(visit: CancelledVisit, due_list: DueList, presentation: Presentation) -> Event:
    event = _event(visit.visit_id, visit.visit_sequence, visit.visit_on, due_list)
    event.add("summary", one_line(visit.vehicle))
    if visit.reason:
        event.add("description", clean_text(presentation.sentence(visit.reason)))
    event.add("status", "CANCELLED")
    return event


def _event(key: str, sequence: int, day: date, due_list: DueList) -> Event:
    published_at: datetime = due_list.published_at.astimezone(UTC)
    event = Event()
    event.add("uid", f"{one_line(key)}@{due_list.calendar_domain}")
    event.add("dtstamp", published_at)
    event.add("sequence", sequence)
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("transp", "TRANSPARENT")
    if due_list.url:
        event.add("url", due_list.url)
    return event


def _described(line: DueLine, presentation: Presentation) -> str:
    words = presentation.labels
    rows = [
        f"{line.compartment}: {presentation.sentence(line.reason)}",
        f"{words['fluid']}: {line.fluid}, {presentation.volume(line.volume_litres)}",
        f"{words['method']}: {line.method}" if line.method else "",
        f"{words['rounds']}: {line.n_rounds}" if line.n_rounds else "",
        f"{words['parts']}: {parts_in_words(line.parts)}" if line.parts else "",
        f"{words['overdue']}: {words['yes']}" if line.is_overdue else "",
        f"{words['caution']}: {line.caution}" if line.caution else "",
    ]
    return "\n".join(filter(None, rows))
