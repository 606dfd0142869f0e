"""Judging the end of a long history gives what judging all of it gives, and does not cost what all of it costs."""

from datetime import timedelta

import numpy as np
import pytest
from sqlalchemy import insert

from service.store.tables.readings import Reading
from service.usecases.readings import reading_windows
from service.usecases.readings.reading_windows import load_readings
from service.usecases.usage.engine_time import days_of
from tests.service_fixtures import START

FIRST_DAY = START - timedelta(days=600)


def send(operator, rows):
    body = [
        {
            "vehicle": "VAN-1",
            "taken_at": (FIRST_DAY + timedelta(days=day)).isoformat(),
            "odometer": round(km, 1),
        }
        | ({} if reference is None else {"reference": reference})
        for day, km, reference in rows
    ]
    return operator.post("/v1/readings", {"readings": body}).json()["results"]


def entries(seed):
    """Two years of readings every few days with mistakes, a late one and a cluster that is replaced."""
    rng = np.random.default_rng(seed)
    days = np.cumsum(rng.uniform(1.0, 6.0, 120))
    km = 30_000.0 + np.cumsum(np.diff(days, prepend=0.0) * rng.uniform(20.0, 90.0, days.size))
    shown = np.where(days > days[70], km - km[70] + 15.0, km)
    for place in rng.choice(np.arange(5, 115), 8, replace=False):
        shown[place] = rng.choice([shown[place] * 10.0, shown[place] / 10.0, 1234.0, shown[place] - 5_000.0])
    rows = list(zip(days.tolist(), np.maximum(shown, 0.0).tolist(), [None] * days.size, strict=True))
    rows[90], rows[93] = rows[93], rows[90]
    return rows


@pytest.mark.parametrize("seed", [1, 2])
def test_outcomes_and_continued_odometers_do_not_depend_on_the_window(join, monkeypatch, seed):
    told = []
    for name, long_history in (("whole", 10_000), ("window", 30)):
        monkeypatch.setattr(reading_windows, "LONG_HISTORY", long_history)
        monkeypatch.setattr(reading_windows, "WINDOW_READINGS", 20)
        operator = join(name)
        operator.post("/v1/vehicles", {"vehicle": "VAN-1", "class": "van"})
        rows = entries(seed)
        for start in range(0, len(rows), 6):
            send(operator, rows[start : start + 6])
        kept = operator.get("/v1/vehicles/VAN-1/readings?limit=500").json()["readings"]
        told.append([(row["taken_at"], row["outcome"], row["used_km"]) for row in kept])
    whole, window = told
    assert [row[:2] for row in whole] == [row[:2] for row in window]
    np.testing.assert_allclose(
        np.array([row[2] for row in whole], dtype=np.float64),
        np.array([row[2] for row in window], dtype=np.float64),
        atol=1e-5,
    )
    assert {row[1] for row in whole} == {"accepted", "held"}


def test_a_repeat_of_something_before_the_window_is_known_by_its_reference(operator, monkeypatch):
    monkeypatch.setattr(reading_windows, "LONG_HISTORY", 30)
    monkeypatch.setattr(reading_windows, "WINDOW_READINGS", 10)
    operator.post("/v1/vehicles", {"vehicle": "VAN-1", "class": "van"})
    send(operator, [(day, 50_000.0 + 60.0 * day, f"r{day}") for day in range(60)])
    again = send(operator, [(61, 53_660.0, "r61"), (62, 53_720.0, "r3")])
    assert [row["reason"] for row in again] == [None, "reference_reused"]


def test_a_vehicle_that_reports_all_day_is_judged_by_the_end_of_its_history(operator, database, clock):
    """A hundred thousand readings, one every five minutes: a new batch loads a few hundred of them."""
    operator.post("/v1/vehicles", {"vehicle": "VAN-1", "class": "van"})
    n_readings = 100_000
    first = START - timedelta(minutes=5 * (n_readings + 400))
    with database.transaction() as session:
        for begin in range(0, n_readings, 10_000):
            session.execute(
                insert(Reading),
                [
                    {
                        "organisation_id": operator.organisation_id,
                        "vehicle_id": 1,
                        "taken_at": first + timedelta(minutes=5 * place),
                        "odometer": 9_000.0 + place * 0.2,
                        "odometer_km": 9_000.0 + place * 0.2,
                        "used_km": 9_000.0 + place * 0.2,
                        "outcome": "accepted",
                        "received_at": first + timedelta(minutes=5 * place),
                    }
                    for place in range(begin, begin + 10_000)
                ],
            )
    at = first + timedelta(minutes=5 * n_readings)
    with database.snapshot() as session:
        loaded = load_readings(session, operator.organisation_id, {1: at})
    assert len(loaded.rows) == reading_windows.WINDOW_READINGS
    assert loaded.starts[1].first_days == pytest.approx(days_of(first))
    body = [
        {
            "vehicle": "VAN-1",
            "taken_at": (at + timedelta(minutes=5 * place)).isoformat(),
            "odometer": 290_000.0 if place == 150 else 29_000.0 + 0.2 * place,
        }
        for place in range(300)
    ]
    answer = operator.post("/v1/readings", {"readings": body}).json()
    assert (answer["accepted"], answer["held"]) == (299, 1)
