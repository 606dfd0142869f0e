"""What would change an advice is something that can happen: no price falls below nothing."""

import re

import pytest

PRICE, VISIT = 720, 2000
TYPED = {"kind": "automatic_transmission_car", "old_life_used": 0.81, "km_per_day": 102}
TYPED |= {"price_minor_per_litre": PRICE, "visit_minor": VISIT}


@pytest.mark.parametrize(
    ("total", "drained"), [(9.8, 4.4), (9.0, 3.5), (8.0, 4.0), (6.6, 4.5), (12.0, 4.0), (9.8, 6.5)]
)
def test_nothing_is_to_become_cheaper_than_free(operator, total, drained):
    body = TYPED | {"total_litres": total, "drainable_litres": drained}
    answer = operator.post("/v1/exchange-plans", body)
    assert answer.status_code == 200, answer.text
    told = " ".join(answer.json()["recommended"]["what_would_change"])
    for thing, amount in re.findall(r"Were (a litre of fluid|a visit) ([\d.]+) EUR cheaper", told):
        assert 100 * float(amount) <= (PRICE if thing.endswith("fluid") else VISIT), told
