"""An organisation's settings and its depots as the outside sees them."""

from datetime import date, time
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import NOT_NAMED, BayMinutesADay, Body, Day, Line40, RoomLitres, Weekday
from service.domain.external_ids import IdKind, format_id
from service.domain.money import CURRENCY_CODE
from service.domain.used_fluid import WasteStream
from service.store.tables.organisation import Depot, Organisation

MINUTES_PER_HOUR = 60
BayMinutes = Annotated[
    list[BayMinutesADay],
    Field(min_length=7, max_length=7, description="Bay minutes on Monday … Sunday, all bays together."),
]
Region = Annotated[
    str,
    Field(
        strict=True,
        max_length=16,
        pattern=r"^[A-Z]{2}(-[A-Za-z0-9]{1,13})?$",
        description="ISO 3166 code whose public holidays close the depot.",
        examples=["DE-BY"],
    ),
]
ClosedOn = Annotated[list[Day], Field(max_length=400, description="Further closing days.")]
CapacityByStream = Annotated[
    dict[WasteStream, RoomLitres],
    Field(description="Litres that the container of each stream holds; streams are never mixed."),
]
WallTime = Annotated[
    str,
    Field(
        strict=True,
        pattern=r"^([01][0-9]|2[0-3]):[0-5][0-9]$",
        description="Local time of day.",
        examples=["06:00"],
    ),
]


class OrganisationRead(BaseModel):
    """An organisation's settings."""

    name: str
    time_zone: str
    locale: str
    currency: str
    distance_unit: Literal["km", "mi"]
    volume_unit: Literal["litre", "us_gallon", "us_quart", "imperial_gallon"]
    publishing_weekday: int
    publishing_time: str
    planning: dict[str, float]

    @classmethod
    def of(cls, row: Organisation) -> Self:
        """Show an organisation."""
        hour, minute = divmod(row.publishing_minute, MINUTES_PER_HOUR)
        return cls(
            publishing_time=f"{time(hour, minute):%H:%M}",
            **row.model_dump(include=set(cls.model_fields) - {"publishing_time"}),
        )


class OrganisationUpdate(Body):
    """What to change; what is left out stays."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"publishing_weekday": 4, "publishing_time": "15:30"}]}
    )

    time_zone: Annotated[str, Field(strict=True, min_length=1, max_length=64)] | None = None
    locale: Annotated[str, Field(strict=True, pattern=r"^[a-z]{2,3}(-[A-Z]{2})?$")] | None = None
    currency: (
        Annotated[
            str,
            Field(
                strict=True,
                pattern=f"^{CURRENCY_CODE}$",
                description="ISO 4217. Amounts named `minor` are in its minor unit: cents of EUR, yen of JPY, "
                "fils of KWD.",
            ),
        ]
        | None
    ) = None
    distance_unit: Literal["km", "mi"] | None = None
    volume_unit: Literal["litre", "us_gallon", "us_quart", "imperial_gallon"] | None = None
    publishing_weekday: Weekday | None = Field(
        default=None, description="1 is Monday; the list of the week after is fixed on it."
    )
    publishing_time: WallTime | None = None

    def changes(self) -> dict[str, Any]:
        """What was said, by the names it is stored under."""
        named = self.named()
        if named.get("publishing_time") is not None:
            hour, minute = named.pop("publishing_time").split(":")
            named["publishing_minute"] = int(hour) * MINUTES_PER_HOUR + int(minute)
        return named


class DepotRead(BaseModel):
    """A place with bays where vehicles are serviced."""

    id: str
    depot: str
    bay_minutes: list[int]
    holiday_region: str | None
    closed_on: list[date]
    used_fluid_capacity_litres: float | None
    used_fluid_capacity_by_stream: dict[WasteStream, float]

    @classmethod
    def of(cls, row: Depot) -> Self:
        """Show a depot."""
        fields = {
            "bay_minutes",
            "holiday_region",
            "closed_on",
            "used_fluid_capacity_litres",
            "used_fluid_capacity_by_stream",
        }
        return cls(id=format_id(IdKind.DEPOT, row.id), depot=row.reference, **row.model_dump(include=fields))


class DepotList(BaseModel):
    """All depots, by name."""

    depots: list[DepotRead]


class DepotUpdate(Body):
    """What to change of a depot; what is left out stays."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"bay_minutes": [960, 960, 960, 960, 480, 0, 0]}]}
    )

    depot: Line40 = NOT_NAMED
    bay_minutes: BayMinutes = NOT_NAMED
    holiday_region: Region | None = None
    closed_on: ClosedOn = NOT_NAMED
    used_fluid_capacity_litres: RoomLitres | None = None
    used_fluid_capacity_by_stream: CapacityByStream | None = None

    def changes(self) -> dict[str, Any]:
        """What was said, by the names it is stored under."""
        named = self.named()
        return {"reference" if name == "depot" else name: value for name, value in named.items()}


class DepotCreate(Body):
    """A depot to make."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "depot": "North",
                    "bay_minutes": [960, 960, 960, 960, 480, 0, 0],
                    "holiday_region": "DE-BY",
                    "closed_on": ["2026-12-28"],
                    "used_fluid_capacity_litres": 1000.0,
                }
            ]
        }
    )

    depot: Line40
    bay_minutes: BayMinutes | None = None
    holiday_region: Region | None = None
    closed_on: ClosedOn = Field(default_factory=list)
    used_fluid_capacity_litres: RoomLitres | None = None
    used_fluid_capacity_by_stream: CapacityByStream | None = None

    def facts(self) -> dict[str, Any]:
        """What was said, without what is to have the usual value."""
        named = self.model_dump(exclude={"depot"})
        return {name: value for name, value in named.items() if value is not None}
