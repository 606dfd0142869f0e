"""A fluid or a part with its packs, ready to be changed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.documents.presentation import Presentation
from service.domain.external_ids import IdKind, format_id
from service.domain.money import minor_per_major, money_decimals
from service.store.tables.fluids import Fluid, Pack
from service.store.tables.parts import Part
from service.web.article_fields import MOST_PACKS
from service.web.forms import FormState

EMPTY_ROWS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class PackRow:
    """One pack as its fields read."""

    number: int
    size: str = ""
    price: str = ""
    minimum: str = ""
    breaks: str = ""

    @property
    def fields(self) -> tuple[tuple[str, str], ...]:
        """Every field by its name."""
        return (
            ("size", self.size),
            ("price", self.price),
            ("minimum", self.minimum),
            ("breaks", self.breaks),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ArticlePage:
    """The whole page."""

    name: str
    is_part: bool
    path: str
    values: Mapping[str, str]
    packs: tuple[PackRow, ...]
    volume_unit: str
    currency: str
    form: FormState


def article_page(
    item: Fluid | Part, packs: Sequence[Pack], presentation: Presentation, currency: str, form: FormState
) -> ArticlePage:
    """Fill the page."""
    is_part = isinstance(item, Part)
    key = format_id(IdKind.PART if is_part else IdKind.FLUID, item.id)
    return ArticlePage(
        name=item.reference,
        is_part=is_part,
        path=f"/stock/{'parts' if is_part else 'fluids'}/{key}",
        values=article_values(item, presentation),
        packs=pack_rows(packs, presentation, currency),
        volume_unit=presentation.volume_unit,
        currency=currency,
        form=form,
    )


def article_values(item: Fluid | Part, presentation: Presentation) -> dict[str, str]:
    """What the fields show."""
    room: float | None = item.room_pieces if isinstance(item, Part) else item.tank_litres
    if room is not None and not isinstance(item, Part):
        room = presentation.volume_value(room)
    return {
        "lead": f"{item.lead_time_days:g}",
        "spread": f"{item.lead_time_sd_days:g}",
        "level": f"{100.0 * item.service_level:.6g}",
        "keeps": "" if item.shelf_life_days is None else str(item.shelf_life_days),
        "room": "" if room is None else f"{room:.10g}",
        "specifications": "" if isinstance(item, Part) else "\n".join(item.specifications),
    }


def pack_rows(packs: Sequence[Pack], presentation: Presentation, currency: str) -> tuple[PackRow, ...]:
    """The packs that are known, and empty rows for others."""
    known = [_row(number, pack, presentation, currency) for number, pack in enumerate(packs, start=1)]
    n_rows = min(len(known) + EMPTY_ROWS, MOST_PACKS)
    return (*known, *(PackRow(number=number) for number in range(len(known) + 1, n_rows + 1)))


def _row(number: int, pack: Pack, presentation: Presentation, currency: str) -> PackRow:
    size = pack.quantity if pack.part_id is not None else presentation.volume_value(pack.quantity)
    return PackRow(
        number=number,
        size=f"{size:.6g}",
        price="" if pack.price_minor is None else _typed(pack.price_minor, currency),
        minimum=str(pack.minimum_packs),
        breaks="; ".join(
            f"{one['from_packs']}: {_typed(one['price_minor'], currency)}" for one in pack.price_breaks
        ),
    )


def _typed(minor: int, currency: str) -> str:
    """A price as it is typed."""
    return f"{minor / minor_per_major(currency):.{money_decimals(currency)}f}"
