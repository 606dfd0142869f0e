"""Invented histories for the charts; no real fleet."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any

from service.web.charts.models import (
    CoverageAtHorizon,
    CoverageChart,
    DistanceLimit,
    FanPoint,
    LifePoint,
    LifeUsedChart,
    OdometerChart,
    OdometerReading,
    SampleMark,
    ServiceMark,
    StockChart,
    StockWeek,
)

TODAY = date(2026, 5, 8)
START = datetime(2025, 5, 8, 7, 30, tzinfo=UTC)


def odometer_chart(n_readings: int = 52, **changes: Any) -> OdometerChart:
    step = timedelta(days=365) / max(n_readings - 1, 1)
    readings = [
        OdometerReading(
            taken_at=START + i * step, odometer_km=40_000.0 + 44_000.0 * i / n_readings + 300 * (i % 3)
        )
        for i in range(n_readings)
    ]
    readings.append(
        OdometerReading(taken_at=START + timedelta(days=200), odometer_km=6_480.0 + 50_000, is_held=True)
    )
    readings.append(OdometerReading(taken_at=START + timedelta(days=290), odometer_km=91_000.0, is_held=True))
    fan = tuple(
        FanPoint(
            on=TODAY + timedelta(days=7 * week),
            p10=84_000.0 + 700.0 * week,
            p50=84_000.0 + 850.0 * week,
            p90=84_000.0 + 1_010.0 * week,
        )
        for week in range(26)
    )
    values: dict[str, Any] = {
        "chart_id": "odometer",
        "vehicle": "VAN-007",
        "today": TODAY,
        "readings": tuple(readings),
        "fan": fan,
        "limits": (
            DistanceLimit(
                label="transmission fluid due",
                odometer_km=100_000.0,
                due_p10_on=date(2026, 8, 27),
                due_p50_on=date(2026, 9, 17),
                due_p90_on=date(2026, 10, 15),
            ),
            DistanceLimit(label="engine", odometer_km=101_500.0),
            DistanceLimit(label="rear axle", odometer_km=103_000.0),
        ),
    }
    return OdometerChart(**(values | changes))


def life_used_chart(n_points: int = 100, **changes: Any) -> LifeUsedChart:
    history: list[LifePoint] = []
    life, n_cuts = 0.15, 0
    for i in range(n_points):
        at = START + timedelta(days=365 * i / n_points)
        if life > 0.95:
            history.append(LifePoint(at=at, life_used_fraction=life))
            life, n_cuts = 0.25, n_cuts + 1
        history.append(LifePoint(at=at, life_used_fraction=life))
        life += 1.5 / n_points
    cuts = [a.at.date() for a, b in pairwise(history) if b.life_used_fraction < a.life_used_fraction]
    last = history[-1].life_used_fraction
    projection = tuple(
        FanPoint(
            on=TODAY + timedelta(days=7 * week),
            p10=last + 0.020 * week,
            p50=last + 0.026 * week,
            p90=last + 0.034 * week,
        )
        for week in range(26)
    )
    values: dict[str, Any] = {
        "chart_id": "life",
        "vehicle": "VAN-007",
        "compartment": "automatic transmission",
        "today": TODAY,
        "history": tuple(history),
        "services": tuple(ServiceMark(on=day, label="3 rounds") for day in cuts),
        "samples": (
            SampleMark(
                on=date(2025, 9, 20),
                life_used_fraction=0.6,
                low_fraction=0.45,
                high_fraction=0.8,
                label="grade 2",
            ),
            SampleMark(on=date(2026, 3, 15), life_used_fraction=0.52, low_fraction=0.4, high_fraction=0.66),
        ),
        "projection": projection,
    }
    return LifeUsedChart(**(values | changes))


def stock_chart(n_weeks: int = 12, **changes: Any) -> StockChart:
    weeks = []
    stock = 60.0
    for i in range(n_weeks):
        stock -= 11.0
        receipt = 60.0 if i == 7 else 0.0
        stock += receipt
        monday = date(2026, 5, 11) + timedelta(weeks=i)
        year, number, _ = monday.isocalendar()
        weeks.append(
            StockWeek(
                iso_week=f"{year}-W{number:02d}",
                p10_litres=stock - 3.0 * (i + 1),
                p50_litres=stock,
                p90_litres=stock + 3.0 * (i + 1),
                receipt_litres=receipt,
                is_order_by=i == 5,
                run_out_probability=0.4 if i in (5, 6) else 0.01,
                is_running_out=i in (5, 6),
            )
        )
    values: dict[str, Any] = {"chart_id": "stock", "fluid": "Example ATF VI", "weeks": tuple(weeks)}
    return StockChart(**(values | changes))


def coverage_chart(**changes: Any) -> CoverageChart:
    horizons = tuple(
        CoverageAtHorizon(
            horizon=f"{w} weeks",
            n_forecasts=400 // w,
            covered_fraction=c,
            low_fraction=c - 0.02 * w**0.5,
            high_fraction=c + 0.02 * w**0.5,
        )
        for w, c in ((1, 0.83), (2, 0.81), (4, 0.8), (8, 0.77), (13, 0.71), (26, 0.74))
    )
    values: dict[str, Any] = {"chart_id": "coverage", "nominal_fraction": 0.8, "horizons": horizons}
    return CoverageChart(**(values | changes))
