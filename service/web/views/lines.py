"""One line of a list as it is shown: why, how sure, when, what to do and what became of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.domain.exchange_methods import METHOD_LABELS, ExchangeMethod
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import KIND_LABELS, FluidKind
from service.domain.zones import local_date
from service.store.repositories.due_lists import is_closed
from service.store.tables.due_lists import DueListLine, LineEvent
from service.store.tables.visits import VisitPin
from service.usecases.week.describe_line import ListedLine
from service.web.catalogue import tell, translate
from service.web.views.actors import told_actor
from service.web.views.days import pin_words

Line = DueListLine | ListedLine

NEARLY_CERTAIN: Final = 0.95
SHARES: Final = (
    (0.9, "share_9_10"),
    (0.8, "share_4_5"),
    (0.75, "share_3_4"),
    (2 / 3, "share_2_3"),
    (0.5, "share_1_2"),
    (1 / 3, "share_1_3"),
    (0.25, "share_1_4"),
    (0.1, "share_1_10"),
)
SMALL: Final = 0.05
"""Work that is done along with other work on a vehicle may hardly be due itself."""

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
    pinned: str


def sure_words(probability: float | None) -> str:
    """Say a probability the way people say it: a chance of 3 in 4, nearly certain."""
    if probability is None:
        return ""
    if probability >= NEARLY_CERTAIN:
        return translate("sure_certain")
    if probability < SMALL:
        return translate("sure_share", share=translate("share_below_1_20"))
    _, key = min(SHARES, key=lambda share: abs(share[0] - probability))
    return translate("sure_share", share=translate(key))


def line_row(
    line: Line,
    events: Sequence[LineEvent],
    presentation: Presentation,
    zone: ZoneInfo,
    pin: VisitPin | None = None,
) -> LineRow:
    """Write one line."""
    closed = is_closed(events)
    return LineRow(
        line_id=format_id(IdKind.DUE_LIST_LINE, line.id) if isinstance(line, DueListLine) else "",
        vehicle=line.vehicle,
        vehicle_id=format_id(IdKind.VEHICLE, line.vehicle_id),
        compartment=line.compartment,
        reason=presentation.sentence(tell(line.reason)),
        sure=sure_words(line.detail.get("due_by_week_end_probability")),
        is_overdue=line.overdue_probability >= 0.5,
        due=presentation.day(line.due_q50_on),
        due_span=_span(line, presentation),
        fluid=line.fluid or tell(KIND_LABELS[FluidKind(line.kind)]),
        work=_work(line, presentation),
        minutes=translate("line_minutes", time=presentation.working_time(line.labour_minutes)),
        badge="badge-done" if closed else BADGES[line.change],
        state=translate(f"state_{events[-1].kind if closed else line.change}"),
        is_closed=closed,
        happened=_happened(events, presentation, zone),
        pinned="" if pin is None or closed else pin_words(pin, presentation),
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
        return translate(
            "line_method", method=tell(METHOD_LABELS[ExchangeMethod(line.method)]), litres=litres
        )
    if line.n_rounds == 1:
        return translate("line_one_round", litres=litres)
    return translate("line_rounds", litres=litres, n=line.n_rounds)


def _happened(events: Sequence[LineEvent], presentation: Presentation, zone: ZoneInfo) -> str:
    if not events or events[-1].kind == "reopened":
        return ""
    last = events[-1]
    day = last.moved_to_on if last.kind == "moved" else local_date(last.at, zone)
    key = {"moved": "state_moved_to", "dropped": "state_dropped_by"}.get(last.kind, "state_done_by")
    return translate(key, who=told_actor(last.by), day=presentation.day(day))
