"""Whether dates held: checked by hand, and on vehicles whose law is known."""

import numpy as np
import pytest
from scipy.stats import gamma

from service.engine.due.limits import Meter
from service.engine.skill.due_dates import date_exercises, score_dates

DAYS = 500
PACE_KM, SHAPE = 60.0, 0.5
"""Mean distance a day, and the shape of its gamma law: uneven days."""


def fleet(rng, n, gap_days, days=DAYS):
    """Vehicles whose daily distances are independent gamma variables, read every so many days."""
    daily = rng.gamma(SHAPE, PACE_KM / SHAPE, (n, days))
    true_km = np.concatenate([np.zeros((n, 1)), np.cumsum(daily, axis=1)], axis=1)
    read = np.arange(0, days + 1, gap_days)
    offsets = np.arange(n + 1) * read.size
    return np.tile(read, n).astype(np.float64), true_km[:, read].ravel(), offsets, true_km


def true_law(odometer_km, exercises):
    """A meter that states the very law: the sum of t gamma days is gamma with t times its shape."""

    def moments(rows, days):
        return PACE_KM * np.maximum(days, 1e-6), PACE_KM**2 / SHAPE * np.maximum(days, 1e-6)

    start = odometer_km[exercises.origins.origin]
    return Meter(last_reading=start, days_since_reading=np.zeros(start.size), moments=moments)


def scored(time, odometer, offsets, horizons=(30.0, 90.0)):
    exercises = date_exercises(time, odometer, offsets, horizons)
    return score_dates(exercises, true_law(odometer, exercises))


def test_a_limit_is_reached_between_the_readings_on_both_sides():
    """By hand: 50 km a day, read every tenth day; from day 40 on a pause of ten days, then 100 km a day."""
    time = np.arange(0.0, 101.0, 10.0)
    odometer = np.array([0, 500, 1000, 1500, 2000, 2000, 3000, 4000, 5000, 6000, 7000], dtype=np.float64)
    exercises = date_exercises(time, odometer, np.array([0, 11]), (30.0,))
    origin = time[exercises.origins.origin]
    np.testing.assert_array_equal(origin, [40.0, 50.0, 60.0, 70.0])
    pace = np.array([2000 / 40, 2000 / 50, 3000 / 60, 4000 / 70])
    np.testing.assert_allclose(exercises.limit_km, [2000, 2000, 3000, 4000] + 30.0 * pace)
    np.testing.assert_allclose(exercises.reached_days, [25.0, 12.0, 15.0, 30.0 * 40 / 70])
    np.testing.assert_array_equal(exercises.watched_days, [60.0, 50.0, 40.0, 30.0])


def test_what_no_reading_shows_was_not_reached():
    time = np.arange(0.0, 101.0, 10.0)
    odometer = np.minimum(50.0 * time, 3000.0)
    exercises = date_exercises(time, odometer, np.array([0, 11]), (30.0,))
    reached = dict(zip(time[exercises.origins.origin].tolist(), exercises.reached_days.tolist(), strict=True))
    assert reached[40.0] == np.inf
    assert time[exercises.origins.origin].max() == 70.0


def test_vehicles_that_are_read_too_seldom_for_a_horizon_say_nothing_of_it():
    time, odometer, offsets, _ = fleet(np.random.default_rng(5), 3, 30)
    exercises = date_exercises(time, odometer, offsets, (30.0, 90.0))
    assert set(exercises.origins.horizon_days.tolist()) == {90.0}


def test_interpolated_dates_are_those_of_the_true_odometer():
    """Read weekly, no day is wrong by a week, and on average they are right."""
    time, odometer, offsets, true_km = fleet(np.random.default_rng(6), 40, 7)
    exercises = date_exercises(time, odometer, offsets, (90.0,))
    known = np.isfinite(exercises.reached_days)
    rows = np.flatnonzero(known)
    days = [
        np.interp(exercises.limit_km[row], true_km[exercises.origins.vehicle[row]], np.arange(DAYS + 1))
        - time[exercises.origins.origin[row]]
        for row in rows.tolist()
    ]
    error = exercises.reached_days[rows] - np.array(days)
    assert rows.size > 300
    assert np.max(np.abs(error)) < 7.0
    assert abs(np.mean(error)) < 0.25


def test_dates_of_the_true_law_hold_eight_times_in_ten():
    """With the exact law P10 to P90 has to hold 80 % of the dates, a tenth before and a tenth after it.

    Forecasts of one vehicle overlap, so the tolerance is three standard errors over vehicles, not over dates.
    """
    n = 400
    cards = scored(*fleet(np.random.default_rng(7), n, 3)[:3])
    assert [card.horizon_days for card in cards] == [0.0, 30.0, 90.0]
    for card in cards[1:]:
        assert card.n_vehicles == n
        error = 3.0 * np.sqrt(0.8 * 0.2 / n)
        assert card.held_fraction == pytest.approx(0.8, abs=error)
        assert card.early_fraction == pytest.approx(0.1, abs=error)
        assert card.late_fraction == pytest.approx(0.1, abs=error)
    assert cards[0].n_dates == cards[1].n_dates + cards[2].n_dates


def test_a_history_that_ends_early_does_not_make_dates_look_early():
    """Histories of hardly more than the horizon: counting all that were reached would leave the late ones out."""
    n = 600
    time, odometer, offsets, _ = fleet(np.random.default_rng(8), n, 3, days=150)
    exercises = date_exercises(time, odometer, offsets, (90.0,))
    card = score_dates(exercises, true_law(odometer, exercises))[-1]
    law = gamma(SHAPE * exercises.origins.horizon_days, scale=PACE_KM / SHAPE)
    assert law.mean()[0] == pytest.approx(PACE_KM * 90.0)
    assert card.n_open > 0.2 * card.n_dates
    assert card.late_fraction == pytest.approx(0.1, abs=3.0 * np.sqrt(0.09 / n))
    # Of what was reached by the end of each history, too little is late.
    said = score_dates_of_all(exercises, odometer)
    reached = np.isfinite(exercises.reached_days)
    assert np.mean(exercises.reached_days[reached] > said[reached]) < 0.07


def score_dates_of_all(exercises, odometer):
    """P90 of every exercise by the law itself: the day by which the distance is covered with a chance of 0.9."""
    ahead = exercises.limit_km - odometer[exercises.origins.origin]
    days = np.arange(1, 400)
    chance = gamma.sf(ahead[:, None], SHAPE * days[None, :], scale=PACE_KM / SHAPE)
    return days[np.argmax(chance >= 0.9, axis=1)].astype(np.float64)


def test_what_has_not_been_reached_after_p90_is_late_by_at_least_what_is_known():
    """A vehicle that stands from day 200 on: read until day 500, its limit of day 203 was never reached."""
    time, odometer, offsets, _ = fleet(np.random.default_rng(9), 1, 3)
    odometer = np.minimum(odometer, odometer[time <= 200.0].max())
    exercises = date_exercises(time, odometer, offsets, (90.0,))
    card = score_dates(exercises, true_law(odometer, exercises))[-1]
    assert card.n_late_still > 0
    assert card.late_fraction >= card.n_late_still / card.n_dates
    assert np.isfinite(card.absolute_error_days)
    assert card.absolute_error_days > 30.0


def test_without_a_past_there_are_no_dates():
    (card,) = scored(np.zeros(0), np.zeros(0), np.zeros(3, dtype=np.int64))
    assert (card.n_dates, card.n_open) == (0, 0)
    assert np.isnan(card.held_fraction)
