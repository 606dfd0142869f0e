"""What is doubtful about a compartment, said where it is shown or changed."""

from collections.abc import Sequence

from service.documents.presentation import Presentation
from service.usecases.fluids.own_ageing import EarlyWear
from service.usecases.fluids.told_meters import ShownLess
from service.web.catalogue import translate


def early_wear_words(found: Sequence[EarlyWear], presentation: Presentation) -> tuple[str, ...]:
    """Say where a fluid is taken to wear out before its interval ends, and which field of its form may change it."""
    return tuple(
        translate(
            "early_wear",
            lasts=_amount(one.lasts, presentation, is_distance=one.name == "life_km"),
            interval=_amount(one.interval, presentation, is_distance=one.name == "life_km"),
            field=translate(f"compartment_{one.name}", unit=presentation.distance_unit),
        )
        for one in found
    )


def shown_less_words(found: Sequence[ShownLess], presentation: Presentation) -> tuple[str, ...]:
    """Say which reading speaks against the meter as it was told of the last service."""
    return tuple(
        translate(
            "shown_less",
            told=_amount(one.told, presentation, is_distance=one.field == "last_service_odometer_km"),
            day=presentation.day(one.on),
            shown=_amount(one.shown, presentation, is_distance=one.field == "last_service_odometer_km"),
            readings=translate("readings_title"),
        )
        for one in found
    )


def _amount(value: float, presentation: Presentation, *, is_distance: bool) -> str:
    return presentation.distance(value) if is_distance else translate("hours", n=presentation.number(value))
