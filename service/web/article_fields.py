"""Reading what is typed about a fluid or a part: specifications, lead times, packs and their prices."""

import re
from collections.abc import Callable, Mapping
from typing import Any, Final

from service.documents.presentation import Presentation
from service.domain import plausibility, texts
from service.domain.money import minor_from_major
from service.errors import InvalidInputError
from service.usecases.stock.offer_packs import PackOffer
from service.web.forms import FormReader

MOST_SPECIFICATIONS: Final = 30
MOST_PACKS: Final = 12
_BREAK: Final = re.compile(r"\s*(\d{1,5})\s*[:=]\s*([\d.,\s]+?)\s*")


def read_lead(reader: FormReader, name: str) -> dict[str, Any]:
    """Days until an order comes, if somebody typed them."""
    days = reader.optional_number(name, plausibility.LEAD_TIME_DAYS)
    return {} if days is None else {"lead_time_days": days}


def read_price(reader: FormReader, name: str, currency: str) -> int | None:
    """Price in the smallest unit of the currency."""
    price = reader.optional_number(
        name,
        plausibility.PRICE_MINOR,
        to_base=lambda typed: minor_from_major(f"/{name}", typed, currency),
    )
    return None if price is None else round(price)


def read_lines(reader: FormReader, name: str) -> list[str]:
    """Specifications, one a line."""
    lines = [line for line in reader.posted.text(name).splitlines() if line.strip()]
    if len(lines) > MOST_SPECIFICATIONS:
        reader.refuse(name, "These are too many.")
    try:
        return [texts.clean_line(f"/{name}", line, maximum=80) for line in lines[:MOST_SPECIFICATIONS]]
    except InvalidInputError as error:
        reader.errors.extend(error.errors)
        return []


def read_pieces(reader: FormReader, name: str) -> int | None:
    """Pieces in a pack."""
    pieces = reader.optional_number(name, plausibility.COUNT)
    if pieces is None:
        return None
    if not pieces.is_integer() or pieces < 1:
        reader.refuse(name, "Parts are counted in whole pieces.")
    return max(round(pieces), 1)


def read_litres(reader: FormReader, name: str, presentation: Presentation) -> float | None:
    """Litres in a pack, typed in the organisation's unit."""
    return reader.optional_number(name, plausibility.PACK_LITRES, to_base=litres_of(presentation))


def litres_of(presentation: Presentation) -> Callable[[float], float]:
    """Turn what is typed in the organisation's unit into litres."""
    litres_a_unit = 1.0 / presentation.volume_value(1.0)
    return lambda typed: typed * litres_a_unit


def read_packs(
    reader: FormReader, presentation: Presentation, currency: str, kept: Mapping[str, float], *, is_part: bool
) -> list[PackOffer]:
    """Rows of packs whose size is filled in; a size that reads as it was shown is the one that was kept."""
    offers = []
    for row in range(1, MOST_PACKS + 1):
        size = f"pack-{row}-size"
        typed = reader.posted.text(size).strip()
        if not typed:
            continue
        litres = None if is_part else kept.get(typed) or read_litres(reader, size, presentation)
        smallest = reader.optional_number(f"pack-{row}-minimum", plausibility.MINIMUM_PACKS)
        offers.append(
            PackOffer(
                litres=litres,
                pieces=read_pieces(reader, size) if is_part else None,
                price_minor=read_price(reader, f"pack-{row}-price", currency),
                minimum_packs=round(smallest or 1),
                price_breaks=_breaks(reader, f"pack-{row}-breaks", currency),
            )
        )
    return offers


def _breaks(reader: FormReader, name: str, currency: str) -> tuple[tuple[int, int], ...]:
    """Lower prices for more packs, as in 10: 45.00; 20: 42.50."""
    found = []
    for part in filter(str.strip, reader.posted.text(name)[:200].split(";")):
        matched = _BREAK.fullmatch(part)
        price = None if matched is None else _money(matched[2], currency)
        if matched is None or price is None:
            reader.refuse(
                name, "Write from how many packs on and the price, for instance 10: 45.00; 20: 42.50."
            )
            return ()
        found.append((int(matched[1]), price))
    return tuple(found)


def _money(text: str, currency: str) -> int | None:
    try:
        return minor_from_major("", float(text.replace(" ", "").replace(",", ".")), currency)
    except (ValueError, InvalidInputError):
        return None
