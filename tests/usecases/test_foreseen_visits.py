"""Visits followed into the future, by hand: which jobs come together, how early, and what comes back."""

import numpy as np
import pytest

from service.usecases.stock.foreseen_visits import foresee_visits
from service.usecases.week.visit_jobs import VisitJobs

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


def foresee(found, planned=None, first_day=0, last_day=84.0):
    planned = [np.nan] * len(found) if planned is None else planned
    return foresee_visits(found, PLANNING, np.array(planned), first_day, last_day)


def test_a_visit_takes_along_what_saves_more_than_it_gives_up():
    """Ten days early at 500 a day is 5,000, less than 6,000; twenty are 10,000."""
    found = foresee(jobs([1, 1, 1], [10, 20, 30], [400, 400, 400], [500, 500, 500]))
    assert found.first[0] == found.first[1] != found.first[2]
    assert found.early_days.tolist() == [0.0, 10.0, 0.0]
    assert found.early_again_days.tolist() == [0.0, 0.0, 0.0]


def test_nothing_is_taken_along_with_more_than_the_share_of_its_interval_to_run():
    """A quarter of 36 days are nine, one less than ten."""
    found = foresee(jobs([1, 1], [10, 20], [400, 36], [500, 500]))
    assert found.early_days[1] == 0.0
    assert found.first[0] != found.first[1]


def test_what_comes_back_takes_others_along():
    """Oil due on day 10 and every 40 days comes again on day 50, and takes along what is due on day 58."""
    found = foresee(jobs([1, 1], [10, 58], [40, 400], [500, 500]))
    assert found.early_days.tolist() == [0.0, 8.0]


def test_what_comes_back_is_taken_along_in_its_turn():
    """A neighbour's visit on day 45 takes along the oil of day 50; nothing of it is early the first time."""
    found = foresee(jobs([1, 1], [10, 45], [40, 400], [500, 500]))
    assert found.early_days.tolist() == [0.0, 0.0]
    assert found.early_again_days.tolist() == [5.0, 0.0]


def test_a_planned_visit_is_taken_as_done():
    """Planned for day 3 and good for 30 days: the next time is day 33, a week before its neighbour's."""
    found = foresee(jobs([1, 1], [1, 40], [30, 400], [500, 500]), planned=[3.0, np.nan])
    assert found.first[0] == -1
    assert found.early_days.tolist() == [0.0, 7.0]


def test_what_is_late_comes_on_the_first_day_with_what_is_due_soon_after():
    found = foresee(jobs([1, 1], [-100, 12], [400, 400], [500, 500]), first_day=7)
    assert found.first[0] == found.first[1]
    assert found.early_days.tolist() == [0.0, 5.0]


def test_vehicles_have_visits_of_their_own_and_none_after_the_last_day():
    found = foresee(jobs([1, 2, 3], [10, 10, 90], [400, 400, 400], [1, 1, 1]))
    assert found.first[0] != found.first[1]
    assert found.first.tolist()[2] == -1


def test_a_job_that_comes_every_day_ends_with_the_days_looked_at():
    found = foresee(jobs([1], [0], [1], [500]), last_day=30.0)
    assert found.early_again_days == pytest.approx([0.0])


def test_no_jobs_have_no_visits():
    found = foresee(jobs([], [], [], []))
    assert found.first.size == found.early_days.size == found.early_again_days.size == 0
