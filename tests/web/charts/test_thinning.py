"""Thinning by largest triangles; the expected choice on the small example is worked out by hand from the method."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from service.web.charts.thinning import thinned_indices

POINTS = st.lists(st.tuples(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6)), max_size=200).map(sorted)


def test_a_peak_is_kept_and_the_flat_is_not() -> None:
    """Stretches {1,2}, {3,4}, {5,6}: the peak at 4 spans the largest triangle of its stretch."""
    points = [(float(x), y) for x, y in enumerate([0.0, 0, 0, 0, 9, 0, 0, 0])]
    chosen = thinned_indices(points, 5)
    assert chosen[0] == 0
    assert chosen[-1] == 7
    assert 4 in chosen
    assert len(chosen) == 5


@settings(max_examples=50)
@given(points=POINTS, n_kept=st.integers(0, 50))
def test_choice_is_in_order_and_has_both_ends(points: list[tuple[float, float]], n_kept: int) -> None:
    chosen = thinned_indices(points, n_kept)
    assert chosen == sorted(set(chosen))
    assert len(chosen) == (len(points) if n_kept < 3 else min(len(points), n_kept))
    if points:
        assert (chosen[0], chosen[-1]) == (0, len(points) - 1)


def test_a_sawtooth_keeps_its_teeth() -> None:
    """Every tooth is at least nine tenths as high as it was."""
    time = np.arange(5_000.0)
    life = (time % 500) / 500
    chosen = thinned_indices(list(zip(time.tolist(), life.tolist(), strict=True)), 100)
    for tooth in range(10):
        inside = [life[i] for i in chosen if 500 * tooth <= i < 500 * (tooth + 1)]
        assert max(inside) >= 0.9
        assert min(inside) <= 0.1
