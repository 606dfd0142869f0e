"""Machine sources, their machines and what became of each meter's values, as the outside sees them."""

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any, Final, Literal, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import Body, Line40, OffsetHours, OffsetKm, PullMinutes, VehicleName
from service.clients.targets import MAX_CHARACTERS
from service.domain.external_ids import IdKind, format_id
from service.domain.machine_meters import AGREEING, APART, Meter, OffsetOrigin, ValueUse
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.store.tables.machine_sources import MachineEquipment, MachineMeter, MachineReading, MachineSource
from service.usecases.machines.decide_value import ValueDecision
from service.usecases.machines.manage_sources import SOUND_AUTHORIZATION, shown_address

Authorization = Annotated[str, Field(strict=True, pattern=SOUND_AUTHORIZATION)]
PullAddress = Annotated[
    str, Field(strict=True, min_length=8, max_length=MAX_CHARACTERS, pattern=r"^https?://[\x21-\x7e]+$")
]
PULL_EXAMPLE: Final[dict[str, Any]] = {
    "url": "https://portal.example.org/fleet/1",
    "minutes": 60,
    "authorization": None,
}


class PullSet(Body):
    """Where fleet documents by ISO 15143-3 are fetched, and how often."""

    model_config = ConfigDict(json_schema_extra={"examples": [PULL_EXAMPLE]})

    url: PullAddress = Field(description="First page; further ones are found by its link “next”.")
    minutes: PullMinutes = 60
    authorization: Authorization | None = Field(
        default=None, description="Sent as the header Authorization, and never shown again."
    )


class SourceCreate(Body):
    """A source of machine data."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"name": "maker's portal", "pull": None}]})

    name: Line40 = Field(description="Stands as the source of the readings that come of it.")
    pull: PullSet | None = None


class SourceChange(Body):
    """How a source is pulled from now on."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"pull": PULL_EXAMPLE}]})

    pull: PullSet | None = Field(description="Null: it is not pulled any more.")


class SourceRead(BaseModel):
    """A source without its secrets."""

    id: str
    name: str
    state: Literal["active", "ended"]
    pull_url: str | None = Field(description="Without its query, which may hold a secret.")
    pull_minutes: int
    next_pull_at: datetime | None
    last_pulled_at: datetime | None
    failures: int = Field(description="Pulls that failed in a row; each waits longer for the next.")
    last_error: str | None
    last_heard_at: datetime | None
    created_at: datetime
    created_by: str
    ended_at: datetime | None
    old_valid_until: datetime | None = Field(
        description="Until then signatures by the secret before the last rotation are taken too."
    )

    @classmethod
    def of(cls, row: MachineSource) -> Self:
        """Show a source."""
        fields = {
            *("name", "pull_minutes", "next_pull_at", "last_pulled_at", "last_error", "last_heard_at"),
            *("created_at", "created_by", "ended_at"),
        }
        return cls(
            id=format_id(IdKind.MACHINE_SOURCE, row.id),
            state="active" if row.ended_at is None else "ended",
            pull_url=shown_address(row),
            failures=row.n_failures,
            old_valid_until=row.previous_secret_until,
            **row.model_dump(include=fields),
        )


class SourceSecret(SourceRead):
    """A source with the secret that its messages are signed with."""

    inbound_url: str = Field(description="Where signed messages are posted.")
    secret: str | None = Field(
        description="By the Standard Webhooks scheme, shown once; null when the answer to a repeated call is given "
        "again."
    )

    @classmethod
    def with_secret(cls, row: MachineSource, public_url: str, secret: str | None) -> Self:
        """Show a source and its secret."""
        shown = SourceRead.of(row)
        return cls(**shown.model_dump(), inbound_url=f"{public_url}/v1/inbound/{shown.id}", secret=secret)


class SourceList(BaseModel):
    """All sources, the oldest first."""

    machine_sources: list[SourceRead]


