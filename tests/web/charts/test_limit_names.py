"""Names of limits beside their lines."""

import itertools

import pytest

from service.web.charts import theme

LIMIT_SETS = [
    (340_000.0, 261_500.0, 248_700.0),
    (100.0, 101.0),
    (100.0, 101.0, 102.0, 200.0),
    (100.0, 100.0, 100.0, 100.0),
    (0.0, 50.0, 52.0, 100.0),
    (0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0),
    (70.0,),
    (),
]


@pytest.mark.parametrize("heights", LIMIT_SETS)
def test_no_limit_runs_through_the_name_of_another_and_no_two_names_meet(heights):
    span = max(max(heights, default=0.0) - min(heights, default=0.0), 100.0)
    named = [(y, f"limit {n}") for n, y in enumerate(heights)]
    rows = theme.limit_rows(named, span)
    assert sorted(row["label"] for row in rows["names"]) == sorted(label for _, label in named)
    tall = 0.12 * span
    places = sorted(row["y"] for row in rows["names"])
    assert all(above - below >= 0.999 * tall for below, above in itertools.pairwise(places))
    for foot in places:
        assert not any(foot + 0.01 * tall < line < foot + 0.9 * tall for line in heights), (foot, heights)
