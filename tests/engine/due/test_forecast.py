"""What the due forecast says in plain cases, where there is nothing to say, and what it refuses."""

from dataclasses import replace

import numpy as np
import pytest

from service.engine.arrays import Floats, Integers
from service.engine.due.forecast import HORIZON_DAYS, DueForecast, forecast_due
from service.engine.due.limits import CompartmentLimits, Limit, Meter
from service.engine.due.motion import meter_table
from service.errors import InvalidInputError, NonFiniteResultError
from tests.engine.due.questions import (
    NO_WEEKS,
    SIX_MONTHS,
    ageing,
    compartments,
    linear_moments,
    meter,
)

STEADY = meter(linear_moments(50.0, 10.0, 400.0), 100_000.0)


def ask(limits: CompartmentLimits, odometer: Meter = STEADY, hours: Meter | None = None) -> DueForecast:
    return forecast_due(limits, odometer, hours, week_end_days=SIX_MONTHS)


def test_a_limit_at_or_below_the_last_reading_is_due_now() -> None:
    forecast = ask(compartments(distance_km=[100_000.0, 99_000.0]))
    np.testing.assert_array_equal(forecast.days_ahead, 0.0)
    np.testing.assert_array_equal(forecast.overdue_probability, 1.0)
    np.testing.assert_array_equal(forecast.week_probability[:, 0], 1.0)
    np.testing.assert_array_equal(forecast.biting_limit, Limit.DISTANCE)


def test_a_limit_between_the_last_reading_and_now_is_overdue_with_a_probability() -> None:
    """Twenty days ago the odometer stood 900 km short; at 50 km a day it has probably passed since."""
    forecast = ask(compartments(distance_km=100_900.0), replace(STEADY, days_since_reading=np.array([20.0])))
    assert 0.5 < forecast.overdue_probability[0] < 0.9
    assert forecast.days_ahead[0, 0] == forecast.days_ahead[0, 1] == 0.0
    assert forecast.days_ahead[0, 2] > 0.0
    assert forecast.week_probability[0, 0] >= np.float32(forecast.overdue_probability[0])


def test_the_calendar_comes_first_when_it_is_nearer() -> None:
    forecast = ask(compartments(distance_km=104_500.0, calendar_days_ahead=60.0))
    np.testing.assert_array_equal(forecast.days_ahead[0], 60.0)
    assert forecast.biting_limit[0] == Limit.CALENDAR
    assert 0.0 < forecast.limit_probability[0, Limit.DISTANCE] < 0.5
    week = int(np.flatnonzero(SIX_MONTHS > 60.0)[0])
    assert forecast.week_probability[0, week] > 0.5
    np.testing.assert_array_equal(forecast.week_probability[0, week + 1 :], 0.0)


def test_the_chance_of_distance_before_the_calendar_is_that_of_distance_alone_by_then() -> None:
    """P(distance first) = F(t_c-), with the calendar on day 60."""
    odometer_alone = forecast_due(compartments(distance_km=103_000.0), STEADY, week_end_days=np.array([60.0]))
    both = ask(compartments(distance_km=103_000.0, calendar_days_ahead=60.0))
    assert both.limit_probability[0, Limit.DISTANCE] == pytest.approx(
        odometer_alone.week_probability[0, 0], abs=1e-7
    )


def test_a_calendar_limit_at_the_end_of_a_week_belongs_to_the_next() -> None:
    forecast = ask(compartments(calendar_days_ahead=SIX_MONTHS[4]))
    np.testing.assert_array_equal(np.flatnonzero(forecast.week_probability[0]), [5])


def test_a_passed_calendar_limit_is_due_now() -> None:
    forecast = ask(compartments(distance_km=105_000.0, calendar_days_ahead=-3.0))
    np.testing.assert_array_equal(forecast.days_ahead[0], 0.0)
    assert forecast.overdue_probability[0] == 1.0
    assert forecast.biting_limit[0] == Limit.CALENDAR


def test_contamination_is_due_now_before_everything_else() -> None:
    forecast = ask(compartments(distance_km=99_000.0, calendar_days_ahead=400.0, is_contaminated=True))
    np.testing.assert_array_equal(forecast.days_ahead[0], 0.0)
    assert forecast.overdue_probability[0] == 1.0
    assert forecast.limit_probability[0, Limit.CONTAMINATION] == 1.0
    assert forecast.biting_limit[0] == Limit.CONTAMINATION
    np.testing.assert_array_equal(forecast.week_probability[0], np.eye(26, dtype=np.float32)[0])


def test_nothing_within_the_horizon_is_infinity_and_no_limit_at_all_is_nan() -> None:
    far = [compartments(distance_km=10.0**7), compartments(calendar_days_ahead=HORIZON_DAYS + 1.0)]
    for limits in far:
        forecast = ask(limits)
        np.testing.assert_array_equal(forecast.days_ahead[0], np.inf)
        assert forecast.limit_probability[0, Limit.NONE] == pytest.approx(1.0)
    forecast = ask(compartments())
    assert np.isnan(forecast.days_ahead).all()
    assert forecast.limit_probability[0, Limit.NONE] == 1.0
    assert forecast.biting_limit[0] == Limit.NONE
    assert forecast.week_probability.sum() == forecast.overdue_probability[0] == 0.0


def test_a_vehicle_that_never_moves_has_no_distance_date() -> None:
    still = meter(linear_moments(0.0), 100_000.0)
    forecast = ask(compartments(distance_km=[105_000.0, 100_000.0]), still)
    np.testing.assert_array_equal(forecast.days_ahead[0], np.inf)
    np.testing.assert_array_equal(forecast.days_ahead[1], 0.0)


