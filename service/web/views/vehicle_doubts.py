"""What is to be looked at again about a vehicle, in words."""

from collections.abc import Iterator, Sequence
from zoneinfo import ZoneInfo

from service.documents.presentation import Presentation
from service.store.tables.readings import Reading
from service.usecases.readings.unit_changes import unit_change
from service.web.catalogue import translate


def vehicle_doubts(
    same_vin: Sequence[str], readings: Sequence[Reading], presentation: Presentation, zone: ZoneInfo
) -> Iterator[str]:
    """Tell of a number on its plate that others have too, and of an odometer that counts on in the other unit."""
    if same_vin:
        yield translate("same_vin", vehicles=", ".join(same_vin))
    change = unit_change(readings)
    if change is not None:
        yield translate(
            "unit_doubt",
            day=presentation.day(change.reading.taken_at.astimezone(zone).date()),
            told=translate(f"unit_{change.told}"),
            before=translate(f"unit_{change.before}"),
            readings=translate("readings_title"),
        )
