"""Field types of request bodies: bounded, strict, and refused in words that say what to do."""

import re
from collections.abc import Callable, Set
from datetime import date, datetime
from typing import Annotated, Any, Final, TypeVar

from fastapi import Path, Query
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from service.domain import plausibility, texts
from service.domain.plausibility import Bounds
from service.domain.vin import VIN_CHARACTERS, clean_vin
from service.errors import InvalidInputError

Value = TypeVar("Value")

_INSTANT: Final = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,9})?)?([Zz]|[+-][0-9]{2}:?[0-9]{2})?"
)
_DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_DIGITS: Final = re.compile(r"[0-9]+")


MOST_STRANGERS: Final = 20
"""Unknown names of one object that are told one by one."""


class Body(BaseModel):
    """A request body; a field we do not know is a mistake that the sender wants to hear of."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _has_no_crowd_of_names(cls, body: Any) -> Any:
        """Refuse more names than there are fields as one mistake: half a million take seconds to tell one by one."""
        if isinstance(body, dict) and len(body) > len(cls.model_fields) + MOST_STRANGERS:
            message = f"There are {len(body)} names here, more than there are fields; check them."
            raise ValueError(message)
        return body

    def named(self, but: Set[str] = frozenset()) -> dict[str, Any]:
        """What a change names; what is inside of it is whole, with the defaults that its own fields have."""
        return self.model_dump(include=self.model_fields_set - but)


NOT_NAMED: Final[Any] = None
"""Default of a field of a change that cannot be null: null is refused where it stands."""


def _told(check: Callable[[Value], Value]) -> Callable[[Value], Value]:
    """Let a rule of ours refuse a field in pydantic's way, so that the answer points at the field."""

    def run(value: Value) -> Value:
        try:
            return check(value)
        except InvalidInputError as error:
            raise ValueError(error.detail) from None

    return run


def digits_only(text: Any) -> Any:
    """Let a number of a query be digits and nothing else: Python reads `1_0` and `+5` as numbers, nobody else does."""
    if isinstance(text, str) and _DIGITS.fullmatch(text) is None:
        message = "must be a whole number, in digits"
        raise ValueError(message)
    return text


def bounded(bounds: Bounds) -> Any:
    """Make the type of a number within bounds; text, booleans, NaN and infinities are none."""
    return Annotated[
        float,
        Field(
            strict=True, ge=bounds.minimum, le=bounds.maximum, allow_inf_nan=False, description=bounds.reason
        ),
        AfterValidator(_told(lambda value: bounds.check("", value))),
    ]


def line(maximum: int) -> Any:
    """Make the type of one line of text."""
    check = _told(lambda text: texts.clean_line("", text, maximum=maximum))
    return Annotated[str, Field(strict=True, min_length=1, max_length=4 * maximum), AfterValidator(check)]


def whole(minimum: int, maximum: int) -> Any:
    """Make the type of a whole number within bounds."""
    return Annotated[int, Field(strict=True, ge=minimum, le=maximum)]


def parse_instant(text: Any) -> datetime:
    """Read an RFC 3339 time with its offset.

    Raises
    ------
    ValueError
        If it is no text, no such time, or lacks the offset; the year is checked before anything is converted.
    """
    if not isinstance(text, str) or len(text) > 40 or _INSTANT.fullmatch(text) is None:
        message = "must be a time such as 2026-05-01T07:30:00+01:00"
        raise ValueError(message)
    try:
        instant = datetime.fromisoformat(text.upper())
    except ValueError:
        message = "is no date and time of the calendar"
        raise ValueError(message) from None
    if instant.tzinfo is None:
        message = "needs its offset from UTC, as in 2026-05-01T07:30:00+01:00, or Z for UTC"
        raise ValueError(message)
    if not plausibility.is_offset_in_use(instant):
        raise ValueError(plausibility.NO_SUCH_OFFSET)
    if not plausibility.FIRST_DAY.year <= instant.year <= plausibility.LAST_DAY.year:
        message = f"the year must be from {plausibility.FIRST_DAY.year} to {plausibility.LAST_DAY.year}"
        raise ValueError(message)
    return instant


def parse_day(text: Any) -> date:
    """Read an ISO 8601 date.

    Raises
    ------
    ValueError
        If it is no text or no such date.
    """
    if not isinstance(text, str) or _DAY.fullmatch(text) is None:
        message = "must be a date such as 2026-05-01"
        raise ValueError(message)
    try:
        day = date.fromisoformat(text)
    except ValueError:
        message = "is no date of the calendar"
        raise ValueError(message) from None
    return _told(lambda value: plausibility.planned_day("", value))(day)


