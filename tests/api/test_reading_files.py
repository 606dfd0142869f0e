"""A file of readings under a key: sent again, it is answered again; sent as something else, it is refused."""

import pytest

from service.usecases.readings import import_readings
from service.usecases.readings.import_readings import CHUNK_ROWS

FILE = "vehicle,taken_at,odometer\nVAN-07,2026-04-01T07:30:00,84000\nNOBODY,2026-04-02T07:30:00,84060\n"
IN_BERLIN = "/v1/readings?time_zone=Europe/Berlin"


@pytest.fixture
def fleet(operator):
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"})
    return operator


def send(operator, path=IN_BERLIN, content=FILE):
    headers = operator.headers | {"Content-Type": "text/csv", "Idempotency-Key": "file-1"}
    return operator.client.post(path, content=content, headers=headers)


def test_a_file_that_is_sent_again_has_the_same_answer_row_by_row(fleet):
    first, again = send(fleet), send(fleet)
    assert [row["outcome"] for row in first.json()["results"]] == ["accepted", "rejected"]
    assert again.json() == first.json()
    assert again.headers["Idempotency-Replayed"] == "true"
    assert len(fleet.get("/v1/readings").json()["readings"]) == 1


def test_the_answer_to_a_long_file_is_kept_as_its_counts(fleet):
    rows = (f"VAN-07,2026-04-01T07:{n // 60:02d}:{n % 60:02d},{84000 + n / 1000}" for n in range(60))
    content = "\n".join(["vehicle,taken_at,odometer", *rows, *["NOBODY,2026-04-02T07:30:00,84060"] * 10_000])
    first, again = send(fleet, content=content), send(fleet, content=content)
    assert len(first.json()["results"]) == 10_060
    assert again.json() == first.json() | {"results": []}


@pytest.mark.parametrize("path", ["/v1/readings?time_zone=America/New_York", "/v1/readings"])
def test_the_same_file_in_another_time_zone_is_another_call(fleet, path):
    assert send(fleet).status_code == 200
    answer = send(fleet, path)
    assert answer.status_code == 422
    assert "another" in answer.json()["detail"]


@pytest.mark.parametrize("empty", ["", ",,"])
def test_empty_rows_are_passed_over_however_many_there_are(fleet, empty):
    """Sheets are saved with all the rows that somebody once touched."""
    later = "VAN-07,2026-04-03T07:30:00,84120\n"
    answer = send(fleet, content=FILE + f"{empty}\n" * (3 * CHUNK_ROWS) + later)
    rows = [(row["index"], row["outcome"]) for row in answer.json()["results"]]
    assert rows == [(0, "accepted"), (1, "rejected"), (2, "accepted")]


def test_a_file_of_hardly_anything_but_empty_rows_is_refused_before_anything_is_stored(fleet, monkeypatch):
    monkeypatch.setattr(import_readings, "MOST_EMPTY_ROWS", 1_000)
    assert send(fleet, content=FILE + "\n" * 1_000).status_code == 200
    headers = fleet.headers | {"Content-Type": "text/csv"}
    answer = fleet.client.post(IN_BERLIN, content=FILE + ",,\n" * 1_001, headers=headers)
    assert answer.status_code == 422
    assert "empty" in answer.json()["detail"]


@pytest.mark.parametrize(("top", "row"), [("", 4), ("sep=,\n", 5)])
def test_a_refused_row_is_named_by_its_place_in_the_file(fleet, top, row):
    file = f"{top}vehicle,taken_at,odometer\n\n,,\nNOBODY,2026-04-02T07:30:00,84060\n"
    (error,) = send(fleet, content=file).json()["errors"]
    assert error["pointer"] == f"row {row}"


@pytest.mark.parametrize("rest", ["", "\n\n", ",,\n"])
def test_a_file_of_a_heading_alone_is_told_so(fleet, rest):
    answer = send(fleet, content=f"vehicle,taken_at,odometer\n{rest}")
    assert answer.status_code == 422
    assert answer.json()["errors"] == [{"pointer": "row 2", "detail": "There is no row below the heading."}]
