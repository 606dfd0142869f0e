"""Running hours in the plan of an exchange, as in the projection of the same fluid."""

from datetime import timedelta

import pytest

MONTH_DAYS = 365.25 / 12


@pytest.fixture
def engine(operator) -> str:
    """The engine of a car whose hours nobody reads; its oil lasts 48 months, or 500 hours."""
    operator.post("/v1/vehicles", {"vehicle": "CAR-1", "class": "car", "depot": "North"})
    oil = {"kind": "engine_oil_petrol", "compartment": "engine", "life_months": 48, "life_hours": 500}
    answer = operator.post("/v1/vehicles/CAR-1/compartments", oil)
    assert answer.status_code == 201, answer.text
    return answer.json()["id"]


def worn_a_day(operator, compartment: str) -> float:
    answer = operator.post("/v1/exchange-plans", {"compartment": compartment})
    assert answer.status_code == 200, answer.text
    return answer.json()["numbers"]["life_used_per_day"]


def test_hours_that_nobody_reads_wear_nothing(operator, engine):
    """The calendar is left: a forty-eighth a month (by definition)."""
    assert worn_a_day(operator, engine) == pytest.approx(1 / (48 * MONTH_DAYS), rel=1e-6)


def test_hours_that_are_read_wear_the_oil(operator, engine, clock):
    rows = [
        {
            "vehicle": "CAR-1",
            "taken_at": (clock.now() - timedelta(days=30 - 10 * step)).isoformat(),
            "odometer": 50_000 + 400 * step,
            "engine_hours": 1_000 + 10 * step,
        }
        for step in range(3)
    ]
    assert operator.post("/v1/readings", {"readings": rows}).json()["accepted"] == 3
    assert worn_a_day(operator, engine) > 1 / (48 * MONTH_DAYS) + 0.3 / 500
