"""Used fluid as the page of the shelf shows it: what waits, and what was fetched."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.store.tables.stock import UsedFluidCollection
from service.usecases.orders.plan_collections import PlannedCollection
from service.usecases.stock.used_fluid_levels import UsedFluidLevel
from service.web.catalogue import translate
from service.web.views.actors import told_actor


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedRow:
    """One stream of used fluid at a depot."""

    depot: str
    stream: str
    litres: str
    room: str
    fetch_by: str
    label_path: str
    is_full: bool
    """It holds all it can, or all streams of the depot together do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FetchedRow:
    """Used fluid that was fetched."""

    when: str
    depot: str
    stream: str
    litres: str
    paper: str
    note: str
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedFluid:
    """What waits, and what was fetched last."""

    waiting: tuple[UsedRow, ...]
    fetched: tuple[FetchedRow, ...]


def used_rows(
    containers: Sequence[PlannedCollection], levels: Sequence[UsedFluidLevel], presentation: Presentation
) -> tuple[UsedRow, ...]:
    """Show what waits, what may wait beside it, and when it has to be gone."""
    in_depot: defaultdict[str, float] = defaultdict(float)
    shared_room: dict[str, float] = {}
    for level in levels:
        in_depot[level.depot] += level.litres
        if level.depot_capacity_litres is not None:
            shared_room[level.depot] = level.depot_capacity_litres
    return tuple(
        UsedRow(
            depot=one.depot,
            stream=translate(f"stream_{one.stream}"),
            litres=presentation.volume(one.litres),
            room=_room(one, shared_room.get(one.depot), presentation),
            fetch_by=presentation.day(one.fetch_by),
            label_path=f"/stock/used-fluid-label.pdf?{urlencode({'depot': one.depot, 'stream': one.stream})}",
            is_full=one.room_litres == 0.0 or in_depot[one.depot] >= shared_room.get(one.depot, inf),
        )
        for one in containers
        if one.litres > 0.0 or one.capacity_litres is not None
    )


def _room(one: PlannedCollection, shared_litres: float | None, presentation: Presentation) -> str:
    if one.capacity_litres is not None:
        return presentation.pack_size(one.capacity_litres)
    if shared_litres is not None:
        return translate("used_room_shared", litres=presentation.pack_size(shared_litres))
    return "–"


def fetched_row(
    row: UsedFluidCollection, depot: str, presentation: Presentation, zone: ZoneInfo
) -> FetchedRow:
    """Show a collection; one that left something behind says so."""
    left = "" if row.is_emptied else translate("fetched_left")
    return FetchedRow(
        when=presentation.wall_time(row.at.astimezone(zone)),
        depot=depot,
        stream=translate(f"stream_{row.stream}"),
        litres=presentation.volume(row.litres),
        paper=row.reference or "–",
        note=" ".join(filter(None, (left, row.note))) or "–",
        who=told_actor(row.recorded_by),
    )
