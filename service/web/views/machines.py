"""Sources of machine data, and the machines that they speak of."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.domain.external_ids import IdKind, format_id
from service.domain.machine_meters import Meter
from service.store.tables.machine_sources import MachineEquipment, MachineMeter, MachineSource
from service.web.catalogue import translate
from service.web.forms import FormState

MACHINES_A_PAGE: Final = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceRow:
    """One source."""

    source_id: str
    name: str
    heard: str
    fetched: str
    trouble: str
    is_live: bool
    is_pulled: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MachinesPage:
    """All sources, and the secret of one that was just made."""

    sources: tuple[SourceRow, ...]
    secret: str
    form: FormState


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineRow:
    """One machine: what it is called there, which vehicle it is here, what its meters showed last."""

    equipment_id: str
    name: str
    seen: str
    vehicle: str
    meters: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SourcePage:
    """A source with its machines."""

    source: SourceRow
    machines: tuple[MachineRow, ...]
    after: int | None
    """Where the next page begins, if there is one."""

    form: FormState


def machines_page(
    rows: Sequence[MachineSource], presentation: Presentation, zone: ZoneInfo, form: FormState, secret: str
) -> MachinesPage:
    """Fill the page of all sources."""
    return MachinesPage(
        sources=tuple(_source(row, presentation, zone) for row in rows), secret=secret, form=form
    )


def source_page(
    row: MachineSource,
    found: Sequence[MachineEquipment],
    meters: Mapping[tuple[int, str], MachineMeter],
    names: Mapping[int, str],
    presentation: Presentation,
    zone: ZoneInfo,
    form: FormState,
) -> SourcePage:
    """Fill the page of one source; `names` are those of the vehicles that its machines are."""
    shown = found[:MACHINES_A_PAGE]
    return SourcePage(
        source=_source(row, presentation, zone),
        machines=tuple(
            MachineRow(
                equipment_id=format_id(IdKind.MACHINE_EQUIPMENT, one.id),
                name=", ".join(filter(None, (one.reference, one.description))),
                seen=presentation.wall_time(one.last_seen_at.astimezone(zone)),
                vehicle=names.get(one.vehicle_id or 0, ""),
                meters=tuple(
                    _meter(meters[one.id or 0, str(kind)], kind, presentation)
                    for kind in Meter
                    if (one.id or 0, str(kind)) in meters
                ),
            )
            for one in shown
        ),
        after=shown[-1].id if len(found) > MACHINES_A_PAGE else None,
        form=form,
    )


def _source(row: MachineSource, presentation: Presentation, zone: ZoneInfo) -> SourceRow:
    def told(moment: datetime | None) -> str:
        return "–" if moment is None else presentation.wall_time(moment.astimezone(zone))

    return SourceRow(
        source_id=format_id(IdKind.MACHINE_SOURCE, row.id),
        name=row.name,
        heard=told(row.last_heard_at),
        fetched=told(row.last_pulled_at),
        trouble="" if row.n_failures == 0 else row.last_error or "",
        is_live=row.ended_at is None,
        is_pulled=row.pull_url is not None,
    )


def _meter(meter: MachineMeter, kind: Meter, presentation: Presentation) -> str:
    if kind is Meter.ODOMETER:
        value = presentation.distance(meter.last_value)
    else:
        value = translate("machine_hours", n=presentation.number(meter.last_value or 0.0, 1))
    state = translate("machine_counts" if meter.offset is not None else "machine_waits")
    told = translate("machine_meter", value=value, state=state)
    return f"{told} {translate('machine_held', n=meter.n_held)}" if meter.n_held else told
