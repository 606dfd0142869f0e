"""Used fluid as the page of the shelf shows it: what waits, and what was fetched."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.store.tables.stock import UsedFluidCollection
from service.usecases.stock.used_fluid_levels import UsedFluidLevel
from service.web.catalogue import translate
from service.web.views.actors import told_actor


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedRow:
    """One stream of used fluid at a depot."""

    depot: str
    stream: str
    litres: str
    capacity: str
    is_full: bool
    """All streams of the depot together are more than it has room for."""


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


def used_rows(levels: Sequence[UsedFluidLevel], presentation: Presentation) -> tuple[UsedRow, ...]:
    """Show what waits."""
    in_depot: defaultdict[str, float] = defaultdict(float)
    for level in levels:
        in_depot[level.depot] += level.litres
    return tuple(
        UsedRow(
            depot=level.depot,
            stream=translate(f"stream_{level.stream}"),
            litres=presentation.volume(level.litres),
            capacity="–"
            if level.depot_capacity_litres is None
            else presentation.pack_size(level.depot_capacity_litres),
            is_full=level.depot_capacity_litres is not None
            and in_depot[level.depot] >= level.depot_capacity_litres,
        )
        for level in levels
    )


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
