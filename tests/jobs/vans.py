"""A vehicle whose due date is certain, for tests of when lists come out."""

from datetime import date

from tests.service_fixtures import Operator


def add_due_van(operator: Operator, name: str, due: str) -> None:
    """Add a van whose brake fluid is due on a day, 24 months after its last change."""
    day = date.fromisoformat(due)
    assert operator.post("/v1/vehicles", {"vehicle": name, "class": "van"}).status_code == 201
    body = {
        "kind": "brake_fluid",
        "compartment": "brakes",
        "interval_months": 24,
        "last_service_on": day.replace(year=day.year - 2).isoformat(),
    }
    assert operator.post(f"/v1/vehicles/{name}/compartments", body).status_code == 201
