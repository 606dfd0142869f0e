"""What is stored of a projection is what was forecast, when it is stored first and when it takes an old one's place."""

from datetime import timedelta

import numpy as np
import pytest
from sqlmodel import select

from service.domain.zones import zone_named
from service.store import bulk
from service.store.tables.projections import Projection
from service.usecases.due.project_due import project_due
from service.usecases.due.store_projections import store_projections
from service.usecases.usage.estimate_usage import current_usage
from tests.jobs.vans import add_due_van


@pytest.fixture
def vehicle_ids(operator) -> list[int]:
    """Three vans: one overdue, one due soon, one due in two years."""
    for number, due_on in enumerate(("2023-06-01", "2026-06-01", "2028-05-01")):
        add_due_van(operator, f"VAN-{number}", due_on)
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
            rows = session.exec(select(Projection).order_by(Projection.compartment_id)).all()
        assert [row.compartment_id for row in rows] == said.compartments["id"]
        assert [row.as_of for row in rows] == [now] * len(said)
        assert [(row.due_q10_on, row.due_q50_on, row.due_q90_on) for row in rows] == [
            said.due_dates_of(place) for place in range(len(said))
        ]
        assert [row.limit_reached for row in rows] == said.limit_names().tolist()
        assert [row.overdue_probability for row in rows] == said.due.overdue_probability.tolist()
        assert [row.life_used_q50 for row in rows] == said.fluid_now.life_used.tolist()
        for stored, probability in (
            ("week_probabilities", said.due.week_probability),
            ("limit_probabilities", said.probabilities_by_limit()),
        ):
            written = [np.frombuffer(getattr(row, stored), np.float32) for row in rows]
            np.testing.assert_array_equal(np.array(written), probability.astype(np.float32))
