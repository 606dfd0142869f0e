"""What people say of a machine's values: right, wrong, or the first of a meter that counts anew.

The figures are invented; what follows of each decision is plain addition.
"""

import pytest

from tests.api.test_machine_sources import link, meter_of, readings_of, send, source

__all__ = ["source"]
MAY = "2026-05-{:02d}T07:00:00Z"


def values_of(operator, source):
    (machine,) = operator.get(f"/v1/machine-sources/{source}/equipment").json()["equipment"]
    path = f"/v1/machine-sources/{source}/equipment/{machine['id']}/values"
    return path, operator.get(path).json()["values"]


def decide(operator, source, number, decision):
    """Decide on the value with this number."""
    path, values = values_of(operator, source)
    (value,) = [one for one in values if one["value"] == number]
    answer = operator.patch(f"{path}/{value['id']}", {"decision": decision})
    assert answer.status_code == 200, answer.text
    return answer.json()


def outcomes(operator, source):
    return [(one["value"], one["outcome"], one["reason"]) for one in values_of(operator, source)[1]]


def hours_of_readings(operator):
    return sorted(row[3] for row in readings_of(operator) if row[3] is not None and row[4] == "accepted")


def test_hours_go_on_after_the_hour_meter_was_replaced(operator, source):
    send(operator, source, ("M-1", MAY.format(1), None, 4_700.0))
    link(operator, source)
    for day, hours in ((2, 3.0), (3, 9.5)):
        assert send(operator, source, ("M-1", MAY.format(day), None, hours))["held"] == 1
    assert hours_of_readings(operator) == [4_700.0]
    shown = decide(operator, source, 3.0, "renew")
    assert (shown["outcome"], shown["reason"], shown["use"]) == ("accepted", "cluster_replaced", "passed_on")
    assert hours_of_readings(operator) == [4_700.0, 4_700.0, 4_706.5]
    assert send(operator, source, ("M-1", MAY.format(4), None, 15.5))["accepted"] == 1
    assert hours_of_readings(operator)[-1] == 4_712.5
    assert meter_of(operator, source, "engine_hours")["last_value"] == 15.5
    assert decide(operator, source, 3.0, "renew")["outcome"] == "accepted"
    assert hours_of_readings(operator)[-1] == 4_712.5, "said twice it is the same"


def test_kilometres_go_on_after_the_box_was_replaced(operator, source):
    for day, km in ((1, 88_000.0), (2, 88_200.0), (3, 31.0)):
        send(operator, source, ("M-1", MAY.format(day), km, None))
    link(operator, source)
    assert [row[2] for row in readings_of(operator)] == [88_000.0, 88_200.0]
    decide(operator, source, 31.0, "renew")
    send(operator, source, ("M-1", MAY.format(4), 231.0, None))
    assert [row[2] for row in readings_of(operator)] == [88_000.0, 88_200.0, 88_200.0, 88_400.0]


@pytest.mark.parametrize("place", ["hours", "km"])
def test_what_was_held_becomes_a_reading_when_it_is_released(operator, source, place):
    pair = (lambda number: (None, number)) if place == "hours" else (lambda number: (number, None))
    for day, number in ((1, 1_000.0), (2, 9_000.0)):
        send(operator, source, ("M-1", MAY.format(day), *pair(number)))
    link(operator, source)
    assert outcomes(operator, source)[1][1] == "held"
    assert len(readings_of(operator)) == 1
    assert decide(operator, source, 9_000.0, "release")["outcome"] == "accepted"
    assert outcomes(operator, source)[1] == (9_000.0, "accepted", "released")
    send(operator, source, ("M-1", MAY.format(3), *pair(9_010.0)))
    assert outcomes(operator, source)[2][1:] == ("accepted", None), "judged by what was released"


def test_a_value_that_is_discarded_takes_its_reading_along_and_what_was_held_for_it_comes_in(
    operator, source
):
    for day, hours in ((1, 1_000.0), (2, 1_020.0), (3, 1_008.0)):
        send(operator, source, ("M-1", MAY.format(day), None, hours))
    link(operator, source)
    assert hours_of_readings(operator) == [1_000.0, 1_020.0]
    assert decide(operator, source, 1_020.0, "discard")["outcome"] == "rejected"
    assert hours_of_readings(operator) == [1_000.0, 1_008.0]
    decide(operator, source, 1_020.0, "release")
    assert 1_020.0 in hours_of_readings(operator)


def test_decisions_are_audited_and_an_unknown_value_is_none(operator, source, join):
    send(operator, source, ("M-1", MAY.format(1), None, 10.0))
    decide(operator, source, 10.0, "discard")
    (entry,) = [one for one in operator.get("/v1/audit").json()["entries"] if one["action"] == "discard"]
    assert entry["detail"]["before"]["outcome"] == "accepted"
    path, values = values_of(operator, source)
    for name in ("mva_999", values[0]["id"].replace("mva", "rdg")):
        assert operator.patch(f"{path}/{name}", {"decision": "release"}).status_code == 404
    assert join("Other").patch(f"{path}/{values[0]['id']}", {"decision": "release"}).status_code == 404
