"""Rounds that lists and orders ask for. Half of the charge drains, so what stays is 1/2, 1/4, 1/8 of the old fluid."""

import pytest

from service.usecases.fluids.recommend_exchange import FULL_EQUIVALENT_SHARE, recommend_exchange


@pytest.mark.parametrize(
    ("is_contaminated", "return_rounds", "n_rounds"),
    [
        (False, None, 2),
        (False, 1, 1),
        (True, None, 3),
        (True, 1, 3),
        (True, 5, 5),
    ],
    ids=["sound", "sound, one accepted", "contaminated", "too few accepted", "more accepted than needed"],
)
def test_an_accepted_return_is_kept_unless_it_leaves_an_alarm_on(is_contaminated, return_rounds, n_rounds):
    found = recommend_exchange(
        {
            "kind": ["automatic_transmission_car"],
            "total_litres": [9.0],
            "drainable_litres": [4.5],
            "is_contaminated": [is_contaminated],
            "return_rounds": [return_rounds],
        }
    )
    assert found.n_rounds.tolist() == [n_rounds]
    assert found.litres.tolist() == [4.5 * n_rounds]
    assert not is_contaminated or found.fresh_fraction_after[0] >= FULL_EQUIVALENT_SHARE
