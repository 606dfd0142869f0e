"""The planned date: where a day early and a day late cost the same."""

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from service.engine.due.forecast import forecast_due
from service.engine.due.planned import critical_ratio
from service.errors import InvalidInputError
from tests.engine.due.questions import NO_WEEKS, compartments, linear_moments, meter


def test_late_nine_times_as_dear_as_early_plans_at_p10() -> None:
    np.testing.assert_allclose(critical_ratio(np.array([1.0, 5.0]), np.array([9.0, 5.0])), [0.1, 0.5])


def test_the_planned_date_makes_the_expected_cost_least() -> None:
    """Cost integrated over the gamma process (`scipy.stats.gamma`) and minimised directly; within half a day."""

    def due_by(days: float) -> float:
        return float(stats.gamma.sf(6000.0, 0.2 * days, scale=200.0))

    def cost(days: float) -> float:
        early = integrate.quad(lambda t: 1.0 - due_by(t), days, 600.0, limit=200)[0]
        late = integrate.quad(due_by, 1.0, days, limit=200)[0]
        return 2.0 * early + 6.0 * late

    least = optimize.minimize_scalar(cost, bounds=(60.0, 300.0), method="bounded").x
    ratio = critical_ratio(np.array([2.0]), np.array([6.0]))
    odometer = meter(linear_moments(40.0, 0.0, 8000.0))
    forecast = forecast_due(
        compartments(distance_km=6000.0), odometer, week_end_days=NO_WEEKS, probabilities=ratio[:, np.newaxis]
    )
    assert forecast.days_ahead[0, 0] == pytest.approx(least, abs=0.5)


def test_each_compartment_may_have_its_own_ratio() -> None:
    odometer = meter(linear_moments(40.0, 0.0, 8000.0))
    limits = compartments(distance_km=[6000.0, 6000.0])
    own = forecast_due(limits, odometer, week_end_days=NO_WEEKS, probabilities=np.array([[0.1], [0.9]]))
    shared = forecast_due(limits, odometer, week_end_days=NO_WEEKS, probabilities=np.array([0.1, 0.9]))
    np.testing.assert_array_equal(own.days_ahead[:, 0], np.diag(shared.days_ahead))


@pytest.mark.parametrize("cost", [0.0, -1.0, np.nan, np.inf])
def test_a_cost_that_is_not_positive_is_refused(cost: float) -> None:
    with pytest.raises(InvalidInputError):
        critical_ratio(np.array([cost]), np.array([1.0]))
