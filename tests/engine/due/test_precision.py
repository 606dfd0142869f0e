"""The forecast repeated in double precision: what single precision in its middle moves is not to be seen."""

from dataclasses import replace

import numpy as np
import pytest

from service.engine.arrays import Floats
from service.engine.due import crossing, precision
from service.engine.due.forecast import DEFAULT_PROBABILITIES, HORIZON_DAYS, DueForecast, forecast_due
from service.engine.due.limits import CompartmentLimits, Limit, Meter
from service.engine.usage.predict import LEAST_MEAN_IN_SDS
from tests.engine.due.questions import NO_WEEKS, SIX_MONTHS, ageing, linear_moments, meter

N_VEHICLES = 4_000
ALL_BUT_CALENDAR = (Limit.DISTANCE, Limit.HOURS, Limit.CONDITION)


def forecast_of(present: tuple[Limit, ...], steadiness: float) -> DueForecast:
    """Five compartments a vehicle, from the first days of their fluid to long overdue."""
    rng = np.random.default_rng(24)
    row = np.repeat(np.arange(N_VEHICLES), 5)
    n = row.size
    rate = np.exp(rng.normal(4.0, 0.8, N_VEHICLES))
    last_km, age = rng.uniform(0.0, 9e5, N_VEHICLES), rng.uniform(0.0, 40.0, N_VEHICLES)
    odometer = meter(linear_moments(rate, 0.3 * rate * steadiness, 20.0 * rate * steadiness), last_km, age)
    hours = meter(linear_moments(rate / 40.0, rate / 120.0, rate / 90.0), np.zeros(N_VEHICLES), age)
    interval = rng.choice([5e3, 15e3, 4e4, 1e5], n)
    left_km = interval * rng.uniform(-0.05, 1.0, n)
    fluid = ageing(
        life_used=rng.uniform(0.0, 0.9, n),
        life_used_sd=rng.uniform(0.0, 0.2, n) * steadiness,
        life_limit=0.8,
        per_km=rng.uniform(0.1, 1.5, n) / interval,
        per_day=rng.uniform(0.0, 1e-3, n),
        per_hour=rng.uniform(0.0, 1e-3, n),
        cv=rng.uniform(0.0, 0.5, n) * steadiness,
    )
    limits = CompartmentLimits(
        vehicle_row=row,
        distance_km=last_km[row] + left_km if Limit.DISTANCE in present else np.full(n, np.nan),
        hours=left_km / 40.0 if Limit.HOURS in present else np.full(n, np.nan),
        calendar_days_ahead=np.full(n, np.nan),
        is_contaminated=np.zeros(n, dtype=np.bool_),
        condition=fluid if Limit.CONDITION in present else None,
    )
    return forecast_due(limits, odometer, hours, week_end_days=SIX_MONTHS)


every_mixture = pytest.mark.parametrize(
    "present",
    [
        (Limit.CONDITION,),
        (Limit.DISTANCE, Limit.HOURS),
        (Limit.DISTANCE, Limit.CONDITION),
        (Limit.HOURS, Limit.CONDITION),
        ALL_BUT_CALENDAR,
    ],
)


