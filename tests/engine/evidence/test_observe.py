"""Weighing an observation against the estimate."""

import numpy as np
import pytest
from filterpy.kalman import KalmanFilter
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from service.engine.evidence.observe import observe, record_measured_contents
from service.engine.exchange.state import fluid_state
from service.errors import InvalidInputError


def test_a_grade_or_a_laboratory_value() -> None:
    """u .60 σ .15; grade .80 σ .25 → .652941, .128624 (K .264706); or lab .70 σ .08 → .677855, .070588
    (K .778547) and P(u > 0.8) = .04178; derived from the scalar Kalman update.
    """
    before = fluid_state(8.0, life_used=0.60, life_used_variance=0.15**2)
    graded = observe(before, 0.80, 0.25)
    assert graded.life_used[0] == pytest.approx(0.652941, abs=5e-7)
    assert np.sqrt(graded.life_used_variance[0]) == pytest.approx(0.128624, abs=5e-7)
    sampled = observe(before, 0.70, 0.08, is_laboratory=True)
    assert sampled.life_used[0] == pytest.approx(0.677855, abs=5e-7)
    deviation = np.sqrt(sampled.life_used_variance[0])
    assert deviation == pytest.approx(0.070588, abs=5e-7)
    assert norm.sf(0.8, sampled.life_used[0], deviation) == pytest.approx(0.04178, abs=5e-6)


@settings(max_examples=50, deadline=None)
@given(
    used=st.floats(0.3, 1.2),
    deviation=st.floats(0.01, 0.5),
    seen=st.floats(0.3, 1.2),
    error=st.floats(0.02, 0.5),
)
def test_update_equals_a_reference_filter(used: float, deviation: float, seen: float, error: float) -> None:
    """Reference: filterpy 2.0.0, `KalmanFilter.update`, scalar case."""
    state = fluid_state(8.0, life_used=used, life_used_variance=deviation**2)
    ours = observe(state, seen, error, is_laboratory=True)
    reference = KalmanFilter(dim_x=1, dim_z=1)
    reference.x[:], reference.P[:], reference.H[:], reference.R[:] = used, deviation**2, 1.0, error**2
    reference.update(seen)
    assert ours.life_used[0] == pytest.approx(reference.x.item(), abs=1e-12)
    assert ours.life_used_variance[0] == pytest.approx(reference.P.item(), abs=1e-12)


def test_a_good_look_may_not_lower_the_estimate_by_more_than_two_deviations() -> None:
    """2σ without a laboratory sample; common practice, no source."""
    state = fluid_state(np.full(2, 8.0), life_used=0.9, life_used_variance=0.1**2)
    seen = observe(state, 0.0, 0.03, is_laboratory=np.array([False, True]))
    assert seen.life_used[0] == pytest.approx(0.7, abs=1e-12)
    assert seen.life_used[1] < 0.1


def test_what_was_not_observed_stays() -> None:
    state = fluid_state(np.full(2, 8.0), life_used=0.5, life_used_variance=0.04)
    seen = observe(state, np.array([np.nan, 1.0]), 0.2)
    assert (seen.life_used[0], seen.life_used_variance[0]) == (0.5, 0.04)
    assert seen.life_used[1] == pytest.approx(0.75)


@pytest.mark.parametrize(
    ("seen", "error"), [(-0.1, 0.2), (0.5, 0.0), (0.5, -1.0), (0.5, np.nan), (11.0, 0.2)]
)
def test_an_observation_that_cannot_be_is_refused(seen: float, error: float) -> None:
    with pytest.raises(InvalidInputError):
        observe(fluid_state(8.0), seen, error)


def test_measured_contents_replace_the_estimate_where_there_is_one() -> None:
    state = fluid_state(np.full(2, 1.0), water_mass_fraction=0.02, iron_mg_per_kg=30.0, glycol_fraction=0.5)
    after = record_measured_contents(
        state, water_mass_fraction=np.array([0.031, np.nan]), glycol_fraction=0.45
    )
    np.testing.assert_array_equal(after.water_mass_fraction, [0.031, 0.02])
    np.testing.assert_array_equal(after.iron_mg_per_kg, [30.0, 30.0])
    np.testing.assert_array_equal(after.glycol_fraction, [0.45, 0.45])
    with pytest.raises(InvalidInputError):
        record_measured_contents(state, water_mass_fraction=3.1)
