"""However readings are cut into calls, and whichever way each call is judged, the same is said of them in the end."""

from datetime import datetime, timedelta
from uuid import uuid4

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.engine.screening.outcomes import Verdict
from service.engine.screening.screen import Entries, screen_readings
from service.usecases.readings.screen_readings import OUTCOME_BY_CODE, REASON_BY_CODE
from tests.service_fixtures import START

FIRST_DAY = START - timedelta(days=900)
N_READINGS = 70
MISTAKES = ("digit added", "digit lost", "low", "high", "miles")
RENEWALS = ("cluster recorded", "cluster not recorded")
EVENTS = (*MISTAKES, *MISTAKES, *RENEWALS, "parked", "late")
RATE = 60.0
N_EXAMPLES = 12


def history(seed, events):
    """Steps of a vehicle: readings as (day, km), and recorded replacements as (day, old km, new km)."""
    rng = np.random.default_rng(seed)
    day, km, behind = 0.0, rng.uniform(5_000, 150_000), 0.0
    for number in range(N_READINGS):
        event = events.get(number)
        gap = rng.choice([1.0, 4.0, 8.0])
        day += 40.0 if event == "parked" else gap
        km += 0.0 if event == "parked" else gap * RATE * rng.uniform(0.3, 1.5)
        shown = round(km - behind, 1)
        if event in {"cluster recorded", "cluster not recorded"}:
            behind = km - round(rng.uniform(0, 900), 1)
            if event == "cluster recorded":
                yield day, shown, round(km - behind, 1)
                continue
            shown = round(km - behind, 1)
        yield day - (6.5 if event == "late" else 0.0), _mistaken(shown, event)


def _mistaken(shown, event):
    return {
        "digit added": shown * 10.0,
        "digit lost": float(round(shown) // 10),
        "low": round(shown * 0.3, 1),
        "high": shown + 80_000.0,
        "miles": round(shown / 1.609344, 1),
    }.get(event, shown)


def at(day):
    return (FIRST_DAY + timedelta(days=day)).isoformat()


def send(operator, steps, n_rows_a_call):
    """Post the steps, so many readings a call; a recorded replacement comes between two calls."""
    waiting = []

    def flush():
        if waiting:
            assert operator.post("/v1/readings", {"readings": waiting}).status_code in {200, 422}
            waiting.clear()

    operator.post("/v1/vehicles", {"vehicle": "VAN-1", "class": "van"})
    for step in steps:
        if len(step) == 2:
            waiting.append({"vehicle": "VAN-1", "taken_at": at(step[0]), "odometer": step[1]})
            if len(waiting) == n_rows_a_call:
                flush()
            continue
        flush()
        body = {"replaced_at": at(step[0]), "old_odometer": step[1], "new_odometer": step[2]}
        answer = operator.post("/v1/vehicles/VAN-1/cluster-replacements", body)
        assert answer.status_code == 201, answer.text
    flush()
    rows = operator.get("/v1/vehicles/VAN-1/readings?limit=500").json()["readings"]
    return sorted(rows, key=lambda row: (row["taken_at"], row["id"]))


def said(rows):
    return [(row["taken_at"], row["odometer"], row["outcome"], row["reason"]) for row in rows]


def screened_whole(rows):
    """What screening says of the whole history at once."""
    time = np.array(
        [(datetime.fromisoformat(row["taken_at"]) - FIRST_DAY) / timedelta(days=1) for row in rows]
    )
    entries = Entries.plain(
        time, np.array([row["odometer"] for row in rows]), np.array([0, len(rows)]), np.full(1, 45.0)
    )
    verdict = np.zeros(len(rows), dtype=np.int8)
    for place, row in enumerate(rows):
        if row["source"] == "cluster":
            is_new = row["reason"] == "cluster_replaced"
            verdict[place] = Verdict.RENEWED if is_new else Verdict.RELEASED
    values = {name: getattr(entries, name) for name in Entries.__dataclass_fields__}
    screening = screen_readings(Entries(**{**values, "verdict": verdict}))
    return [
        (OUTCOME_BY_CODE[outcome], REASON_BY_CODE[reason])
        for outcome, reason in zip(screening.outcome.tolist(), screening.reason.tolist(), strict=True)
    ]


@settings(max_examples=N_EXAMPLES, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    seed=st.integers(0, 2**32 - 1),
    renewal=st.tuples(st.integers(3, 30), st.sampled_from(RENEWALS)),
    others=st.dictionaries(st.integers(1, N_READINGS - 1), st.sampled_from(EVENTS), min_size=1, max_size=6),
    n_rows_a_call=st.sampled_from([2, 5, 13, 40, N_READINGS]),
)
def test_calls_of_any_size_end_with_the_verdicts_of_the_whole_history(
    join, seed, renewal, others, n_rows_a_call
):
    steps = list(history(seed, others | dict([renewal])))
    one_by_one = send(join(uuid4().hex), steps, 1)
    in_calls = send(join(uuid4().hex), steps, n_rows_a_call)
    assert said(in_calls) == said(one_by_one)
    judged = [(row["outcome"], row["reason"]) for row in one_by_one]
    whole = screened_whole(one_by_one)
    of_people = [row["source"] == "cluster" for row in one_by_one]
    assert [one for one, is_fixed in zip(judged, of_people, strict=True) if not is_fixed] == [
        one for one, is_fixed in zip(whole, of_people, strict=True) if not is_fixed
    ]
