"""What a browser posted, and reading it field by field so that every mistake is told at once."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from enum import StrEnum
from hashlib import sha256
from typing import Annotated, Final, TypeVar
from zoneinfo import ZoneInfo

from fastapi import Depends, Request
from starlette.datastructures import UploadFile

from service.domain import plausibility, texts
from service.domain.number_cells import DOUBTFUL, DecimalMark, may_be_thousands, number_from_cell
from service.domain.plausibility import Bounds
from service.errors import FieldError, InvalidInputError, PayloadTooLargeError, ServiceError
from service.web.catalogue import tell

Value = TypeVar("Value")
Member = TypeVar("Member", bound=StrEnum)

MAX_FIELDS: Final = 1000
MAX_FIELD_BYTES: Final = 4 * 1024 * 1024
MAX_FORM_BYTES: Final = 6 * 1024 * 1024
"""A table of 2,000 vehicles has a tenth of that; whole histories go in by the API."""
FORM_TYPES: Final = ("application/x-www-form-urlencoded", "multipart/form-data")
TOKEN_FIELD: Final = "form_token"  # noqa: S105 - a field's name
ID_FIELD: Final = "form_id"
CARRIED_FIELD: Final = "carried"
IN_THOUSANDS: Final = frozenset(
    {
        plausibility.ODOMETER_KM,
        plausibility.ENGINE_HOURS,
        plausibility.INTERVAL_KM,
        plausibility.INTERVAL_HOURS,
        plausibility.STOCK_LITRES,
        plausibility.COUNT,
    }
)
"""Of these thousands are usual, and three decimals are not."""

_NO_MOMENT: Final = datetime(1980, 1, 1, tzinfo=UTC)
OF_THE_FORM: Final = frozenset({TOKEN_FIELD, ID_FIELD, CARRIED_FIELD})
"""Fields that we put there, not the person."""
ADDRESS_FIELD: Final = "pull_address"
SECRET_FIELDS: Final = frozenset({"password", "present_password", "pull_authorization"})
"""Fields whose content never gets into a page."""


@dataclass(frozen=True, slots=True)
class Posted:
    """The fields of a form as they came; a file's content stands like a field."""

    path: str
    fields: Mapping[str, str]

    def text(self, name: str) -> str:
        """Content of a field, empty if it is missing."""
        return self.fields.get(name, "")

    @property
    def typed(self) -> dict[str, str]:
        """What the person filled in."""
        return {name: value for name, value in self.fields.items() if name not in OF_THE_FORM}

    @property
    def secret_names(self) -> tuple[str, ...]:
        """Filled fields that hold a secret; behind the question mark of an address there may be one."""
        return tuple(
            name
            for name, value in self.typed.items()
            if (name in SECRET_FIELDS and value) or (name == ADDRESS_FIELD and "?" in value)
        )

    @property
    def fingerprint(self) -> str:
        """Tells a form that is sent twice from one that was filled in anew."""
        return sha256(json.dumps(sorted(self.fields.items())).encode()).hexdigest()


async def read_form(request: Request) -> Posted:
    """Read the form of a request; anything that is no form counts as an empty one."""
    fields: dict[str, str] = {}
    if request.headers.get("content-type", "").startswith(FORM_TYPES):
        length = request.headers.get("content-length", "")
        if not length.isdecimal() or len(length) > 12 or int(length) > MAX_FORM_BYTES:
            raise PayloadTooLargeError("This is too much for a page; send it in parts, or through the API.")
        async with request.form(
            max_files=1, max_fields=MAX_FIELDS, max_part_size=MAX_FIELD_BYTES
        ) as received:
            for name, value in received.multi_items():
                fields[name[:80]] = await _content(value)
    return Posted(request.url.path, fields)


async def _content(value: UploadFile | str) -> str:
    if isinstance(value, str):
        return value
    content = await value.read(MAX_FIELD_BYTES + 1)
    if len(content) > MAX_FIELD_BYTES:
        raise InvalidInputError.at("/file", "The file is too large for a page; send it in parts.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InvalidInputError.at("/file", "The file is not in UTF-8; save it as CSV UTF-8.") from None


Form = Annotated[Posted, Depends(read_form)]


@dataclass(frozen=True, slots=True)
class FormState:
    """A form as it is shown again: what was typed, and what is wrong with it."""

    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)
    problem: str = ""

    def value(self, name: str, default: object = "") -> str:
        """What to put into a field."""
        return self.values.get(name, "" if default is None else str(default))

    @classmethod
    def after(cls, posted: Posted, error: ServiceError) -> "FormState":
        """State after a refusal; errors stand at the fields that they name."""
        errors = {_field_of(one.pointer): tell(one.detail) for one in reversed(error.errors)}
        return cls(posted.typed, errors, tell(error.detail))


def _field_of(pointer: str) -> str:
    return pointer.removeprefix("/").replace("/", "-")


EMPTY: Final = FormState()


