"""A fluid that is taken to wear out before its interval ends, said where its compartment is shown or changed."""

from collections.abc import Sequence

from service.documents.presentation import Presentation
from service.store.tables.readings import Reading
from service.store.tables.vehicles import Compartment
from service.usecases.fluids.own_ageing import EarlyWear, early_wear
from service.web.catalogue import translate


def early_wear_that_counts(compartment: Compartment, readings: Sequence[Reading]) -> list[EarlyWear]:
    """Where a fluid wears out early; running hours wear nothing out on a vehicle whose odometer alone is read."""
    reads_hours = not readings or any(row.engine_hours is not None for row in readings)
    return [one for one in early_wear(compartment) if reads_hours or one.name != "life_hours"]


def early_wear_words(
    compartment: Compartment, presentation: Presentation, readings: Sequence[Reading]
) -> tuple[str, ...]:
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
        for one in early_wear_that_counts(compartment, readings)
    )
