"""The list of a week as a page: what is open by day and depot, how sure we are, and what to take off the shelf."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from typing import Any, Final
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import KIND_LABELS, FluidKind
from service.domain.service_work import bay_minutes, n_visits
from service.store.repositories.due_lists import day_of, is_closed
from service.store.tables.due_lists import LineEvent
from service.store.tables.visits import VisitPin
from service.usecases.week.contaminated_since import Alarm
from service.usecases.week.show_due_list import ShownList
from service.web.catalogue import tell, translate
from service.web.views.lines import Line, LineRow, line_row
from service.web.views.paging import Pager, pager_of

LINES_A_PAGE: Final = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class DayGroup:
    """The lines of one day at one depot."""

    title: str
    caption: str
    rows: tuple[LineRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SinceBefore:
    """What changed since the list before."""

    list_before: str
    n_new: int
    n_carried: int
    n_moved: int
    done: tuple[str, ...]
    left: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmRow:
    """A contaminated fluid that the list does not tell of."""

    vehicle: str
    vehicle_id: str
    compartment: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekPage:
    """The whole page."""

    week: str
    span: str
    previous_week: str
    """Empty where there is no list."""

    next_week: str
    published: str
    worked_out: str
    failed: str = ""
    """When publishing it failed last; empty where it did not."""

    alarms: tuple[AlarmRow, ...] = ()

    may_publish: bool
    may_plan: bool
    may_tick: bool
    has_vehicles: bool
    has_compartments: bool
    groups: tuple[DayGroup, ...]
    n_lines: int
    n_open: int
    n_visits: int
    bay_time: str
    shelf: tuple[tuple[str, str], ...]
    parts: tuple[tuple[str, str], ...]
    since: SinceBefore
    depots: tuple[tuple[str, str], ...]
    depot: str
    search: str
    pager: Pager
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Entry:
    """A line with what happened to it and the day on which it is to be done."""

    line: Line
    events: Sequence[LineEvent]
    day: date | None
    is_closed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What the person looks for."""

    depot: str = ""
    search: str = ""
    page: int = 1


def week_page(
    shown: ShownList,
    worked_out_at: datetime,
    wanted: Wanted,
    presentation: Presentation,
    zone: ZoneInfo,
    depots: Sequence[str],
    rights: dict[str, bool],
    pins: Mapping[int, VisitPin],
) -> WeekPage:
    """Fill the page of a week's list."""
    entries = [_entry(line, events) for line, events in shown.lines]
    fitting = sorted((one for one in entries if _fits(one.line, wanted)), key=_place)
    still_open = [one for one in fitting if not one.is_closed]
    pager = pager_of(len(fitting), LINES_A_PAGE, wanted.page)
    published = shown.published
    return WeekPage(
        week=str(shown.week),
        span=translate(
            "week_span",
            first=presentation.day(shown.week.first_day),
            last=presentation.day(shown.week.last_day),
        ),
        previous_week=str(shown.week.shifted(-1)) if rights["has_week_before"] else "",
        next_week=str(shown.week.shifted(1)),
        published="" if published is None else presentation.wall_time(_local(published.published_at, zone)),
        worked_out=f"{_local(worked_out_at, zone):%H:%M}",
        may_publish=published is None and rights["plan"],
        may_plan=rights["plan"],
        may_tick=published is not None and rights["tick"],
        has_vehicles=rights["has_vehicles"],
        has_compartments=rights["has_compartments"],
        groups=_groups(fitting[pager.start : pager.end], presentation, zone, pins),
        n_lines=len(fitting),
        n_open=len(still_open),
        n_visits=_n_visits(still_open),
        bay_time=_bay_time(still_open, presentation),
        shelf=_litres(still_open, presentation),
        parts=_parts(still_open),
        since=_since(entries, shown.since_last),
        depots=(("", translate("filter_all")), *((name, name) for name in depots)),
        depot=wanted.depot,
        search=wanted.search,
        pager=pager,
        cautions=_cautions(still_open),
    )


