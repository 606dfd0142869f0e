"""Add a fluid or a part to the shelf."""

from collections.abc import Callable
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.domain.fluid_kinds import KIND_LABELS, FluidKind
from service.domain.roles import Scope
from service.errors import ConflictError, InvalidInputError, ServiceError
from service.usecases.stock.offer_packs import PackOffer
from service.usecases.stock.register_fluids import add_fluid
from service.usecases.stock.register_parts import add_part
from service.web.article_fields import read_lead, read_lines, read_litres, read_pieces, read_price
from service.web.catalogue import tell
from service.web.contexts import ArticlesPage
from service.web.forms import EMPTY, Form, FormReader, FormState, Posted
from service.web.rendering import frame_of, render
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

NAME: Final = 40


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
    name = reader.line("fluid_name", maximum=NAME)
    kind = reader.choice("fluid_kind", FluidKind, FluidKind.AUTOMATIC_TRANSMISSION_CAR)
    pack = read_litres(reader, "fluid_pack", visit.presentation)
    facts = {"specifications": read_lines(reader, "specifications"), **read_lead(reader, "fluid_lead")}
    offers = (
        []
        if pack is None
        else [
            PackOffer(litres=pack, price_minor=read_price(reader, "fluid_price", visit.organisation.currency))
        ]
    )
    reader.finish()
    add_fluid(visit.session, visit.caller, visit.now, name, kind, facts, offers)


def _add_part(visit: Visit, reader: FormReader) -> None:
    name = reader.line("part_name", maximum=NAME)
    pieces = read_pieces(reader, "part_pack")
    facts = read_lead(reader, "part_lead")
    offers = (
        []
        if pieces is None
        else [
            PackOffer(
                pieces=pieces, price_minor=read_price(reader, "part_price", visit.organisation.currency)
            )
        ]
    )
    reader.finish()
    add_part(visit.session, visit.caller, visit.now, name, facts, offers)


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
