"""A fluid that is taken to wear out before its interval ends, said where its compartment is shown or changed."""

from collections.abc import Sequence

from service.documents.presentation import Presentation
from service.usecases.fluids.own_ageing import EarlyWear
from service.web.catalogue import translate


def early_wear_words(found: Sequence[EarlyWear], presentation: Presentation) -> tuple[str, ...]:
    """Say where a fluid is taken to wear out before its interval ends, and which field of its form may change it."""

    def amount(name: str, value: float) -> str:
        is_distance = name == "life_km"
        return (
            presentation.distance(value) if is_distance else translate("hours", n=presentation.number(value))
        )

    return tuple(
        translate(
            "early_wear",
            lasts=amount(one.name, one.lasts),
            interval=amount(one.name, one.interval),
            field=translate(f"compartment_{one.name}", unit=presentation.distance_unit),
        )
        for one in found
    )
