"""Turning contexts into pages: one Jinja environment that escapes everything and knows the catalogue."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

from fastapi import Request
from fastapi.responses import HTMLResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from service.documents.file_names import content_disposition, media_type_of
from service.documents.presentation import Presentation
from service.domain.roles import Scope
from service.web.catalogue import ENGLISH, translate
from service.web.forms import CARRIED_FIELD, ID_FIELD, TOKEN_FIELD
from service.web.visits import Visit

STATIC: Final = Path(__file__).parent / "static"
_TEMPLATES: Final = Path(__file__).parent / "templates"
_STYLE_TAG: Final = sha256((STATIC / "sumpwise.css").read_bytes()).hexdigest()[:12]

_NAVIGATION: Final[tuple[tuple[str, str, Scope | None], ...]] = (
    ("reading", "/reading", None),
    ("week", "/", Scope.READ),
    ("vehicles", "/vehicles", Scope.READ),
    ("stock", "/stock", Scope.READ),
    ("accuracy", "/accuracy", Scope.READ),
    ("settings", "/settings", Scope.ADMIN),
)
"""Name, path and the right that it takes; none: for those who may not look at anything."""

NEVER_KEPT: Final = {"Cache-Control": "no-store"}
"""Headers of a page with a secret: no cache keeps it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NavigationEntry:
    """One way from the head of every page."""

    name: str
    path: str
    is_here: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """What stands around every page."""

    language: str
    style_address: str
    path: str
    told: str
    is_doubtful: bool = False
    """What is told is no good news: it was stored, and will be looked at."""

    navigation: tuple[NavigationEntry, ...] = ()
    organisation: str = ""
    person: str = ""
    form_token: str = ""
    form_id: str = ""
    presentation: Presentation = field(default_factory=Presentation)


def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.globals.update(
        t=translate,
        TOKEN_FIELD=TOKEN_FIELD,
        ID_FIELD=ID_FIELD,
        CARRIED_FIELD=CARRIED_FIELD,
        dict=dict,
    )
    environment.filters["path_part"] = path_part
    environment.filters["drawn"] = drawn
    return environment


def path_part(text: str) -> str:
    """Make a text one part of a path."""
    return quote(text, safe="")


def drawn(svg: str) -> Markup:
    """Let a chart through unescaped: it was written by the chart room, which escapes every text in it."""
    return Markup(svg)  # noqa: S704


_ENVIRONMENT: Final = _environment()


def frame_of(visit: Visit, here: str = "") -> Frame:
    """Frame of a signed-in person's page."""
    return Frame(
        language=visit.presentation.language,
        presentation=visit.presentation,
        style_address=f"/static/sumpwise.css?v={_STYLE_TAG}",
        path=visit.request.url.path,
        told=_told(visit.request),
        is_doubtful=_is_doubtful(visit.request),
        navigation=tuple(
            NavigationEntry(name=translate(f"nav_{name}"), path=path, is_here=name == here)
            for name, path, scope in _NAVIGATION
            if (not visit.may(Scope.READ) if scope is None else visit.may(scope))
        ),
        organisation=visit.organisation.name,
        person=visit.person.name,
        form_token=visit.token,
        form_id=secrets.token_hex(8),
    )


def _told(request: Request) -> str:
    """What a form that led here has to say; only words of ours."""
    key = f"told_{request.query_params.get('told', '')}"
    return translate(key) if key in ENGLISH else ""


def _is_doubtful(request: Request) -> bool:
    return request.query_params.get("told", "").endswith("held")


def bare_frame(request: Request, form_token: str = "") -> Frame:
    """Frame of a page for nobody in particular."""
    return Frame(
        language="en",
        style_address=f"/static/sumpwise.css?v={_STYLE_TAG}",
        path=request.url.path,
        told=_told(request),
        is_doubtful=_is_doubtful(request),
        form_token=form_token,
        form_id=secrets.token_hex(8),
    )


def render(
    template: str, frame: Frame, page: Any, status: int = 200, headers: Mapping[str, str] | None = None
) -> HTMLResponse:
    """Write a page."""
    html = _ENVIRONMENT.get_template(template).render(frame=frame, page=page)
    return HTMLResponse(html, status, headers={"Cache-Control": "private, no-cache", **(headers or {})})


def hand_out(content: bytes, name: str, headers: Mapping[str, str] | None = None) -> Response:
    """Give a document under its name."""
    own = {"Content-Disposition": content_disposition(name), "Cache-Control": "private, no-cache"}
    return Response(content, media_type=media_type_of(name), headers={**own, **(headers or {})})
