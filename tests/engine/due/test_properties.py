"""What holds for every due forecast, whatever the fleet."""

from dataclasses import fields, replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.due.forecast import DueForecast, forecast_due
from service.engine.due.limits import CompartmentLimits, Condition, Limit, Meter
from tests.engine.due.questions import SIX_MONTHS, ageing, linear_moments, meter

seeds = st.integers(0, 2**32 - 1)


class Fleet:
    """Random vehicles, five compartments each, with every mixture of limits, missing readings included."""

    def __init__(self, seed: int, n_vehicles: int = 12) -> None:
        rng = np.random.default_rng(seed)
        n = 5 * n_vehicles
        rate = np.exp(rng.normal(4.0, 0.8, n_vehicles)) * (rng.random(n_vehicles) > 0.1)
        self.last_km = np.where(rng.random(n_vehicles) < 0.1, np.nan, rng.uniform(0.0, 4e5, n_vehicles))
        self.last_hours = np.where(rng.random(n_vehicles) < 0.4, np.nan, rng.uniform(0.0, 1e4, n_vehicles))
        age = rng.uniform(0.0, 40.0, n_vehicles)
        self.odometer = meter(linear_moments(rate, rate * 0.3, rate * 20.0), self.last_km, age)
        self.hour_meter = meter(linear_moments(rate / 40.0, rate / 100.0, rate / 100.0), self.last_hours, age)
        row = np.repeat(np.arange(n_vehicles), 5)
        interval = rng.choice([5e3, 15e3, 4e4, 1e5], n)

        def some(values: np.ndarray, share: float) -> np.ndarray:
            return np.where(rng.random(n) < share, values, np.nan)

        used = some(rng.uniform(0.0, 0.9, n), 0.5)
        self.limits = CompartmentLimits(
            vehicle_row=row,
            distance_km=some(np.nan_to_num(self.last_km[row]) + interval * rng.uniform(-0.1, 1.0, n), 0.8),
            hours=some(
                np.nan_to_num(self.last_hours[row]) + 0.03 * interval * rng.uniform(-0.1, 1.0, n), 0.5
            ),
            calendar_days_ahead=some(rng.uniform(-30.0, 1400.0, n), 0.5),
            is_contaminated=rng.random(n) < 0.05,
            condition=ageing(
                life_used=used,
                life_used_sd=rng.uniform(0.0, 0.2, n),
                life_limit=0.8,
                per_km=rng.uniform(0.0, 1.5, n) / interval,
                per_day=rng.uniform(0.0, 1e-3, n),
                per_hour=rng.uniform(0.0, 1e-3, n),
                cv=rng.uniform(0.0, 0.5, n),
            ),
        )

    def ask(self, limits: CompartmentLimits | None = None, **changes: object) -> DueForecast:
        question: dict[str, object] = {"week_end_days": SIX_MONTHS, "hour_meter": self.hour_meter, **changes}
        return forecast_due(limits or self.limits, self.odometer, **question)  # type: ignore[arg-type]


def pick(limits: CompartmentLimits, order: np.ndarray) -> CompartmentLimits:
    """Rows of the limits in another order."""
    assert limits.condition is not None
    condition = Condition(**{f.name: getattr(limits.condition, f.name)[order] for f in fields(Condition)})
    return CompartmentLimits(
        condition=condition,
        **{f.name: getattr(limits, f.name)[order] for f in fields(limits) if f.name != "condition"},
    )


def assert_same_bits(
    first: DueForecast, second: DueForecast, order: np.ndarray | slice = slice(None)
) -> None:
    for field in fields(DueForecast):
        np.testing.assert_array_equal(
            getattr(first, field.name)[order], getattr(second, field.name), field.name
        )


@given(seeds)
def test_quantiles_rise_with_the_probability_and_lie_within_the_horizon(seed: int) -> None:
    days = Fleet(seed).ask(probabilities=np.array([0.1, 0.3, 0.5, 0.7, 0.9])).days_ahead
    known = days[~np.isnan(days).any(axis=1)]
    assert (known[:, 1:] >= known[:, :-1]).all()
    assert ((known >= 0.0) & ((known <= 1095.0) | np.isinf(known))).all()


@given(seeds)
def test_probabilities_are_complete(seed: int) -> None:
    """Week by week and the rest, and limit by limit and none, each add up to 1; float32 weeks to 1e-5."""
    forecast = Fleet(seed).ask()
    weeks = forecast.week_probability
    assert (weeks >= 0.0).all()
    assert (weeks.sum(axis=1) <= 1.0 + 1e-5).all()
    assert (forecast.limit_probability >= -1e-12).all()
    np.testing.assert_allclose(forecast.limit_probability.sum(axis=1), 1.0, atol=1e-12)
    assert (weeks[:, 0] >= forecast.overdue_probability - 1e-6).all()


