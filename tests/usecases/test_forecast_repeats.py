"""Jobs that come back within the weeks: a renewal process, checked against its known mean."""

from math import exp

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from service.usecases.stock.repeat_jobs import done_again


def renewals(step: float, until: float, rate: float) -> float:
    """Expected number of renewals by `until`, lifetimes Erlang of two stages, in weeks of length `step`."""
    n_steps = round(until / step)
    law = stats.gamma(2.0, scale=1.0 / rate)
    by_end = law.cdf(step * np.arange(1, n_steps + 1))
    again = law.cdf(step * (np.arange(1, n_steps + 1) + 0.5))
    expected = 0.0
    while by_end[-1] > 1e-9:
        expected += by_end[-1]
        by_end = done_again(by_end, again)
    return expected


@pytest.mark.parametrize("until", [30.0, 52.0])
def test_repeats_add_up_to_the_renewal_function_of_erlang_lifetimes(until: float):
    """Cox, Renewal Theory, 1962 (from memory): M(t) = a t / 2 - 1/4 + exp(-2 a t) / 4 for two stages of rate a.

    The sum by weeks leaves a second renewal in the same week out, an error that falls with the week's length:
    its share of a week's job is the chance to come back within half a week, about (a / 2)^2 / 2.
    """
    exact = 0.1 * until / 2.0 - 0.25 + 0.25 * exp(-0.2 * until)
    assert renewals(0.1, until, 0.1) == pytest.approx(exact, abs=2e-4)
    assert renewals(1.0, until, 0.1) == pytest.approx(exact, rel=2e-3)


def test_a_fluid_that_lasts_three_weeks_comes_back_every_third():
    done, again = np.array([0.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0]), np.array([0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 1.0])
    second = done_again(done, again)
    assert second.tolist() == [0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0]
    assert done_again(second, again).max() == 0.0


@given(st.lists(st.floats(0.0, 1.0), min_size=12, max_size=12))
def test_nothing_comes_back_before_it_was_done(values: list[float]):
    done, again = np.sort(values[:6]), np.sort(values[6:])
    second = done_again(done, again)
    assert np.all(second <= done + 1e-12)
    assert np.all(np.diff(second) >= -1e-12)