@pytest.mark.parametrize("steadiness", [1.0, 0.02])
@every_mixture
def test_single_precision_is_not_to_be_seen(
    present: tuple[Limit, ...], steadiness: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Bounds of our own: a thousandth of a day, the tolerance of a date; what is used of a life is not known
    to more than two digits. Probabilities to 1e-5, which fluids that are due on a day known almost for certain need.
    """
    single = forecast_of(present, steadiness)
    monkeypatch.setattr(precision, "WORK", np.dtype(np.float64))
    double = forecast_of(present, steadiness)
    np.testing.assert_allclose(single.days_ahead, double.days_ahead, rtol=0.0, atol=0.001)
    np.testing.assert_allclose(single.week_probability, double.week_probability, rtol=0.0, atol=1e-5)
    np.testing.assert_allclose(single.overdue_probability, double.overdue_probability, rtol=0.0, atol=1e-5)
    np.testing.assert_allclose(single.limit_probability, double.limit_probability, rtol=0.0, atol=5e-5)
    assert not np.array_equal(single.days_ahead, double.days_ahead)


@pytest.mark.parametrize("steadiness", [1.0, 0.02])
@every_mixture
def test_dates_are_right_to_their_tolerance(
    present: tuple[Limit, ...], steadiness: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Against the same model asked so long, in double precision, that nothing moves any more."""
    dates = forecast_of(present, steadiness).days_ahead
    monkeypatch.setattr(precision, "WORK", np.dtype(np.float64))
    monkeypatch.setattr(crossing, "_LAST_STEP_DAYS", 1e-8)
    exact = forecast_of(present, steadiness).days_ahead
    np.testing.assert_allclose(dates, exact, rtol=0.0, atol=crossing.DAY_TOLERANCE)


def hardly_moving(present: tuple[Limit, ...]) -> tuple[CompartmentLimits, Meter]:
    """Vehicles whose mean is as small against its doubt as the usage model lets it be, from a millimetre a day on."""
    rng = np.random.default_rng(31)
    row = np.repeat(np.arange(N_VEHICLES), 5)
    n = row.size
    sd, in_sds = 10.0 ** rng.uniform(-6.0, 2.0, N_VEHICLES), rng.uniform(LEAST_MEAN_IN_SDS, 1.0, N_VEHICLES)
    last_km, age = rng.uniform(0.0, 9e5, N_VEHICLES), rng.uniform(0.0, 40.0, N_VEHICLES)
    interval = rng.choice([5e3, 15e3, 4e4, 1e5], n)
    fluid = ageing(
        life_used=rng.uniform(0.0, 0.9, n),
        life_used_sd=rng.uniform(0.0, 0.2, n),
        life_limit=0.8,
        per_km=rng.uniform(0.1, 1.5, n) / interval,
        per_day=rng.choice([0.0, 3e-4], n),
        cv=rng.uniform(0.0, 0.5, n),
    )
    left_km = interval * rng.uniform(-0.05, 1.0, n)
    nothing = np.full(n, np.nan)
    limits = CompartmentLimits(
        vehicle_row=row,
        distance_km=last_km[row] + left_km if Limit.DISTANCE in present else nothing,
        hours=nothing,
        calendar_days_ahead=nothing,
        is_contaminated=np.zeros(n, dtype=np.bool_),
        condition=fluid,
    )
    return limits, meter(linear_moments(sd * in_sds, sd), last_km, age)


def chance_by(limits: CompartmentLimits, odometer: Meter, days: Floats) -> Floats:
    """Give the probability of being due before a day: of everything but a calendar limit on that day."""
    until = replace(limits, calendar_days_ahead=days)
    shares = forecast_due(until, odometer, week_end_days=NO_WEEKS).limit_probability
    return 1.0 - shares[:, Limit.CALENDAR]


@pytest.mark.parametrize("present", [(Limit.CONDITION,), (Limit.DISTANCE, Limit.CONDITION)])
def test_days_are_lost_only_where_they_mean_nothing(
    present: tuple[Limit, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A vehicle that hardly moves is as likely due on one day as on another, for months: there seven digits do move a
    date, but to a day on which the probability is the same to 1e-5, a thousand times finer than life is known.
    """
    limits, odometer = hardly_moving(present)
    single = forecast_due(limits, odometer, week_end_days=SIX_MONTHS)
    monkeypatch.setattr(precision, "WORK", np.dtype(np.float64))
    double = forecast_due(limits, odometer, week_end_days=SIX_MONTHS)
    np.testing.assert_allclose(single.week_probability, double.week_probability, rtol=0.0, atol=1e-5)
    np.testing.assert_allclose(single.limit_probability, double.limit_probability, rtol=0.0, atol=5e-5)
    moved_days = 0.0
    for place in range(len(DEFAULT_PROBABILITIES)):
        said, exact = (np.minimum(one.days_ahead[:, place], HORIZON_DAYS) for one in (single, double))
        is_moved = np.abs(said - exact) > 0.001
        moved_days = max(moved_days, float(np.abs(said - exact).max()))
        chance, exact_chance = (chance_by(limits, odometer, one)[is_moved] for one in (said, exact))
        np.testing.assert_allclose(chance, exact_chance, rtol=0.0, atol=1e-5)
    assert moved_days > 0.005
