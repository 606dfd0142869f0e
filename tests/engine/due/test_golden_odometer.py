"""One odometer with six readings, worked by dense Gaussian algebra instead of a filter (derived)."""

import numpy as np
import pytest

from service.engine.due.forecast import forecast_due
from tests.engine.due.odometers import DenseOdometer
from tests.engine.due.questions import SIX_MONTHS, compartments, meter


@pytest.mark.parametrize(
    ("level_walk", "mean_km", "sd_km"),
    [
        (0.0, [4070.288824, 6421.951757], [1499.379104, 2198.113288]),
        (9e-5, [4066.697643, 6415.913112], [1529.434004, 2262.493965]),
    ],
)
def test_the_dense_odometer_has_the_moments_of_the_recursion(
    level_walk: float, mean_km: list[float], sd_km: list[float]
) -> None:
    """Values of an independent recursive filter run on the same readings, 60 and 100 days from day 140 (derived)."""
    mean, variance = DenseOdometer(level_walk=level_walk).moments(
        np.zeros(2, dtype=np.int64), np.array([70.0, 110.0])
    )
    np.testing.assert_allclose(mean, mean_km, atol=1e-5)
    np.testing.assert_allclose(np.sqrt(variance), sd_km, atol=1e-5)


@pytest.mark.parametrize(
    ("level_walk", "expected_days"),
    [
        # 40-step bisection of the Wilson-Hilferty form on the same moments (derived); tolerance of the root finder.
        (0.0, [74.920461, 119.613556, 187.740733]),
        (9e-5, [74.300309, 120.073868, 193.079119]),
    ],
)
def test_due_quantiles_of_the_six_readings(level_walk: float, expected_days: list[float]) -> None:
    odometer = meter(DenseOdometer(level_walk=level_walk).moments, 127700.0, 10.0)
    forecast = forecast_due(compartments(distance_km=135000.0), odometer, week_end_days=SIX_MONTHS)
    np.testing.assert_allclose(forecast.days_ahead[0], expected_days, atol=0.005)
