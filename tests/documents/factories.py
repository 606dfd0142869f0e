"""Invented due lists, job sheets and plans for the tests; no real fleet, product or person."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

from service.documents.models import (
    CancelledVisit,
    CountLine,
    CountSheet,
    DueLine,
    DueList,
    JobCompartment,
    JobSheet,
    OrderLine,
    OrderPlan,
    PartNeed,
    RoundPlan,
    ShelfItem,
    UsedFluidLabel,
    WorkStep,
)

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
        "work_minutes": 75.0,
        "parts": (PartNeed(name="sealing washer W-18", quantity=2),),
        "change": CHANGES[index % 3],
        "first_listed_on": date(2026, 5, 8) - timedelta(days=7 * (index % 3)),
        "is_overdue": index % 7 == 3,
        "caution": "Fluid may be hotter than 100 °C." if index % 11 == 4 else "",
    }
    return DueLine(**(values | changes))


def due_list(lines: tuple[DueLine, ...] | None = None, **changes: Any) -> DueList:
    values: dict[str, Any] = {
        "organisation": "Example Haulage (invented)",
        "iso_week": "2026-W20",
        "published_at": PUBLISHED_AT,
        "calendar_domain": "sumpwise.example",
        "lines": tuple(due_line(i) for i in range(12)) if lines is None else lines,
        "litres_by_fluid": (("Example ATF VI", 57.0), ("Example gear oil 75W-90", 8.4)),
        "shelf": (
            ShelfItem(item="Example ATF VI", volume_litres=61.4),
            ShelfItem(item="sealing washer W-18", quantity=24),
        ),
        "bay_minutes": 900.0,
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


def job_compartment(**changes: Any) -> JobCompartment:
    values: dict[str, Any] = {
        "compartment": "Automatic transmission",
        "reason": "60 000 km since the last full exchange",
        "specification_required": "Example specification T-IV (invented)",
        "fluid": "Example ATF VI",
        "fluid_meets": "Example specification T-IV, by its label",
        "method": "drain and fill",
        "rounds": (
            RoundPlan(drain_litres=3.94, fill_litres=3.94, fresh_share_after_fraction=0.44),
            RoundPlan(drain_litres=3.94, fill_litres=3.94, fresh_share_after_fraction=0.69),
            RoundPlan(drain_litres=3.94, fill_litres=4.12, fresh_share_after_fraction=0.82),
        ),
        "steps": (
            WorkStep(text="Level ground, brakes applied, wheels chocked.", caution="Never a jack alone."),
            WorkStep(text="Open the fill plug.", caution="If it does not open, do not drain."),
            WorkStep(text="Drain, measure and write down.", caution="Hot: gloves and eye protection."),
            WorkStep(text="Renew the seal and close the drain plug."),
            WorkStep(text="Fill, measure and write down; cycle the selector with both brakes held."),
            WorkStep(text="Set the level inside the temperature window and catch the excess."),
        ),
        "total_litres": 9.0,
        "drainable_litres": 3.94,
        "drained_celsius": 40.0,
        "filled_celsius": 20.0,
        "excess_expected_litres": 0.18,
        "level_low_celsius": 35.0,
        "level_high_celsius": 45.0,
        "parts": (PartNeed(name="sealing washer W-18", quantity=2),),
        "torques": ("Drain plug", "Fill plug"),
        "has_fluid_counter": True,
        "life_used_before_fraction": 0.93,
        "grades": ("clear red", "reddish brown", "brown", "dark brown", "black, burnt", "milky"),
    }
    return JobCompartment(**(values | changes))


def job_sheet(**changes: Any) -> JobSheet:
    values: dict[str, Any] = {
        "organisation": "Example Haulage (invented)",
        "vehicle": "VAN-007",
        "visit_on": date(2026, 5, 11),
        "printed_at": PUBLISHED_AT,
        "record_url": "https://sumpwise.example/jobs/7f3a",
        "facts": (
            ("Registration", "EX 07 AMP"),
            ("Make and model", "Example van"),
            ("Duty", "city delivery"),
        ),
        "cautions": (
            "The program advises; the maker's procedure and a qualified technician decide.",
            "Stop and refer if you find metal flakes, friction lumps or milky fluid.",
        ),
        "compartments": (job_compartment(),),
        "depot": "Northgate",
        "odometer_km": 123456.0,
    }
    return JobSheet(**(values | changes))


def order_line(index: int = 0, **changes: Any) -> OrderLine:
    values: dict[str, Any] = {
        "item": f"Example fluid {index}",
        "pack": "can of 5 litres",
        "n_packs": 3 + index,
        "order_by_on": date(2026, 5, 13) + timedelta(days=index),
        "why": "The week of 2026-W22 needs 21 litres in 9 of 10 cases; 8 litres are on hand.",
        "volume_litres": 5.0 * (3 + index),
        "arrives_on": date(2026, 5, 18) + timedelta(days=index),
        "cost_minor": 12990 + index,
        "if_not_ordered": "Two visits of that week would have to wait.",
    }
    return OrderLine(**(values | changes))


def order_plan(lines: tuple[OrderLine, ...] | None = None, **changes: Any) -> OrderPlan:
    values: dict[str, Any] = {
        "organisation": "Example Haulage (invented)",
        "planned_at": PUBLISHED_AT,
        "n_weeks": 12,
        "lines": tuple(order_line(i) for i in range(5)) if lines is None else lines,
        "currency": "EUR",
        "notes": ("Prices as entered by the workshop.",),
    }
    return OrderPlan(**(values | changes))


def count_sheet(**changes: Any) -> CountSheet:
    values: dict[str, Any] = {
        "organisation": "Example Haulage (invented)",
        "printed_at": PUBLISHED_AT,
        "record_url": "https://sumpwise.example/stock",
        "lines": (
            CountLine(item="Example ATF VI", unit="litres"),
            CountLine(item="sealing washer W-18", unit="pieces"),
        ),
    }
    return CountSheet(**(values | changes))


def used_fluid_label(**changes: Any) -> UsedFluidLabel:
    values: dict[str, Any] = {
        "required_words": "Used Oil",
        "stream": "Gear and transmission oil",
        "depot": "Northgate",
        "organisation": "Example Haulage (invented)",
        "waste_codes": ("13 02 05*", "13 02 06*"),
        "capacity_litres": 205.0,
        "opened_on": date(2026, 5, 4),
        "never_with": "Brake fluid, coolant or solvent.",
        "handling": ("Keep closed.",),
    }
    return UsedFluidLabel(**(values | changes))
