"""Add a fluid or a part to the shelf."""

from collections.abc import Callable
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.domain import plausibility, texts
from service.domain.fluid_kinds import KIND_LABELS, FluidKind
from service.domain.roles import Scope
from service.errors import ConflictError, InvalidInputError, ServiceError
from service.usecases.stock.offer_packs import PackOffer
from service.usecases.stock.register_fluids import add_fluid
from service.usecases.stock.register_parts import add_part
from service.web.catalogue import tell
from service.web.contexts import ArticlesPage
from service.web.forms import EMPTY, Form, FormReader, FormState, Posted
from service.web.rendering import frame_of, render
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

NAME: Final = 40
MINOR_A_MAJOR: Final = 100.0
MOST_SPECIFICATIONS: Final = 30


@router.get("/stock/new")
def get_new(request: Request) -> Response:
    """Show the forms."""
    return _show(request, EMPTY)


@router.post("/stock/fluids")
def post_fluid(request: Request, form: Form) -> Response:
    """Add a fluid."""
    return _add(request, form, _add_fluid)


@router.post("/stock/parts")
def post_part(request: Request, form: Form) -> Response:
    """Add a part."""
    return _add(request, form, _add_part)


def _add(request: Request, posted: Posted, add: Callable[[Visit, FormReader], None]) -> Response:
    try:
        with doing(request, posted) as visit:
            add(visit, FormReader(posted))
            return visit.done("/stock", told="article")
    except (InvalidInputError, ConflictError) as error:
        return _show(request, FormState.after(posted, error), error)


def _add_fluid(visit: Visit, reader: FormReader) -> None:
    litres_a_unit = 1.0 / visit.presentation.volume_value(1.0)
    name = reader.line("fluid_name", maximum=NAME)
    kind = reader.choice("fluid_kind", FluidKind, FluidKind.AUTOMATIC_TRANSMISSION_CAR)
    pack = reader.optional_number(
        "fluid_pack", plausibility.PACK_LITRES, to_base=lambda typed: typed * litres_a_unit
    )
    facts = {"specifications": _lines(reader, "specifications"), **_lead(reader, "fluid_lead")}
    offers = [] if pack is None else [PackOffer(litres=pack, price_minor=_price(reader, "fluid_price"))]
    reader.finish()
    add_fluid(visit.session, visit.caller, visit.now, name, kind, facts, offers)


def _add_part(visit: Visit, reader: FormReader) -> None:
    name = reader.line("part_name", maximum=NAME)
    pieces = reader.optional_number("part_pack", plausibility.COUNT)
    facts = _lead(reader, "part_lead")
    offers = []
    if pieces is not None:
        if not pieces.is_integer() or pieces < 1:
            reader.refuse("part_pack", "Parts are counted in whole pieces.")
        offers = [PackOffer(pieces=round(pieces), price_minor=_price(reader, "part_price"))]
    reader.finish()
    add_part(visit.session, visit.caller, visit.now, name, facts, offers)


def _lead(reader: FormReader, name: str) -> dict[str, Any]:
    days = reader.optional_number(name, plausibility.LEAD_TIME_DAYS)
    return {} if days is None else {"lead_time_days": days}


def _price(reader: FormReader, name: str) -> int | None:
    price = reader.optional_number(
        name, plausibility.PRICE_MINOR, to_base=lambda typed: typed * MINOR_A_MAJOR
    )
    return None if price is None else round(price)


def _lines(reader: FormReader, name: str) -> list[str]:
    lines = [line for line in reader.posted.text(name).splitlines() if line.strip()]
    if len(lines) > MOST_SPECIFICATIONS:
        reader.refuse(name, "These are too many.")
    try:
        return [texts.clean_line(f"/{name}", line, maximum=80) for line in lines[:MOST_SPECIFICATIONS]]
    except InvalidInputError as error:
        reader.errors.extend(error.errors)
        return []


def _show(request: Request, form: FormState, error: ServiceError | None = None) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.PLANNING)
        page = ArticlesPage(
            kinds=tuple((str(kind), tell(KIND_LABELS[kind])) for kind in FluidKind),
            volume_unit=visit.presentation.volume_unit,
            currency=visit.organisation.currency,
            form=form,
        )
        return render("articles.html", frame_of(visit, "stock"), page, status_of(error))