VehicleReference = Annotated[
    str,
    Field(
        strict=True, min_length=1, max_length=160, description="The fleet's own number.", examples=["VAN-07"]
    ),
    AfterValidator(_told(lambda text: texts.clean_vehicle_reference("", text))),
]
VehicleName = Annotated[
    str,
    Field(strict=True, min_length=1, max_length=160, description="The fleet's own number, or an id."),
    AfterValidator(_told(lambda text: texts.clean_line("", text, maximum=160))),
]
VehiclePath = Annotated[
    str,
    Path(min_length=1, max_length=160, description="The fleet's own number, or an id.", examples=["VAN-07"]),
    AfterValidator(_told(lambda text: texts.clean_line("", text, maximum=160))),
]
NameQuery = Annotated[
    str, Query(min_length=1, max_length=160, description="The fleet's own number or name, or an id.")
]
ReferenceQuery = Annotated[str, Query(min_length=1, max_length=80, description="The sender's own id.")]
FileZone = Annotated[str, Query(max_length=64, description="Zone of a CSV file's times that have no offset.")]
IdPath = Annotated[str, Path(min_length=1, max_length=40, pattern=r"^[a-z]{3}_[0-9]+$", description="An id.")]
PageLimit = Annotated[int, Query(ge=1, le=500, description="Rows a page."), BeforeValidator(digits_only)]
Cursor = Annotated[
    str | None,
    Query(
        min_length=1,
        max_length=400,
        pattern=r"^[A-Za-z0-9_-]+$",
        description="From the Link header of the page before.",
    ),
]
Odometer = bounded(plausibility.ODOMETER_KM)
EngineHours = bounded(plausibility.ENGINE_HOURS)
CompartmentLitres = bounded(plausibility.COMPARTMENT_LITRES)
ExchangedLitres = bounded(plausibility.EXCHANGED_LITRES)
PackLitres = bounded(plausibility.PACK_LITRES)
StockLitres = bounded(plausibility.STOCK_LITRES)
StockPieces = whole(-1_000_000, 1_000_000)
PackPieces = whole(1, 40_000)
IntervalKm = bounded(plausibility.INTERVAL_KM)
IntervalMonths = whole(int(plausibility.INTERVAL_MONTHS.minimum), int(plausibility.INTERVAL_MONTHS.maximum))
IntervalHours = bounded(plausibility.INTERVAL_HOURS)
FluidCelsius = bounded(plausibility.FLUID_CELSIUS)
Density = bounded(plausibility.DENSITY_KG_PER_M3)
LeadTimeDays = bounded(plausibility.LEAD_TIME_DAYS)
ServiceLevel = bounded(plausibility.SERVICE_LEVEL)
Weekday = whole(1, 7)
PackNumber = whole(1, 100_000)
WeeksAhead = Annotated[
    int,
    Query(ge=1, le=26, description="ISO weeks, the present one first; beyond half a year nobody orders."),
    BeforeValidator(digits_only),
]
Pieces = whole(1, 1000)
PriceMinor = whole(0, int(plausibility.PRICE_MINOR.maximum))
MinimumPacks = whole(1, int(plausibility.MINIMUM_PACKS.maximum))
ShelfLifeDays = whole(1, int(plausibility.SHELF_LIFE_DAYS.maximum))
BayMinutesADay = whole(0, int(plausibility.BAY_MINUTES_A_DAY.maximum))
RoomLitres = bounded(plausibility.ROOM_LITRES)
LifeUsed = bounded(plausibility.LIFE_USED)
ExpansionCelsius = bounded(plausibility.EXPANSION_CELSIUS)
KmPerDay = bounded(plausibility.KM_PER_DAY)
PlannedDays = bounded(plausibility.PLANNED_DAYS)
ReturnDays = whole(1, int(plausibility.RETURN_DAYS.maximum))
Rounds = whole(int(plausibility.ROUNDS.minimum), int(plausibility.ROUNDS.maximum))
RateMultiplier = bounded(plausibility.DUTY_MULTIPLIER)
MovingKmPerDay = bounded(plausibility.MOVING_KM_PER_DAY)
HighestLifeUsed = bounded(plausibility.HIGHEST_LIFE_USED)
LikelyProbability = bounded(plausibility.LIKELY_PROBABILITY)
AgeingRate = bounded(plausibility.AGEING_RATE)
SpreadByMean = bounded(plausibility.SPREAD_BY_MEAN)
LabourMinutes = bounded(plausibility.LABOUR_MINUTES)
HazardShape = bounded(plausibility.HAZARD_SHAPE)
HazardScaleKm = bounded(plausibility.HAZARD_SCALE_KM)
PolicyRounds = whole(1, 6)
Fraction = bounded(plausibility.FRACTION)
PullMinutes = whole(int(plausibility.PULL_MINUTES.minimum), int(plausibility.PULL_MINUTES.maximum))
ParameterGroup = whole(0, 0x3FFFF)
OffsetKm = bounded(plausibility.OFFSET_KM)
OffsetHours = bounded(plausibility.OFFSET_HOURS)
Yes = Annotated[bool, Field(strict=True)]
Vin = Annotated[
    str,
    Field(
        strict=True,
        min_length=1,
        max_length=4 * VIN_CHARACTERS,
        description="17 characters; fewer of a vehicle before 1981 or of a machine. `warnings` say what looks wrong.",
    ),
    AfterValidator(_told(lambda text: clean_vin("", text))),
]
Line40 = line(40)
Line80 = line(80)
Line120 = line(120)
Line400 = line(400)
Note = Annotated[
    str,
    Field(strict=True, max_length=4 * texts.NOTE_CHARACTERS),
    AfterValidator(_told(lambda text: texts.clean_note("", text))),
]
Instant = Annotated[
    datetime,
    BeforeValidator(parse_instant),
    Field(examples=["2026-05-01T07:30:00+01:00"], json_schema_extra={}),
]
Day = Annotated[date, BeforeValidator(parse_day), Field(examples=["2026-05-01"])]
