"""A large host's three thousand millionth reading is one like the others.

Reference: PostgreSQL documentation, "Numeric Types": `integer` ends at 2,147,483,647, `bigint` at
9,223,372,036,854,775,807.
"""

from datetime import timedelta

import pytest
from sqlalchemy import text

from tests.service_fixtures import START

FAR = 3_000_000_000


def post(operator, day, odometer):
    taken_at = (START - timedelta(days=day)).isoformat()
    row = {"vehicle": "VAN-1", "taken_at": taken_at, "odometer": odometer, "unit": "km"}
    answer = operator.post("/v1/readings", {"readings": [row]})
    assert answer.status_code == 200, answer.text
    return answer.json()["results"][0]["outcome"]


@pytest.fixture
def far(database, operator):
    """Four readings whose keys lie beyond what four bytes hold, the last of them held."""
    operator.post("/v1/vehicles", {"vehicle": "VAN-1", "class": "van"})
    assert post(operator, 30, 50_000) == "accepted"
    with database.transaction() as session:
        session.execute(text("UPDATE reading SET id = :far"), {"far": FAR})
        if not database.is_sqlite:
            session.execute(
                text("SELECT setval(pg_get_serial_sequence('reading', 'id'), :far)"), {"far": FAR}
            )
    assert [post(operator, day, 53_000 - 100 * day) for day in (20, 10)] == ["accepted", "accepted"]
    assert post(operator, 1, 5_290) == "held"
    return operator


def test_readings_are_listed_page_by_page(far):
    page = far.get("/v1/readings?limit=2")
    more = far.get(page.links["next"]["url"])
    ids = [row["id"] for answer in (page, more) for row in answer.json()["readings"]]
    assert ids == [f"rdg_{FAR + number}" for number in range(4)]


def test_a_held_reading_is_decided_and_its_decision_is_found(far):
    held = f"rdg_{FAR + 3}"
    answer = far.patch(f"/v1/readings/{held}", {"decision": "discard"})
    assert answer.status_code == 200, answer.text
    entries = far.get(f"/v1/audit?object_type=reading&object_number={FAR + 3}").json()["entries"]
    assert [entry["object_number"] for entry in entries] == [FAR + 3]


def test_a_number_that_no_key_reaches_is_nobody_s(far):
    assert far.patch(f"/v1/readings/rdg_{2**63}", {"decision": "discard"}).status_code == 404
