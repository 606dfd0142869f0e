"""The list of a week as a page: what is open by day and depot, how sure we are, and what to take off the shelf."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from typing import Any, Final
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.domain.exchange_methods import METHOD_LABELS, ExchangeMethod
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import KIND_LABELS, FluidKind
from service.domain.zones import local_date
from service.store.repositories.due_lists import is_closed
from service.store.tables.due_lists import DueListLine, LineEvent
from service.usecases.compile_due_list import ListedLine
from service.usecases.show_due_list import ShownList
from service.web.catalogue import translate
from service.web.views.paging import Pager, pager_of

Line = DueListLine | ListedLine

LINES_A_PAGE: Final = 40
NEARLY_CERTAIN: Final = 0.95
SHARES: Final = (
    (0.9, "share_9_10"),
    (0.8, "share_4_5"),
    (0.75, "share_3_4"),
    (2 / 3, "share_2_3"),
    (0.5, "share_1_2"),
    (1 / 3, "share_1_3"),
    (0.25, "share_1_4"),
)
BADGES: Final = {"new": "badge-new", "carried_over": "badge-carried", "moved": "badge-moved"}


@dataclass(frozen=True, slots=True, kw_only=True)
class LineRow:
    """One line of the list."""

    line_id: str
    """Empty in a draft: nothing can be done to a line that is not fixed yet."""

    vehicle: str
    vehicle_id: str
    compartment: str
    reason: str
    sure: str
    is_overdue: bool
    due: str
    due_span: str
    fluid: str
    work: str
    minutes: str
    badge: str
    state: str
    is_closed: bool
    happened: str


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
class WeekPage:
    """The whole page."""

    week: str
    span: str
    previous_week: str
    next_week: str
    published: str
    may_publish: bool
    may_plan: bool
    may_tick: bool
    has_vehicles: bool
    groups: tuple[DayGroup, ...]
    n_lines: int
    n_open: int
    n_visits: int
    minutes: str
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
    wanted: Wanted,
    presentation: Presentation,
    zone: ZoneInfo,
    depots: Sequence[str],
    rights: dict[str, bool],
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
        previous_week=str(shown.week.shifted(-1)),
        next_week=str(shown.week.shifted(1)),
        published="" if published is None else presentation.moment(_local(published.published_at, zone)),
        may_publish=published is None and rights["plan"],
        may_plan=published is not None and rights["plan"],
        may_tick=published is not None and rights["tick"],
        has_vehicles=rights["has_vehicles"],
        groups=_groups(fitting[pager.start : pager.end], presentation, zone),
        n_lines=len(fitting),
        n_open=len(still_open),
        n_visits=len({(one.line.vehicle_id, one.day) for one in still_open}),
        minutes=presentation.number(sum(one.line.labour_minutes for one in still_open)),
        shelf=_litres(still_open, presentation),
        parts=_parts(still_open),
        since=_since(entries, shown.since_last),
        depots=(("", translate("filter_all")), *((name, name) for name in depots)),
        depot=wanted.depot,
        search=wanted.search,
        pager=pager,
        cautions=_cautions(still_open),
    )


def sure_words(probability: float | None) -> str:
    """Say a probability the way people say it: 3 in 4 sure, nearly certain."""
    if probability is None:
        return ""
    if probability >= NEARLY_CERTAIN:
        return translate("sure_certain")
    _, key = min(SHARES, key=lambda share: abs(share[0] - probability))
    return translate("sure_share", share=translate(key))


def line_row(line: Line, events: Sequence[LineEvent], presentation: Presentation, zone: ZoneInfo) -> LineRow:
    """Write one line."""
    closed = is_closed(events)
    return LineRow(
        line_id=format_id(IdKind.DUE_LIST_LINE, line.id) if isinstance(line, DueListLine) else "",
        vehicle=line.vehicle,
        vehicle_id=format_id(IdKind.VEHICLE, line.vehicle_id),
        compartment=line.compartment,
        reason=line.reason,
        sure=sure_words(line.detail.get("due_by_week_end_probability")),
        is_overdue=line.overdue_probability >= 0.5,
        due=presentation.day(line.due_q50_on),
        due_span=_span(line, presentation),
        fluid=line.fluid or KIND_LABELS[FluidKind(line.kind)],
        work=_work(line, presentation),
        minutes=translate("line_minutes", minutes=presentation.number(line.labour_minutes)),
        badge="badge-done" if closed else BADGES[line.change],
        state=translate(f"state_{events[-1].kind if closed else line.change}"),
        is_closed=closed,
        happened=_happened(events, presentation, zone),
    )


def _entry(line: Line, events: Sequence[LineEvent]) -> _Entry:
    moves = [event.moved_to_on for event in events if event.kind == "moved"]
    return _Entry(line, events, moves[-1] if moves else line.planned_on, is_closed(events))


def _fits(line: Line, wanted: Wanted) -> bool:
    return (not wanted.depot or line.depot == wanted.depot) and (
        wanted.search.casefold() in line.vehicle.casefold()
    )


def _place(entry: _Entry) -> tuple[Any, ...]:
    return (entry.day or date.max, entry.line.depot, entry.line.vehicle, entry.line.compartment)


def _groups(entries: Iterable[_Entry], presentation: Presentation, zone: ZoneInfo) -> tuple[DayGroup, ...]:
    grouped = groupby(entries, key=lambda one: (one.day, one.line.depot))
    return tuple(_group(day, depot, list(ones), presentation, zone) for (day, depot), ones in grouped)


def _group(
    day: date | None, depot: str, entries: Sequence[_Entry], presentation: Presentation, zone: ZoneInfo
) -> DayGroup:
    minutes = sum(one.line.labour_minutes for one in entries if not one.is_closed)
    title = (
        translate("group_unplanned", depot=depot)
        if day is None
        else translate(
            "group_title", weekday=presentation.weekday(day), day=presentation.day(day), depot=depot
        )
    )
    return DayGroup(
        title=title,
        caption=translate("group_caption", n=len(entries), minutes=presentation.number(minutes)),
        rows=tuple(line_row(one.line, one.events, presentation, zone) for one in entries),
    )


def _span(line: Line, presentation: Presentation) -> str:
    low, high = line.due_q10_on, line.due_q90_on
    if low is None or low == high:
        return ""
    if high is None:
        return translate("line_beyond", day=presentation.day(low))
    return translate("line_between", low=presentation.day(low), high=presentation.day(high))


def _work(line: Line, presentation: Presentation) -> str:
    litres = presentation.volume(line.litres)
    if line.method != ExchangeMethod.DRAIN_AND_FILL:
        return translate("line_method", method=METHOD_LABELS[ExchangeMethod(line.method)], litres=litres)
    if line.n_rounds == 1:
        return translate("line_one_round", litres=litres)
    return translate("line_rounds", litres=litres, n=line.n_rounds)


def _happened(events: Sequence[LineEvent], presentation: Presentation, zone: ZoneInfo) -> str:
    if not events or events[-1].kind == "reopened":
        return ""
    last = events[-1]
    day = last.moved_to_on if last.kind == "moved" else local_date(last.at, zone)
    key = {"moved": "state_moved_to", "dropped": "state_dropped_by"}.get(last.kind, "state_done_by")
    return translate(key, who=last.by, day=presentation.day(day))


def _litres(entries: Sequence[_Entry], presentation: Presentation) -> tuple[tuple[str, str], ...]:
    litres: Counter[str] = Counter()
    for one in entries:
        litres[one.line.fluid or KIND_LABELS[FluidKind(one.line.kind)]] += one.line.litres  # type: ignore[assignment]
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
    return tuple(dict.fromkeys(found))[:6]


def _local(moment: datetime, zone: ZoneInfo) -> datetime:
    return moment.astimezone(zone)
