"""Visits followed into the future, by hand: which jobs come together, and what comes back when."""

import numpy as np
import pytest

from service.usecases.forecast.foreseen_visits import foresee_visits
from service.usecases.visits.visit_jobs import VisitJobs

PLANNING = {"visit_minor": 6_000.0, "labour_minor_an_hour": 0.0, "most_early_share": 0.25}
"""A visit less saves 60, setting up costs nothing."""


def jobs(vehicle, latest, interval, early_minor):
    n = len(vehicle)
    return VisitJobs(
        compartment_id=np.arange(1, n + 1),
        vehicle_id=np.array(vehicle),
        labour_minutes=np.zeros(n),
        latest_days=np.array(latest, float),
        interval_days=np.array(interval, float),
        early_minor_a_day=np.array(early_minor, float),
        due_by_end=np.zeros((n, 1)),
        due_week=np.zeros(n, np.int64),
        is_contaminated=np.zeros(n, np.bool_),
    )


def foresee(found, planned=None, begin_days=(0, 7), last_day=84.0):
    planned = [np.nan] * len(found) if planned is None else planned
    return foresee_visits(found, PLANNING, np.array(planned), np.array(begin_days, float), last_day)


def days_of(found, job):
    """Own dates of every time that a job is done."""
    return found.due_days[found.job == job].tolist()


def are_together(found, *jobs):
    """Whether the first times of some jobs are one visit."""
    first = [found.visit[(found.job == job) & found.is_first].item() for job in jobs]
    return len(set(first)) == 1


def test_a_visit_takes_along_what_saves_more_than_it_gives_up():
    """Ten days early at 500 a day is 5,000, less than 6,000; twenty are 10,000."""
    found = foresee(jobs([1, 1, 1], [10, 20, 30], [400, 400, 400], [500, 500, 500]))
    assert are_together(found, 0, 1)
    assert not are_together(found, 0, 2)
    assert [days_of(found, job) for job in range(3)] == [[10.0], [20.0], [30.0]]


def test_nothing_is_taken_along_with_more_than_the_share_of_its_interval_to_run():
    """A quarter of 36 days are nine, one less than ten."""
    assert not are_together(foresee(jobs([1, 1], [10, 20], [400, 36], [500, 500])), 0, 1)


def test_what_was_done_is_due_an_interval_after_the_monday_of_its_visit():
    """Due on days 10 and 20, done together on Monday, day 7; good for 40 days and for 400."""
    found = foresee(jobs([1, 1], [10, 20], [40, 400], [500, 500]))
    assert days_of(found, 0) == [10.0, 47.0, 82.0]
    assert days_of(found, 1) == [20.0]
    assert found.is_first.tolist() == [True, False, False, True]


@pytest.mark.parametrize(("day", "monday"), [(2, 0.0), (3, 3.0), (9, 3.0), (10, 10.0)])
def test_mondays_are_counted_from_the_next_one_where_the_present_week_has_no_list(day, monday):
    """Today is a Friday: Mondays are days 3 and 10, and what is due before is done today."""
    found = foresee(jobs([1], [day], [30], [500]), begin_days=(0, 3), last_day=50.0)
    assert days_of(found, 0)[1] == monday + 30.0


def test_what_comes_back_takes_others_along():
    """Done on day 7 and every 43 days, oil comes again on day 50, and takes along what is due on day 58."""
    found = foresee(jobs([1, 1], [10, 58], [43, 400], [500, 500]))
    (second,) = found.visit[(found.job == 0) & (found.due_days == 50.0)]
    assert found.visit[found.job == 1].tolist() == [second]


def test_what_comes_back_is_taken_along_in_its_turn():
    """A neighbour's visit on day 45 takes along the oil of day 50."""
    found = foresee(jobs([1, 1], [10, 45], [43, 400], [500, 500]))
    (own,) = found.visit[(found.job == 0) & (found.due_days == 50.0)]
    assert found.visit[found.job == 1].tolist() == [own]


def test_a_planned_visit_is_taken_as_done():
    """Planned for day 3 and good for 30 days: the next time is day 33, a week before its neighbour's."""
    found = foresee(jobs([1, 1], [1, 40], [30, 400], [500, 500]), planned=[3.0, np.nan])
    assert days_of(found, 0)[0] == 33.0
    assert not found.is_first[found.job == 0].any()
    (with_it,) = found.visit[(found.job == 0) & (found.due_days == 33.0)]
    assert found.visit[found.job == 1].tolist() == [with_it]


def test_what_is_late_comes_on_the_first_day_with_what_is_due_soon_after():
    found = foresee(jobs([1, 1], [-100, 12], [30, 400], [500, 500]), begin_days=(7, 14))
    assert are_together(found, 0, 1)
    assert days_of(found, 0)[:2] == [-100.0, 37.0]


def test_vehicles_have_visits_of_their_own_and_none_after_the_last_day():
    found = foresee(jobs([1, 2, 3], [10, 10, 90], [400, 400, 400], [1, 1, 1]))
    assert found.job.tolist() == [0, 1]
    assert found.visit[0] != found.visit[1]


def test_a_job_that_comes_every_day_is_done_once_a_week():
    found = foresee(jobs([1], [0], [1], [500]), last_day=30.0)
    assert found.due_days.tolist() == [0.0, 7.0, 14.0, 21.0, 28.0]
    assert np.unique(found.visit).size == 5


def test_no_jobs_have_no_visits():
    found = foresee(jobs([], [], [], []))
    assert found.job.size == found.visit.size == found.due_days.size == found.is_first.size == 0
