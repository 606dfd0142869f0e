"""Settings: the organisation, its depots, its people and its tokens."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.domain.external_ids import IdKind, format_id
from service.domain.roles import Role, Scope
from service.domain.used_fluid import WasteStream
from service.domain.zones import allowed_zone_names
from service.store.tables.access import Person, Token
from service.store.tables.organisation import Depot, Organisation
from service.web.catalogue import translate
from service.web.forms import FormState

LOCALES: Final = ("en-GB", "en-US", "en-IE", "de-DE", "fr-FR", "nl-NL", "es-ES", "pl-PL", "sv-SE")
VOLUME_UNITS: Final = ("litre", "us_gallon", "us_quart", "imperial_gallon")
DISTANCE_UNITS: Final = ("km", "mi")
WEEKDAYS: Final = tuple(range(1, 8))
EXAMPLE_DAY: Final = date(2026, 12, 24)

Options = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DepotForm:
    """One depot, ready to be changed."""

    depot_id: str
    name: str
    minutes: tuple[tuple[str, str, int], ...]
    holiday_region: str
    closed_on: str
    capacity: str
    """Room for all used fluid together."""

    capacities: tuple[tuple[str, str, str], ...]
    """Name of the field, stream and room for it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsPage:
    """The organisation and its depots."""

    organisation: Organisation
    publishing_time: str
    zones: Options
    locales: Options
    volume_units: Options
    distance_units: Options
    weekdays: Options
    depots: tuple[DepotForm, ...]
    form: FormState
    depot_form: FormState
    depot_id: str
    volume_unit: str
    example_day: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonRow:
    """Somebody who signs in."""

    person_id: str
    login: str
    name: str
    role: str
    is_out: bool
    is_me: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PeoplePage:
    """Everybody, and a link if one was just made."""

    people: tuple[PersonRow, ...]
    roles: Options
    link: str
    link_for: str
    form: FormState


@dataclass(frozen=True, slots=True, kw_only=True)
class TokenRow:
    """One token."""

    token_id: str
    name: str
    scopes: str
    made: str
    used: str
    state: str
    is_live: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TokensPage:
    """All tokens, and the secret of one that was just made."""

    tokens: tuple[TokenRow, ...]
    scopes: Options
    secret: str
    form: FormState


def settings_page(
    organisation: Organisation,
    depots: Sequence[Depot],
    presentation: Presentation,
    form: FormState,
    depot_form: FormState,
    depot_id: str,
) -> SettingsPage:
    """Fill the page of the organisation."""
    hour, minute = divmod(organisation.publishing_minute, 60)
    return SettingsPage(
        organisation=organisation,
        publishing_time=f"{hour:02d}:{minute:02d}",
        zones=tuple((name, name) for name in sorted(allowed_zone_names())),
        locales=_options(sorted({*LOCALES, organisation.locale})),
        volume_units=tuple((unit, translate(f"unit_{unit}")) for unit in VOLUME_UNITS),
        distance_units=tuple((unit, translate(f"unit_{unit}")) for unit in DISTANCE_UNITS),
        weekdays=tuple((str(day), presentation.labels[f"weekday_{day}"]) for day in WEEKDAYS),
        depots=tuple(_depot(depot, presentation) for depot in depots),
        form=form,
        depot_form=depot_form,
        depot_id=depot_id,
        volume_unit=presentation.volume_unit,
        example_day=presentation.day(EXAMPLE_DAY),
    )


def people_page(
    people: Sequence[Person], me: int | None, form: FormState, link: str = "", link_for: str = ""
) -> PeoplePage:
    """Fill the page of the people."""
    return PeoplePage(
        people=tuple(
            PersonRow(
                person_id=format_id(IdKind.PERSON, person.id),
                login=person.login,
                name=person.name,
                role=person.role,
                is_out=person.disabled_at is not None,
                is_me=person.id == me,
            )
            for person in people
        ),
        roles=tuple((str(role), translate(f"role_{role}")) for role in Role),
        link=link,
        link_for=link_for,
        form=form,
    )


def tokens_page(
    tokens: Sequence[Token], presentation: Presentation, zone: ZoneInfo, form: FormState, secret: str = ""
) -> TokensPage:
    """Fill the page of the tokens."""
    return TokensPage(
        tokens=tuple(
            TokenRow(
                token_id=format_id(IdKind.TOKEN, token.id),
                name=token.name,
                scopes=", ".join(token.scopes),
                made=presentation.day(token.created_at.astimezone(zone).date()),
                used="–"
                if token.last_used_at is None
                else presentation.day(token.last_used_at.astimezone(zone).date()),
                state=translate("token_live" if token.revoked_at is None else "token_revoked"),
                is_live=token.revoked_at is None,
            )
            for token in tokens
        ),
        scopes=tuple((str(scope), translate(f"scope_{scope}")) for scope in Scope),
        secret=secret,
        form=form,
    )


def _depot(depot: Depot, presentation: Presentation) -> DepotForm:
    return DepotForm(
        depot_id=format_id(IdKind.DEPOT, depot.id),
        name=depot.reference,
        minutes=tuple(
            (f"minutes-{day}", presentation.labels[f"weekday_{day}"], minutes)
            for day, minutes in zip(WEEKDAYS, depot.bay_minutes, strict=True)
        ),
        holiday_region=depot.holiday_region or "",
        closed_on="\n".join(presentation.day(date.fromisoformat(day)) for day in depot.closed_on),
        capacity=_room(depot.used_fluid_capacity_litres, presentation),
        capacities=tuple(
            (
                f"capacity-{stream}",
                translate(f"stream_{stream}"),
                _room(depot.used_fluid_capacity_by_stream.get(stream), presentation),
            )
            for stream in WasteStream
        ),
    )


def _room(litres: float | None, presentation: Presentation) -> str:
    return "" if litres is None else f"{presentation.volume_value(litres):.10g}"


def _options(names: Sequence[str]) -> Options:
    return tuple((name, name) for name in names)