class EquipmentLink(Body):
    """Which vehicle a machine is."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [{"vehicle": "VAN-07", "odometer_offset_km": None, "engine_hours_offset": None}]
        }
    )

    vehicle: VehicleName | None = Field(description="Null: it is none of the fleet's.")
    odometer_offset_km: OffsetKm | None = Field(
        default=None,
        description="Dashboard less source; left out, it is learned from readings of the dashboard.",
    )
    engine_hours_offset: OffsetHours | None = None


class MeterRead(BaseModel):
    """One meter of a machine: how it relates to the dashboard, and how plausible it was so far."""

    meter: Meter
    offset: float | None = Field(
        description="Dashboard less source, in km or hours; null while nobody knows it."
    )
    offset_origin: OffsetOrigin | None = Field(
        description="Learned from readings of the dashboard, set by a person, or `sole`: the vehicle had no reading "
        "of its dashboard, so the source is taken for it, which nobody has checked."
    )
    proposed_offset: float | None = Field(
        description=f"What the last {AGREEING} readings of the dashboard agree on, where the offset was never checked "
        f"or is more than {APART[Meter.ODOMETER]:.0f} km or {APART[Meter.ENGINE_HOURS]:.0f} hours off. "
        "It counts only once a person sets it."
    )
    drift: float | None = Field(description="How far the latest comparison is from the offset.")
    last_value: float | None
    last_taken_at: datetime | None
    accepted: int
    held: int
    duplicate: int
    rejected: int

    @classmethod
    def of(cls, row: MachineMeter, proposed_offset: float | None) -> Self:
        """Show a meter."""
        fields = {"meter", "offset", "offset_origin", "drift", "last_value", "last_taken_at"}
        return cls(
            accepted=row.n_accepted,
            held=row.n_held,
            duplicate=row.n_duplicate,
            rejected=row.n_rejected,
            proposed_offset=proposed_offset,
            **row.model_dump(include=fields),
        )


class EquipmentRead(BaseModel):
    """A machine as its source names it."""

    id: str
    equipment: str
    description: str | None
    identification: str | None = Field(description="The maker's product identification number, often a VIN.")
    vehicle: str | None
    proposed_vehicle: str | None = Field(
        description="The one vehicle in use with the same identification number, while the machine is linked to none. "
        "It counts only once a person says so."
    )
    meters: list[MeterRead]
    first_seen_at: datetime
    last_seen_at: datetime

    @classmethod
    def of(
        cls,
        row: MachineEquipment,
        meters: Mapping[tuple[int, str], MachineMeter],
        vehicles: Mapping[int, str],
        proposed_vehicles: Mapping[int, str],
        proposed_offsets: Mapping[int, float],
    ) -> Self:
        """Show a machine with its meters, and its vehicle by the fleet's own number."""
        own = [meters[row.id or 0, kind] for kind in Meter if (row.id or 0, kind) in meters]
        return cls(
            id=format_id(IdKind.MACHINE_EQUIPMENT, row.id),
            equipment=row.reference,
            vehicle=None if row.vehicle_id is None else vehicles[row.vehicle_id],
            proposed_vehicle=proposed_vehicles.get(row.id or 0),
            meters=[MeterRead.of(meter, proposed_offsets.get(meter.id or 0)) for meter in own],
            **row.model_dump(include={"description", "identification", "first_seen_at", "last_seen_at"}),
        )


class EquipmentPage(BaseModel):
    """Machines of a source, in the order in which they were first heard of."""

    equipment: list[EquipmentRead]


class MachineValueRead(BaseModel):
    """A value as the source sent it, judged on its own series."""

    id: str
    meter: Meter
    taken_at: datetime
    value: float
    outcome: ReadingOutcome
    reason: ReadingReason | None
    use: ValueUse = Field(description="What came of it: a reading of the vehicle, or why not (yet).")
    received_at: datetime

    @classmethod
    def of(cls, row: MachineReading, meter: str) -> Self:
        """Show a value."""
        fields = {"taken_at", "value", "outcome", "reason", "use", "received_at"}
        return cls(
            id=format_id(IdKind.MACHINE_VALUE, row.id), meter=Meter(meter), **row.model_dump(include=fields)
        )


class MachineValueDecision(Body):
    """What a person says about a value; `renew`: the meter counts anew from here, as after a replacement."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"decision": "release"}]})

    decision: ValueDecision


class MachineValuePage(BaseModel):
    """Values in the order in which they came."""

    values: list[MachineValueRead]
