"""What is stored of a projection is what was forecast, when it is stored first and when it takes an old one's place."""

from datetime import timedelta

import numpy as np
import pytest
from sqlmodel import select

from service.domain.zones import zone_named
from service.store import bulk
from service.store.records import FIGURES
from service.store.tables.projections import Projection
from service.usecases.due.project_due import project_due
from service.usecases.due.store_projections import store_projections
from service.usecases.fluids.recommend_exchange import recommend_exchange
from service.usecases.usage.estimate_usage import current_usage
from tests.jobs.vans import add_due_van


@pytest.fixture
def vehicle_ids(operator) -> list[int]:
    """Three vans: one overdue, with two fluids, one due soon, one due in two years."""
    for number, due_on in enumerate(("2023-06-01", "2026-06-01", "2028-05-01")):
        add_due_van(operator, f"VAN-{number}", due_on)
    axle = {"compartment": "rear axle", "kind": "axle", "total_litres": 2.0, "interval_months": 36}
    assert operator.post("/v1/vehicles/VAN-0/compartments", axle).status_code == 201
    read = [
        {"vehicle": "VAN-2", "taken_at": f"2026-04-{day:02d}T08:00:00Z", "odometer": 60 * day}
        for day in (1, 20)
    ]
    assert operator.post("/v1/readings", {"readings": read}).json()["accepted"] == 2
    return [1, 2, 3]


@pytest.mark.parametrize("copied_from", [1, 1_000])
def test_stored_projections_are_the_forecast(
    operator, database, clock, vehicle_ids, copied_from, monkeypatch
):
    monkeypatch.setattr(bulk, "COPY_FROM_ROWS", copied_from)
    organisation_id, zone = operator.organisation_id, zone_named("/time_zone", "UTC")
    for now in (clock.now(), clock.now() + timedelta(days=40)):
        with database.transaction() as session:
            store_projections(session, organisation_id, vehicle_ids, now)
        with database.snapshot() as session:
            usage = current_usage(session, organisation_id, vehicle_ids)
            said = project_due(session, organisation_id, vehicle_ids, usage, now, zone)
            rows = session.exec(select(Projection).order_by(Projection.vehicle_id)).all()
        assert [(row.vehicle_id, row.as_of) for row in rows] == [(key, now) for key in vehicle_ids]
        assert [row.odometer_q50_km for row in rows[:2]] == [None, None], "nobody read them"
        if now == clock.now():
            shown = operator.get("/v1/vehicles/VAN-2/projection").json()["odometer_km"]
            told = rows[2].odometer_q10_km, rows[2].odometer_q50_km, rows[2].odometer_q90_km
            assert told == pytest.approx((shown["p10"], shown["p50"], shown["p90"]), abs=0.1)
        figures = [np.frombuffer(row.figures, FIGURES) for row in rows]
        assert [one.size for one in figures] == [2, 1, 1]
        stored = np.concatenate(figures)
        np.testing.assert_array_equal(stored["due_on"], said.due_days)
        assert stored["limit_reached"].astype(str).tolist() == said.limit_names().tolist()
        for name, values in (
            ("overdue_probability", said.due.overdue_probability),
            ("week_probability", said.due.week_probability),
            ("limit_probability", said.probabilities_by_limit()),
        ):
            np.testing.assert_array_equal(stored[name], values.astype(np.float32))
        np.testing.assert_array_equal(stored["life_used"][:, 1], said.fluid_now.life_used.astype(np.float32))
        assert stored["litres"].tolist() == pytest.approx(recommend_exchange(said.compartments).litres)