class FormReader:
    """Reads fields one by one and keeps what is wrong until `finish`."""

    def __init__(self, posted: Posted) -> None:
        self.posted = posted
        self.errors: list[FieldError] = []

    def finish(self) -> None:
        """Refuse the form if any field cannot be right.

        Raises
        ------
        InvalidInputError
            Naming them all.
        """
        if self.errors:
            raise InvalidInputError("Something in the form cannot be right; it is marked below.", self.errors)

    def refuse(self, name: str, told: str) -> None:
        """Note a mistake at a field."""
        self.errors.append(FieldError(f"/{name}", told))

    def text(self, name: str, clean: Callable[[str, str], str]) -> str:
        """Text that must be there, in a form of its own; `clean` takes the pointer and what was typed."""
        return self._checked(name, "", lambda text: clean(f"/{name}", text))

    def line(self, name: str, *, maximum: int = 120) -> str:
        """One line of text that must be there."""
        return self._checked(name, "", lambda text: texts.clean_line(f"/{name}", text, maximum=maximum))

    def optional_line(self, name: str, *, maximum: int = 120) -> str | None:
        """One line of text, none if left empty."""
        return self.line(name, maximum=maximum) if self._is_filled(name) else None

    def note(self, name: str) -> str | None:
        """Several lines of text, none if left empty."""
        if not self._is_filled(name):
            return None
        return self._checked(name, None, lambda text: texts.clean_note(f"/{name}", text))

    def number(self, name: str, bounds: Bounds, *, to_base: Callable[[float], float] = float) -> float:
        """Read a number that must be there; `to_base` turns what was typed into the unit of the bounds."""

        def check(text: str) -> float:
            if bounds in IN_THOUSANDS and may_be_thousands(text.strip()):
                raise InvalidInputError.at(f"/{name}", DOUBTFUL)
            return bounds.check(f"/{name}", to_base(_number(name, text)))

        return self._checked(name, 0.0, check)

    def optional_number(
        self, name: str, bounds: Bounds, *, to_base: Callable[[float], float] = float
    ) -> float | None:
        """Read a number, none if left empty."""
        return self.number(name, bounds, to_base=to_base) if self._is_filled(name) else None

    def day(self, name: str) -> date:
        """Read a date that must be there, as a browser sends it."""
        return self._checked(name, date.min, lambda text: _day(name, text))

    def optional_day(self, name: str) -> date | None:
        """Read a date, none if left empty."""
        return self.day(name) if self._is_filled(name) else None

    def moment(self, name: str, zone: ZoneInfo, instead: datetime | None = None) -> datetime:
        """Read a date and time on the clock of a zone; left empty it is the one that stands in, if there is one."""
        if instead is not None and not self._is_filled(name):
            return instead
        return self._checked(name, _NO_MOMENT, lambda text: _moment(name, text, zone))

    def choice(self, name: str, members: type[Member], default: Member) -> Member:
        """One of several words; the default if left empty."""
        if not self._is_filled(name):
            return default
        return self._checked(name, default, lambda text: _member(name, text, members))

    def one_of(self, name: str, options: Sequence[str]) -> str:
        """One of several texts that must be there."""
        text = self.posted.text(name).strip()
        if text not in options:
            self.errors.append(FieldError(f"/{name}", "Choose one of the list."))
        return text

    def flag(self, name: str) -> bool:
        """Whether a box was ticked."""
        return self.posted.text(name) != ""

    def _is_filled(self, name: str) -> bool:
        return self.posted.text(name).strip() != ""

    def _checked(self, name: str, instead: Value, check: Callable[[str], Value]) -> Value:
        text = self.posted.text(name)
        if not text.strip():
            self.errors.append(FieldError(f"/{name}", "Fill this in."))
            return instead
        try:
            return check(text)
        except InvalidInputError as error:
            self.errors.extend(error.errors or [FieldError(f"/{name}", error.detail)])
            return instead


def _number(name: str, text: str) -> float:
    cell = text.strip().replace("\u202f", "").replace("\u00a0", "").replace(" ", "")
    mark = DecimalMark.COMMA if "," in cell and "." not in cell else DecimalMark.POINT
    try:
        return number_from_cell(f"/{name}", cell, mark)
    except InvalidInputError:
        raise InvalidInputError.at(f"/{name}", "Not a number; write it as 84210 or 84210.5.") from None


def _day(name: str, text: str) -> date:
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise InvalidInputError.at(f"/{name}", "No date of the calendar; write it as 2026-05-01.") from None
    return plausibility.planned_day(f"/{name}", day)


def _moment(name: str, text: str, zone: ZoneInfo) -> datetime:
    try:
        local = datetime.fromisoformat(text.strip())
    except ValueError:
        raise InvalidInputError.at(
            f"/{name}", "No date and time of the calendar; write it as 2026-05-01T07:30."
        ) from None
    if local.tzinfo is not None:
        raise InvalidInputError.at(f"/{name}", "Write the time on the wall, without an offset.")
    plausibility.planned_day(f"/{name}", local.date())
    return local.replace(tzinfo=zone)


def _member(name: str, text: str, members: type[Member]) -> Member:
    try:
        return members(text.strip())
    except ValueError:
        raise InvalidInputError.at(f"/{name}", "Choose one of the list.") from None
