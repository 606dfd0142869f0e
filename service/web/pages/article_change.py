"""Change a fluid or a part: what it meets, how long it takes to come, in which packs it is sold and for how much."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from service.domain import plausibility
from service.domain.roles import Scope
from service.errors import ConflictError, FieldError, InvalidInputError, ServiceError
from service.store.repositories import fluids, stock_items
from service.store.tables.fluids import Fluid
from service.store.tables.parts import Part
from service.usecases.stock.register_fluids import change_fluid
from service.usecases.stock.register_parts import change_part
from service.web.article_fields import litres_of, read_lines, read_packs
from service.web.forms import EMPTY, Form, FormReader, FormState, Posted
from service.web.rendering import frame_of, render
from service.web.views.articles import article_page, article_values, pack_rows
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

ArticlePath = Annotated[str, Path(min_length=1, max_length=160)]
LEVEL_PERCENT: Final = plausibility.Bounds(
    100 * plausibility.SERVICE_LEVEL.minimum,
    100 * plausibility.SERVICE_LEVEL.maximum,
    plausibility.SERVICE_LEVEL.reason,
)


@router.get("/stock/fluids/{article}")
def get_fluid(request: Request, article: ArticlePath) -> Response:
    """Show a fluid, ready to be changed."""
    return _show(request, article, EMPTY, is_part=False)


@router.get("/stock/parts/{article}")
def get_part(request: Request, article: ArticlePath) -> Response:
    """Show a part, ready to be changed."""
    return _show(request, article, EMPTY, is_part=True)


@router.post("/stock/fluids/{article}")
def post_fluid(request: Request, article: ArticlePath, form: Form) -> Response:
    """Change a fluid."""
    return _change(request, article, form, is_part=False)


@router.post("/stock/parts/{article}")
def post_part(request: Request, article: ArticlePath, form: Form) -> Response:
    """Change a part."""
    return _change(request, article, form, is_part=True)


def _change(request: Request, article: str, form: Posted, *, is_part: bool) -> Response:
    try:
        with doing(request, form) as visit:
            visit.caller.require(Scope.PLANNING)
            item = _item(visit, article, is_part=is_part)
            _store(visit, item, FormReader(form))
            return visit.done("/stock", told="article_changed")
    except (InvalidInputError, ConflictError) as error:
        told = type(error)(error.detail, [_at_field(one) for one in error.errors])
        return _show(request, article, FormState.after(form, told), error, is_part=is_part)


def _store(visit: Visit, item: Fluid | Part, reader: FormReader) -> None:
    """Only what was typed anew: a size that is shown in gallons is not rounded by looking at it."""
    packs = stock_items.list_packs(visit.session, item.organisation_id, item)
    currency = visit.organisation.currency
    rows = pack_rows(packs, visit.presentation, currency)
    shown = article_values(item, visit.presentation)
    facts = _facts(reader, item, visit)
    names = {"lead_time_days": "lead", "lead_time_sd_days": "spread", "service_level": "level"}
    names |= {"shelf_life_days": "keeps", "tank_litres": "room", "room_pieces": "room"}
    changes = {
        column: value
        for column, value in facts.items()
        if _typed(reader, names.get(column, column)) != shown[names.get(column, column)]
    }
    kept = {row.size: pack.quantity for row, pack in zip(rows, packs, strict=False)}
    offers = read_packs(reader, visit.presentation, currency, kept, is_part=isinstance(item, Part))
    is_same = all(
        _typed(reader, f"pack-{row.number}-{name}") == text for row in rows for name, text in row.fields
    )
    reader.finish()
    store = change_part if isinstance(item, Part) else change_fluid
    if changes or not is_same:
        new = None if is_same else offers
        store(visit.session, visit.caller, visit.now, item.reference, changes, new)


def _facts(reader: FormReader, item: Fluid | Part, visit: Visit) -> dict[str, Any]:
    keeps = reader.optional_number("keeps", plausibility.SHELF_LIFE_DAYS)
    facts: dict[str, Any] = {
        "lead_time_days": reader.number("lead", plausibility.LEAD_TIME_DAYS),
        "lead_time_sd_days": reader.number("spread", plausibility.LEAD_TIME_DAYS),
        "service_level": reader.number("level", LEVEL_PERCENT) / 100.0,
        "shelf_life_days": None if keeps is None else round(keeps),
    }
    if isinstance(item, Part):
        room = reader.optional_number("room", plausibility.COUNT)
        return facts | {"room_pieces": None if room is None else round(room)}
    return facts | {
        "specifications": read_lines(reader, "specifications"),
        "tank_litres": reader.optional_number(
            "room", plausibility.ROOM_LITRES, to_base=litres_of(visit.presentation)
        ),
    }


def _typed(reader: FormReader, name: str) -> str:
    return reader.posted.text(name).replace("\r\n", "\n").strip()


def _at_field(error: FieldError) -> FieldError:
    """Point an error of a pack at its row."""
    parts = error.pointer.strip("/").split("/")
    if parts[0] != "packs":
        return error
    number = int(parts[1]) + 1 if len(parts) > 1 and parts[1].isdecimal() else 1
    name = {"price_breaks": "breaks", "price_minor": "price"}.get(parts[-1], "size")
    return FieldError(f"/pack-{number}-{name}", error.detail)


def _item(visit: Visit, article: str, *, is_part: bool) -> Fluid | Part:
    if is_part:
        return stock_items.get_part(visit.session, visit.caller.organisation_id, article)
    return fluids.get_fluid(visit.session, visit.caller.organisation_id, article)


def _show(
    request: Request, article: str, form: FormState, error: ServiceError | None = None, *, is_part: bool
) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.PLANNING)
        item = _item(visit, article, is_part=is_part)
        packs = stock_items.list_packs(visit.session, item.organisation_id, item)
        page = article_page(item, packs, visit.presentation, visit.organisation.currency, form)
        return render("article_change.html", frame_of(visit, "stock"), page, status_of(error))