def alarm_rows(alarms: Sequence[Alarm], presentation: Presentation) -> tuple[AlarmRow, ...]:
    """Fill what stands above a list that was fixed before it was known."""
    return tuple(
        AlarmRow(
            vehicle=one.vehicle,
            vehicle_id=format_id(IdKind.VEHICLE, one.vehicle_id),
            compartment=one.compartment,
            reason=presentation.sentence(tell(one.reason)),
        )
        for one in alarms
    )


def _entry(line: Line, events: Sequence[LineEvent]) -> _Entry:
    return _Entry(line, events, day_of(line, events), is_closed(events))


def _fits(line: Line, wanted: Wanted) -> bool:
    return (not wanted.depot or line.depot == wanted.depot) and (
        wanted.search.casefold() in line.vehicle.casefold()
    )


def _place(entry: _Entry) -> tuple[Any, ...]:
    return (entry.day or date.max, entry.line.depot, entry.line.vehicle, entry.line.compartment)


def _groups(
    entries: Iterable[_Entry], presentation: Presentation, zone: ZoneInfo, pins: Mapping[int, VisitPin]
) -> tuple[DayGroup, ...]:
    grouped = groupby(entries, key=lambda one: (one.day, one.line.depot))
    return tuple(_group(day, depot, list(ones), presentation, zone, pins) for (day, depot), ones in grouped)


def _group(
    day: date | None,
    depot: str,
    entries: Sequence[_Entry],
    presentation: Presentation,
    zone: ZoneInfo,
    pins: Mapping[int, VisitPin],
) -> DayGroup:
    still_open = [one for one in entries if not one.is_closed]
    title = (
        translate("group_unplanned", depot=depot)
        if day is None
        else translate(
            "group_title", weekday=presentation.weekday(day), day=presentation.day(day), depot=depot
        )
    )
    return DayGroup(
        title=title,
        caption=translate("group_caption", n=len(entries), bay_time=_bay_time(still_open, presentation)),
        rows=tuple(
            line_row(one.line, one.events, presentation, zone, pins.get(one.line.vehicle_id))
            for one in entries
        ),
    )


def _n_visits(entries: Sequence[_Entry]) -> int:
    return n_visits((one.line.vehicle_id, one.day) for one in entries)


def _bay_time(entries: Sequence[_Entry], presentation: Presentation) -> str:
    work = sum(one.line.labour_minutes for one in entries)
    return presentation.working_time(bay_minutes(work, _n_visits(entries)))


def _litres(entries: Sequence[_Entry], presentation: Presentation) -> tuple[tuple[str, str], ...]:
    litres: Counter[str] = Counter()
    for one in entries:
        litres[one.line.fluid or tell(KIND_LABELS[FluidKind(one.line.kind)])] += one.line.litres  # type: ignore[assignment]
    return tuple((name, presentation.volume(float(value))) for name, value in sorted(litres.items()))


def _parts(entries: Sequence[_Entry]) -> tuple[tuple[str, str], ...]:
    pieces: Counter[str] = Counter()
    for one in entries:
        for seal in one.line.detail.get("seals", ()):
            pieces[str(seal["part"])] += int(seal["pieces"])
    return tuple((name, str(n)) for name, n in sorted(pieces.items()))


def _since(entries: Sequence[_Entry], since_last: dict[str, Any]) -> SinceBefore:
    changes = Counter(one.line.change for one in entries)
    return SinceBefore(
        list_before=since_last.get("list") or "",
        n_new=changes["new"],
        n_carried=changes["carried_over"],
        n_moved=changes["moved"],
        done=_names(since_last.get("done", ())),
        left=_names(since_last.get("moved", ())),
    )


def _names(places: Iterable[dict[str, str]]) -> tuple[str, ...]:
    return tuple(f"{place['vehicle']}, {place['compartment']}" for place in places)


def _cautions(entries: Sequence[_Entry]) -> tuple[str, ...]:
    found = (caution for one in entries for caution in one.line.detail.get("cautions", ()))
    return tuple(tell(caution) for caution in dict.fromkeys(found))[:6]


def _local(moment: datetime, zone: ZoneInfo) -> datetime:
    return moment.astimezone(zone)
