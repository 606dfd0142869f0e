"""The forecast against simulated paths of meters that never fall and fluids that age with them."""

import numpy as np
import pytest

from service.engine.arrays import Floats
from service.engine.due.forecast import forecast_due
from service.engine.due.limits import Limit
from tests.engine.due.questions import ageing, compartments, linear_moments, meter

N_PATHS = 40_000
STEP_DAYS = 2.0
N_STEPS = 260
WEEKS = np.arange(28.0, 500.0, 28.0)

KM_RATE, KM_RATE_SD, KM_NOISE = 60.0, 12.0, 900.0
HOUR_RATE, HOUR_RATE_SD, HOUR_NOISE = 1.6, 0.4, 0.3
LIFE_PER_KM, LIFE_PER_DAY, RATE_CV = 1.0 / 14_000.0, 1.0 / 1500.0, 0.3
LIFE_USED, LIFE_USED_SD, LIFE_LIMIT = 0.1, 0.03, 0.8
DISTANCE_KM, HOURS = 11_000.0, 280.0


def first_times(paths: Floats, limit: Floats | float) -> Floats:
    """Time at which each path, shape (n, steps), first stands at its limit; inf if it never does."""
    above = paths >= np.broadcast_to(limit, paths.shape[:1])[:, np.newaxis]
    return np.where(above.any(axis=1), (above.argmax(axis=1) + 1) * STEP_DAYS, np.inf)


@pytest.fixture(scope="module")
def simulated_days() -> dict[Limit, Floats]:
    """First times of distance, hours and condition on common paths.

    Rates are gamma, correlated by a shared part; noise is a gamma process; so no path falls. The doubt about the life
    used is that about its rate, as the model has it.
    """
    rng = np.random.default_rng(20240229)
    shared = rng.normal(size=N_PATHS)
    own = 0.8 * shared + 0.6 * rng.normal(size=N_PATHS)
    km_rate = KM_RATE * np.exp(np.sqrt(np.log1p(0.04)) * shared - np.log1p(0.04) / 2.0)
    hour_rate = HOUR_RATE * np.exp(np.sqrt(np.log1p(0.0625)) * own - np.log1p(0.0625) / 2.0)
    km, hours = np.empty((N_PATHS, N_STEPS)), np.empty((N_PATHS, N_STEPS))
    km_now, hours_now = np.zeros(N_PATHS), np.zeros(N_PATHS)
    for step in range(N_STEPS):
        km_now = km_now + rng.gamma(km_rate**2 * STEP_DAYS / KM_NOISE, KM_NOISE / km_rate)
        hours_now = hours_now + rng.gamma(hour_rate**2 * STEP_DAYS / HOUR_NOISE, HOUR_NOISE / hour_rate)
        km[:, step], hours[:, step] = km_now, hours_now
    doubt = rng.normal(size=N_PATHS)
    rate_factor = np.exp(np.sqrt(np.log1p(RATE_CV**2)) * doubt - np.log1p(RATE_CV**2) / 2.0)
    days = STEP_DAYS * np.arange(1, N_STEPS + 1)
    life = rate_factor[:, np.newaxis] * (LIFE_PER_KM * km + LIFE_PER_DAY * days)
    life += (LIFE_USED + LIFE_USED_SD * doubt)[:, np.newaxis]
    return {
        Limit.DISTANCE: first_times(km, DISTANCE_KM),
        Limit.HOURS: first_times(hours, HOURS),
        Limit.CONDITION: first_times(life, LIFE_LIMIT),
    }


SETS = [
    (Limit.DISTANCE,),
    (Limit.HOURS,),
    (Limit.CONDITION,),
    (Limit.DISTANCE, Limit.HOURS),
    (Limit.DISTANCE, Limit.CONDITION),
    (Limit.HOURS, Limit.CONDITION),
    (Limit.DISTANCE, Limit.HOURS, Limit.CONDITION),
]


@pytest.mark.slow
@pytest.mark.parametrize("present", SETS)
def test_first_limit_agrees_with_simulated_paths(
    simulated_days: dict[Limit, Floats], present: tuple[Limit, ...]
) -> None:
    """Tolerances: probabilities .02, dates 3 %, shares .025; sampling error is below .0025."""
    condition = ageing(
        life_used=LIFE_USED,
        life_used_sd=LIFE_USED_SD,
        life_limit=LIFE_LIMIT,
        per_km=LIFE_PER_KM,
        per_day=LIFE_PER_DAY,
        cv=RATE_CV,
    )
    limits = compartments(
        distance_km=DISTANCE_KM if Limit.DISTANCE in present else np.nan,
        hours=HOURS if Limit.HOURS in present else np.nan,
        condition=condition if Limit.CONDITION in present else None,
    )
    forecast = forecast_due(
        limits,
        meter(linear_moments(KM_RATE, KM_RATE_SD, KM_NOISE)),
        meter(linear_moments(HOUR_RATE, HOUR_RATE_SD, HOUR_NOISE)),
        week_end_days=WEEKS,
    )
    times = np.stack([simulated_days[limit] for limit in present])
    first = times.min(axis=0)
    by_week = (first[:, np.newaxis] <= WEEKS).mean(axis=0)
    np.testing.assert_allclose(np.cumsum(forecast.week_probability[0]), by_week, atol=0.02)
    np.testing.assert_allclose(forecast.days_ahead[0], np.quantile(first, [0.1, 0.5, 0.9]), rtol=0.03)
    # Paths are seen every two days; limits met between the same two looks are shared out evenly.
    is_first = times == first
    share = (is_first / is_first.sum(axis=0)).mean(axis=1)
    np.testing.assert_allclose(forecast.limit_probability[0, list(present)], share, atol=0.025)
