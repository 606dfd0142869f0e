"""A small invented fleet, entered through the public door."""

from datetime import UTC, datetime, timedelta

from tests.service_fixtures import HandClock, Operator

FRIDAY = datetime(2026, 5, 1, 6, 30, tzinfo=UTC)
GEARBOX = {
    "kind": "automatic_transmission_car",
    "compartment": "gearbox",
    "total_litres": 9.0,
    "drainable_litres": 3.5,
    "interval_km": 60_000,
    "interval_months": 96,
    "last_service_on": "2024-05-01",
    "level_min_celsius": 35,
    "level_max_celsius": 45,
    "has_fluid_counter": True,
    "seals": [{"part": "drain plug washer", "pieces": 1}],
}


def fill(operator: Operator, clock: HandClock) -> None:
    """Two vans, one past its interval by distance; a truck past its months; the clock stands on a Friday."""
    clock.present = FRIDAY
    fluid = {"fluid": "Red Seven", "kind": "automatic_transmission_car", "specifications": ["Invented VII"]}
    fluid["packs"] = [{"litres": 5.0, "price_minor": 4900}, {"litres": 20.0, "price_minor": 16900}]
    answer = operator.post("/v1/fluids", fluid)
    assert answer.status_code == 201, answer.text
    for van, odometer in (("VAN-01", 79_900), ("VAN-02", 20_000)):
        _register(operator, van, "van", "North")
        gearbox = GEARBOX | {
            "fluid": "Red Seven",
            "last_service_odometer_km": 20_000 if van == "VAN-01" else 15_000,
        }
        answer = operator.post(f"/v1/vehicles/{van}/compartments", gearbox)
        assert answer.status_code == 201, answer.text
        rows = [
            {
                "vehicle": van,
                "taken_at": (FRIDAY - timedelta(days=2 + 7 * week)).isoformat(),
                "odometer": odometer - 420 * week,
            }
            for week in range(12)
        ]
        assert operator.post("/v1/readings", {"readings": rows[::-1]}).json()["accepted"] == 12
    _register(operator, "TRUCK-1", "truck", "South")
    coolant = {
        "kind": "coolant_oat",
        "compartment": "coolant",
        "interval_months": 24,
        "last_service_on": "2024-05-06",
        "last_service_odometer_km": 1000,
    }
    assert operator.post("/v1/vehicles/TRUCK-1/compartments", coolant).status_code == 201


def _register(operator: Operator, reference: str, vehicle_class: str, depot: str) -> None:
    vehicle = {"vehicle": reference, "class": vehicle_class, "depot": depot}
    assert operator.post("/v1/vehicles", vehicle).status_code == 201