@given(seeds)
def test_quantiles_and_weeks_tell_the_same(seed: int) -> None:
    """Due by the end of a week with at least p exactly if the p quantile lies before it, to the date's tolerance."""
    fleet = Fleet(seed)
    forecast = fleet.ask()
    by_end = np.cumsum(forecast.week_probability.astype(np.float64), axis=1)
    for place, probability in enumerate((0.1, 0.5, 0.9)):
        days = forecast.days_ahead[:, place, np.newaxis]
        assert (by_end[days < SIX_MONTHS - 0.02] >= np.float64(probability) - 1e-5).all()
        assert (by_end[np.nan_to_num(days, nan=np.inf) > SIX_MONTHS + 0.02] <= probability + 1e-5).all()


@given(seeds)
def test_one_more_limit_never_delays(seed: int) -> None:
    """Each kind of limit taken away in turn; .02 days is well above the tolerance of a date."""
    fleet = Fleet(seed)
    all_limits = fleet.ask()
    nothing = np.full(fleet.limits.vehicle_row.size, np.nan)
    for less in (
        {"distance_km": nothing},
        {"hours": nothing},
        {"calendar_days_ahead": nothing},
        {"condition": None},
        {"is_contaminated": np.zeros(nothing.size, dtype=np.bool_)},
    ):
        fewer = fleet.ask(replace(fleet.limits, **less))  # type: ignore[arg-type]
        later = np.nan_to_num(fewer.days_ahead, nan=np.inf)
        assert (np.nan_to_num(all_limits.days_ahead, nan=np.inf) <= later + 0.02).all()
        assert (all_limits.overdue_probability >= fewer.overdue_probability - 1e-9).all()
        sums = [np.cumsum(f.week_probability.astype(np.float64), axis=1) for f in (all_limits, fewer)]
        assert (sums[0] >= sums[1] - 1e-5).all()


@given(seeds, st.floats(1.0, 5000.0))
def test_a_farther_distance_limit_is_never_due_earlier(seed: int, farther_km: float) -> None:
    fleet = Fleet(seed)
    farther = replace(fleet.limits, distance_km=fleet.limits.distance_km + farther_km)
    near, far = fleet.ask().days_ahead, fleet.ask(farther).days_ahead
    assert (np.nan_to_num(far, nan=np.inf) >= np.nan_to_num(near, nan=np.inf) - 0.02).all()


@given(seeds, st.floats(0.5, 1.7))
def test_the_unit_of_distance_does_not_matter(seed: int, scale: float) -> None:
    """All distances times c, squares times c², ageing a km divided by c: same dates, to their tolerance."""
    fleet = Fleet(seed)

    def scaled(rows: np.ndarray, days: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        mean, variance = fleet.odometer.moments(rows, days)
        return mean * scale, variance * scale**2

    odometer = Meter(
        last_reading=fleet.last_km * scale,
        days_since_reading=fleet.odometer.days_since_reading,
        moments=scaled,
    )
    assert fleet.limits.condition is not None
    condition = replace(fleet.limits.condition, life_per_km=fleet.limits.condition.life_per_km / scale)
    limits = replace(fleet.limits, distance_km=fleet.limits.distance_km * scale, condition=condition)
    other = forecast_due(limits, odometer, fleet.hour_meter, week_end_days=SIX_MONTHS)
    np.testing.assert_allclose(other.days_ahead, fleet.ask().days_ahead, atol=0.02)


@given(seeds, st.integers(1, 70))
@settings(max_examples=25)
def test_order_and_block_size_do_not_change_a_bit(seed: int, block_rows: int) -> None:
    fleet = Fleet(seed)
    whole = fleet.ask()
    assert_same_bits(whole, fleet.ask())
    assert_same_bits(whole, fleet.ask(block_rows=block_rows))
    order = np.random.default_rng(seed).permutation(fleet.limits.vehicle_row.size)
    assert_same_bits(whole, fleet.ask(pick(fleet.limits, order), block_rows=block_rows), order)


def test_a_block_as_large_as_they_come_says_what_small_ones_say() -> None:
    fleet = Fleet(28, n_vehicles=6_000)
    assert_same_bits(fleet.ask(), fleet.ask(block_rows=1_000))


@given(seeds)
@settings(max_examples=25)
def test_the_biting_limit_is_the_most_likely_one(seed: int) -> None:
    forecast = Fleet(seed).ask()
    named = forecast.limit_probability[np.arange(forecast.biting_limit.size), forecast.biting_limit]
    some = forecast.biting_limit != Limit.NONE
    np.testing.assert_array_equal(named[some], forecast.limit_probability[some, 1:].max(axis=1))
    np.testing.assert_array_equal(forecast.limit_probability[~some, 1:].max(axis=1, initial=0.0), 0.0)
