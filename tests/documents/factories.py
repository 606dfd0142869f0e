"""Invented due lists, job sheets and plans for the tests; no real fleet, product or person."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

from service.documents.models import CancelledVisit, DueLine, DueList, PartNeed, ShelfItem

PUBLISHED_AT = datetime(2026, 5, 8, 4, 0, tzinfo=UTC)
METHODS = ("drain and fill", "line exchange", "top-up")
CHANGES = ("new", "carried over", "moved")


def due_line(index: int = 0, **changes: Any) -> DueLine:
    day = date(2026, 5, 11) + timedelta(days=index % 5)
    values: dict[str, Any] = {
        "line_id": f"line-{index:05d}",
        "vehicle": f"VAN-{index:03d}",
        "depot": "Northgate",
        "compartment": "automatic transmission",
        "fluid": "Example ATF VI",
        "reason": "60 000 km since the last full exchange; limit by the maker is 60 000 km.",
        "limit": "distance",
        "due_p10_on": day - timedelta(days=9),
        "due_p50_on": day,
        "due_p90_on": day + timedelta(days=16),
        "visit_on": day,
        "visit_id": f"visit-{index:05d}",
        "method": METHODS[index % 3],
        "n_rounds": 1 + index % 3,
        "volume_litres": 4.2 + 0.1 * (index % 30),
        "bay_minutes": 75.0,
        "parts": (PartNeed(name="sealing washer", quantity=2, part_number="W-18"),),
        "change": CHANGES[index % 3],
        "first_listed_on": date(2026, 5, 8) - timedelta(days=7 * (index % 3)),
        "is_overdue": index % 7 == 3,
        "caution": "Fluid may be hotter than 100 °C." if index % 11 == 4 else "",
    }
    return DueLine(**(values | changes))


def due_list(lines: tuple[DueLine, ...] | None = None, **changes: Any) -> DueList:
    values: dict[str, Any] = {
        "organisation": "Example Haulage (invented)",
        "depot": "Northgate",
        "iso_week": "2026-W20",
        "published_at": PUBLISHED_AT,
        "calendar_domain": "sumpwise.example",
        "lines": tuple(due_line(i) for i in range(12)) if lines is None else lines,
        "litres_by_fluid": (("Example ATF VI", 57.0), ("Example gear oil 75W-90", 8.4)),
        "shelf": (
            ShelfItem(item="Example ATF VI", volume_litres=61.4, packs="13 cans of 5 litres", place="Rack B"),
            ShelfItem(item="sealing washer W-18", quantity=24, place="Drawer 3"),
        ),
        "bay_minutes": 900.0,
        "bay_minutes_available": 1200.0,
        "cancelled": (
            CancelledVisit(
                visit_id="visit-gone",
                visit_sequence=2,
                vehicle="BUS-9",
                visit_on=date(2026, 5, 12),
                reason="Done on 2026-05-07.",
            ),
        ),
        "notes": ("Due dates are estimates; the maker's schedule is never softened by them.",),
        "url": "https://sumpwise.example/weeks/2026-W20",
    }
    return DueList(**(values | changes))
