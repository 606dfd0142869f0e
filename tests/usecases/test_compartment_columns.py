"""Columns read below the object layer hold what the object layer says, on both stores."""

from datetime import timedelta

import numpy as np
import pytest
from sqlmodel import select

from service.store.records import FLUID
from service.store.repositories import projections
from service.store.tables.projections import CompartmentState
from service.store.tables.vehicles import Compartment, Vehicle
from service.usecases.fluids.update_states import state_rows
from tests.service_fixtures import START


@pytest.fixture
def vehicle_ids(operator) -> list[int]:
    """Two vans: one whose fluid was sampled and is to be changed again, one of which nothing is known."""
    keys = []
    for name in ("VAN-1", "VAN-2"):
        made = operator.post("/v1/vehicles", {"vehicle": name, "class": "van"})
        keys.append(int(made.json()["id"].split("_")[1]))
    gearbox = {
        "compartment": "gearbox",
        "kind": "automatic_transmission_car",
        "total_litres": 9.0,
        "last_service_on": "2024-05-01",
        "seals": [{"part": "drain plug washer", "pieces": 1}],
    }
    made = operator.post("/v1/vehicles/VAN-1/compartments", gearbox)
    assert made.status_code == 201, made.text
    brakes = {"compartment": "brakes", "kind": "brake_fluid", "total_litres": 1.0}
    assert operator.post("/v1/vehicles/VAN-2/compartments", brakes).status_code == 201
    path = f"/v1/compartments/{made.json()['id']}"
    returning = operator.post(f"{path}/return-visits", {"rounds": 2, "after_days": 30})
    assert returning.status_code == 201, returning.text
    sample = {
        "compartment": made.json()["id"],
        "taken_at": (START - timedelta(days=3)).isoformat(),
        "grade": "milky",
    }
    assert operator.post("/v1/samples", sample).status_code == 201
    return keys


@pytest.mark.parametrize(
    "wanted", [projections.COMPARTMENT_COLUMNS, projections.PLANNED_COLUMNS, projections.PROJECTED_COLUMNS]
)
def test_columns_hold_what_the_objects_say(operator, database, vehicle_ids, wanted):
    with database.snapshot() as session:
        columns = projections.read_compartments(session, operator.organisation_id, vehicle_ids, wanted)
        rows = session.exec(
            select(Compartment, CompartmentState, Vehicle)
            .join(CompartmentState, CompartmentState.compartment_id == Compartment.id)
            .join(Vehicle, Vehicle.id == Compartment.vehicle_id)
            .order_by(Compartment.id)
        ).all()
    assert {len(values) for values in columns.values()} == {2}
    assert len(columns) == len(wanted) - 1 + len(FLUID.names)
    stored = np.frombuffer(b"".join(row[1].fluid for row in rows), FLUID)
    for name in FLUID.names:
        np.testing.assert_array_equal(columns[name], stored[name])
    for column in (one for one in wanted if one is not CompartmentState.fluid):
        place = [Compartment, CompartmentState, Vehicle].index(column.class_)
        said = [getattr(row[place], column.key) for row in rows]
        assert columns[column.key] == said
        assert list(map(type, columns[column.key])) == list(map(type, said))
    if wanted is projections.COMPARTMENT_COLUMNS:
        assert columns["is_contaminated"] == [True, False]
        assert columns["return_rounds"] == [2, None]


def test_what_was_stored_is_read_and_nonsense_is_refused(operator, database, vehicle_ids):
    """What was followed from the events is what is read of the record."""
    with database.transaction() as session:
        rows = state_rows(session, operator.organisation_id, vehicle_ids)
        columns = {name: [row[name] for row in rows] for name in rows[0]}
        projections.put_states(session, columns)
        read = projections.read_compartments(session, operator.organisation_id, vehicle_ids)
        for name in FLUID.names:
            np.testing.assert_array_equal(read[name], np.array(columns[name], np.float64))
        latest = projections.last_events(session, operator.organisation_id, vehicle_ids, 0.0)
        assert latest == dict(zip(columns["vehicle_id"], columns["as_of_days"], strict=True))
        for nonsense in (-0.1, float("nan")):
            with pytest.raises(ValueError, match="less than nothing"):
                projections.put_states(session, {**columns, "life_used": [nonsense] * len(rows)})
