"""Sources of machine data, and the machines that they speak of."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.domain.external_ids import IdKind, format_id
from service.domain.machine_meters import Meter, OffsetOrigin
from service.domain.outcomes import REASON_TEXTS, ReadingReason
from service.store.tables.machine_sources import MachineEquipment, MachineMeter, MachineReading, MachineSource
from service.usecases.machines.manage_sources import shown_address
from service.web.catalogue import tell, translate
from service.web.forms import FormState

MACHINES_A_PAGE: Final = 50
STATES: Final[Mapping[str | None, str]] = {
    None: "machine_waits",
    OffsetOrigin.SOLE: "machine_assumed",
    OffsetOrigin.LEARNED: "machine_counts",
    OffsetOrigin.SET: "machine_set",
}


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
    address: str
    """Without its query, which may hold a secret."""

    minutes: int
    has_authorization: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MachinesPage:
    """All sources, and the secret of one that was just made."""

    sources: tuple[SourceRow, ...]
    secret: str
    form: FormState


@dataclass(frozen=True, slots=True, kw_only=True)
class OffsetField:
    """How far a meter is from the dashboard, as a field; empty while nobody set it by hand."""

    name: str
    label: str
    hint: str
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldValue:
    """A value that counts for nothing until somebody decides."""

    value_id: str
    value: str
    taken: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """What the readings or the number of a machine speak for: done by one button, with fields that nobody types."""

    text: str
    action: str
    fields: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineRow:
    """One machine: what it is called there, which vehicle it is here, what its meters showed last."""

    equipment_id: str
    name: str
    seen: str
    vehicle: str
    meters: tuple[str, ...]
    offsets: tuple[OffsetField, ...]
    offers: tuple[Offer, ...]
    held: tuple[HeldValue, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Machines:
    """Machines of a source as they are stored; `names` are those of the vehicles that they are."""

    found: Sequence[MachineEquipment]
    meters: Mapping[tuple[int, str], MachineMeter]
    held: Mapping[int, Sequence[MachineReading]]
    names: Mapping[int, str]
    proposed_vehicles: Mapping[int, str]
    proposed_offsets: Mapping[int, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class SourcePage:
    """A source with its machines, and its secret if that was just made anew."""

    source: SourceRow
    machines: tuple[MachineRow, ...]
    after: int | None
    """Where the next page begins, if there is one."""

    form: FormState
    secret: str


def machines_page(
    rows: Sequence[MachineSource], presentation: Presentation, zone: ZoneInfo, form: FormState, secret: str
) -> MachinesPage:
    """Fill the page of all sources."""
    return MachinesPage(
        sources=tuple(_source(row, presentation, zone) for row in rows), secret=secret, form=form
    )


def source_page(
    row: MachineSource,
    machines: Machines,
    presentation: Presentation,
    zone: ZoneInfo,
    form: FormState,
    secret: str,
) -> SourcePage:
    """Fill the page of one source."""
    shown = machines.found[:MACHINES_A_PAGE]
    return SourcePage(
        source=_source(row, presentation, zone),
        machines=tuple(_machine(one, machines, presentation, zone) for one in shown),
        after=shown[-1].id if len(machines.found) > MACHINES_A_PAGE else None,
        form=form,
        secret=secret,
    )


def _machine(
    one: MachineEquipment, machines: Machines, presentation: Presentation, zone: ZoneInfo
) -> MachineRow:
    key, meters = format_id(IdKind.MACHINE_EQUIPMENT, one.id), machines.meters
    own = [(kind, meters[one.id or 0, str(kind)]) for kind in Meter if (one.id or 0, str(kind)) in meters]
    return MachineRow(
        equipment_id=key,
        name=", ".join(filter(None, (one.reference, one.description))),
        seen=presentation.wall_time(one.last_seen_at.astimezone(zone)),
        vehicle=machines.names.get(one.vehicle_id or 0, ""),
        meters=tuple(
            _meter(meter, kind, len(machines.held.get(meter.id or 0, ())), presentation)
            for kind, meter in own
        ),
        offsets=tuple(_offset(key, meter, kind, presentation) for kind, meter in own),
        offers=tuple(_offers(one, own, machines, presentation)),
        held=tuple(
            _held(value, kind, presentation, zone)
            for kind, meter in own
            for value in machines.held.get(meter.id or 0, ())
        ),
    )


def _offers(
    one: MachineEquipment,
    own: Sequence[tuple[Meter, MachineMeter]],
    machines: Machines,
    presentation: Presentation,
) -> Iterator[Offer]:
    key = format_id(IdKind.MACHINE_EQUIPMENT, one.id)
    name = machines.proposed_vehicles.get(one.id or 0)
    if name is not None:
        yield Offer(
            text=translate("machine_offer_vehicle", vehicle=name),
            action=translate("machine_offer_link", vehicle=name),
            fields=((f"{key}-vehicle", name),),
        )
    kept = {field.name: field.value for field in (_offset(key, row, kind, presentation) for kind, row in own)}
    kept[f"{key}-vehicle"] = machines.names.get(one.vehicle_id or 0, "")
    for kind, meter in own:
        offset = machines.proposed_offsets.get(meter.id or 0)
        if offset is not None:
            value, unit = _in_unit(offset, kind, presentation)
            shown = f"{presentation.number(value, 1)} {unit}"
            moved = f" {translate('machine_offer_moves')}" if meter.offset_origin == OffsetOrigin.SOLE else ""
            yield Offer(
                text=translate("machine_offer_offset", shown=shown) + moved,
                action=translate("machine_offer_set", shown=shown),
                fields=tuple((kept | {f"{key}-{kind}": _typed(value)}).items()),
            )


def _held(row: MachineReading, kind: Meter, presentation: Presentation, zone: ZoneInfo) -> HeldValue:
    return HeldValue(
        value_id=format_id(IdKind.MACHINE_VALUE, row.id),
        value=_amount(row.value, kind, presentation),
        taken=presentation.wall_time(row.taken_at.astimezone(zone)),
        why=tell(REASON_TEXTS[ReadingReason(row.reason)].sentence) if row.reason else "",
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
        address=shown_address(row) or "",
        minutes=row.pull_minutes,
        has_authorization=row.pull_authorization is not None,
    )


def _offset(key: str, meter: MachineMeter, kind: Meter, presentation: Presentation) -> OffsetField:
    shown, unit = _in_unit(meter.offset or 0.0, kind, presentation)
    hint = translate("machine_offset_hint")
    if meter.offset_origin == OffsetOrigin.LEARNED:
        hint = translate("machine_offset_learned", value=presentation.number(shown, 1), unit=unit)
    return OffsetField(
        name=f"{key}-{kind}",
        label=translate("machine_offset", unit=unit),
        hint=hint,
        value=_typed(shown) if meter.offset_origin == OffsetOrigin.SET else "",
    )


def _in_unit(offset: float, kind: Meter, presentation: Presentation) -> tuple[float, str]:
    if kind is Meter.ODOMETER:
        return presentation.distance_value(offset), presentation.distance_unit
    return offset, translate("machine_unit_hours")


def _typed(number: float) -> str:
    return f"{number:.10g}"


def _meter(meter: MachineMeter, kind: Meter, n_held: int, presentation: Presentation) -> str:
    value = _amount(meter.last_value, kind, presentation)
    told = translate("machine_meter", value=value, state=translate(STATES[meter.offset_origin]))
    return f"{told} {translate('machine_held', n=presentation.number(n_held))}" if n_held else told


def _amount(value: float | None, kind: Meter, presentation: Presentation) -> str:
    if kind is Meter.ODOMETER:
        return presentation.distance(value)
    return translate("machine_hours", n=presentation.number(value or 0.0, 1))