def test_a_vehicle_without_a_reading_keeps_its_calendar_limit_only() -> None:
    def unknown(rows: Integers, days: Floats) -> tuple[Floats, Floats]:
        return np.full(days.shape, np.nan), np.full(days.shape, np.nan)

    odometer = Meter(last_reading=np.array([np.nan]), days_since_reading=np.array([np.nan]), moments=unknown)
    forecast = ask(compartments(distance_km=105_000.0, calendar_days_ahead=[60.0, np.nan]), odometer)
    np.testing.assert_array_equal(forecast.days_ahead[0], 60.0)
    assert np.isnan(forecast.days_ahead[1]).all()


def test_a_machine_with_an_hour_meter_only_ages_by_hours_and_days() -> None:
    """1,000 h of life at 5 h a day, and a day costs as much as an hour: due after about 1,000 / 6 days."""
    odometer = Meter(
        last_reading=np.array([np.nan]), days_since_reading=np.array([np.nan]), moments=linear_moments(np.nan)
    )
    condition = ageing(life_used=0.0, per_hour=1e-3, per_day=1e-3, per_km=1e-3)
    limits = compartments(hours=5000.0, condition=condition)
    forecast = ask(limits, odometer, meter(linear_moments(5.0, 0.1, 0.1), 0.0))
    assert forecast.days_ahead[0, 1] == pytest.approx(1000.0 / 6.0, abs=0.5)
    assert forecast.biting_limit[0] == Limit.CONDITION
    assert ask(limits, odometer).days_ahead[0, 1] == pytest.approx(1000.0, abs=0.5)


def test_fluid_at_its_limit_is_overdue_with_the_probability_of_the_grade() -> None:
    """A mean exactly at the limit is overdue with one half."""
    condition = ageing(life_used=0.8, life_used_sd=0.1, life_limit=0.8, per_km=1e-5, cv=0.3)
    forecast = ask(compartments(condition=condition))
    assert forecast.overdue_probability[0] == pytest.approx(0.5, abs=1e-6)


def test_good_condition_never_softens_the_schedule() -> None:
    schedule = compartments(distance_km=104_000.0, calendar_days_ahead=300.0)
    fresh = replace(schedule, condition=ageing(life_used=0.0, per_km=1e-7, cv=0.3))
    np.testing.assert_allclose(ask(fresh).days_ahead, ask(schedule).days_ahead, atol=0.01)


@pytest.mark.parametrize(
    "limits",
    [
        compartments(vehicle_row=[1], distance_km=1.0),
        compartments(vehicle_row=[-1], distance_km=1.0),
        compartments(distance_km=np.inf),
        compartments(calendar_days_ahead=-np.inf),
        replace(compartments(), hours=np.zeros(2)),
        replace(compartments(), is_contaminated=np.zeros(2, dtype=np.bool_)),
        compartments(condition=ageing(life_used=0.5, cv=-0.1)),
        compartments(condition=ageing(life_used=0.5, per_km=np.nan)),
        replace(compartments(), condition=ageing(life_used=[0.5, 0.5])),
    ],
)
def test_limits_that_do_not_fit_are_refused(limits: CompartmentLimits) -> None:
    with pytest.raises(InvalidInputError):
        ask(limits)


@pytest.mark.parametrize(
    "changed", [{"days_since_reading": np.array([-1.0])}, {"days_since_reading": np.zeros(2)}]
)
def test_a_reading_from_the_future_or_without_age_is_refused(changed: dict[str, Floats]) -> None:
    with pytest.raises(InvalidInputError):
        ask(compartments(), replace(STEADY, **changed))


@pytest.mark.parametrize(
    "question",
    [
        {"week_end_days": np.array([7.0, 7.0])},
        {"week_end_days": np.array([0.0, 7.0])},
        {"week_end_days": np.array([7.0, HORIZON_DAYS + 1.0])},
        {"horizon_days": 0.0},
        {"horizon_days": np.nan},
        {"probabilities": np.array([0.0])},
        {"probabilities": np.array([np.nan])},
        {"probabilities": np.full((3, 1), 0.5)},
        {"km_hours_correlation": 0.99},
        {"hour_meter": meter(linear_moments([1.0, 1.0]), [0.0, 0.0])},
    ],
)
def test_a_question_out_of_range_is_refused(question: dict[str, object]) -> None:
    with pytest.raises(InvalidInputError):
        forecast_due(compartments(distance_km=105_000.0), STEADY, **({"week_end_days": NO_WEEKS} | question))  # type: ignore[arg-type]


def test_moments_that_are_not_finite_are_not_passed_on() -> None:
    with pytest.raises(NonFiniteResultError):
        ask(compartments(distance_km=105_000.0), meter(linear_moments(np.nan), 100_000.0))


def test_no_compartments_and_no_weeks_give_an_empty_answer() -> None:
    nothing = compartments(vehicle_row=np.empty(0, dtype=np.int64))
    forecast = forecast_due(nothing, STEADY, week_end_days=NO_WEEKS)
    assert forecast.days_ahead.shape == (0, 3)
    assert forecast.week_probability.shape == (0, 0)


def test_a_variance_that_rounding_took_below_nothing_is_none() -> None:
    meter = Meter(
        last_reading=np.array([50_000.0]),
        days_since_reading=np.zeros(1),
        moments=lambda _rows, days: (40.0 * days, -1e-12 * days),
    )
    table = meter_table(meter, np.zeros(1, np.int64), np.array([10.0]))
    assert table is not None
    assert table.variance[0] == 0.0
    assert np.isfinite([table.offset[0], table.slope[0]]).all()
