"""When the due lists to come will ask for a job, as far as that can be said now.

Stock leaves the shelf when a list asks for the work. A visit takes jobs along before their own date, and a list that
is published takes nothing more.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from itertools import takewhile
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain.weeks import IsoWeek
from service.engine.arrays import Floats, Integers
from service.store.repositories import due_lists, visits
from service.units import DAYS_PER_WEEK
from service.usecases.due.project_due import FleetProjection
from service.usecases.forecast.foreseen_visits import ForeseenJobs, foresee_visits
from service.usecases.forecast.listing_days import ListingDays
from service.usecases.visits.fleet_names import FleetNames, listing_probability
from service.usecases.visits.visit_jobs import jobs_of
from service.usecases.week.weekly_rule import rule_of

LOOK_AHEAD: Final = 2.0
"""Visits are followed so many times as far as the forecast reaches: one that is expected after its end may come
before, and takes others along. Own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NextLists:
    """What is known now of the lists of some weeks."""

    names: FleetNames
    weeks: tuple[IsoWeek, ...]
    prices_minor_a_litre: Mapping[int, float]
    n_published: int
    """So many of the weeks have their list."""

    begin_days: Floats
    """Whole days from now to the beginning of each week, and to the end of the last; 0 for the present one."""

    planned_days: Mapping[int, float]
    """Days from now to the visit that a published list has planned, by compartment."""

    @classmethod
    def of(
        cls, session: Session, names: FleetNames, weeks: tuple[IsoWeek, ...], now: datetime
    ) -> "NextLists":
        """Read what has been published."""
        organisation_id = names.organisation.id or 0
        published = visits.published_weeks(session, organisation_id, str(weeks[0]))
        n_published = len(list(takewhile(lambda week: str(week) in published, weeks)))
        planned = _planned_on(session, organisation_id, weeks[-1].last_day)
        today, mondays = names.organisation.today(now), (*weeks, weeks[-1].shifted(1))
        return cls(
            names=names,
            weeks=weeks,
            prices_minor_a_litre=visits.prices_minor_a_litre(session, organisation_id),
            n_published=n_published,
            begin_days=np.array([max((week.first_day - today).days, 0) for week in mondays], np.float64),
            planned_days={key: float(max((day - today).days, 0)) for key, day in planned.items()},
        )

    @property
    def listing_probability(self) -> float:
        """How likely a compartment must be due by a week's end to be listed for it."""
        return listing_probability(self.names.organisation)

    @property
    def days_ahead(self) -> int:
        """How far ahead a list has to guess."""
        return rule_of(self.names.organisation).days_ahead

    def planned_by_end(self, compartment_ids: Sequence[int]) -> tuple[Integers, Floats]:
        """Places of the compartments that have a planned visit, and 1 from its week on, shape (planned, weeks)."""
        days = self._planned(compartment_ids)
        places = np.flatnonzero(~np.isnan(days))
        return places, (self.begin_days[1:] > days[places, None]).astype(np.float64)

    def times(self, projection: FleetProjection, days: ListingDays) -> ForeseenJobs:
        """Every time that a block's compartments are foreseen to be done, but for visits on a published list.

        Compartments of which nothing says when they are due are left out.
        """
        every = jobs_of(projection, self.names, self.weeks, self.prices_minor_a_litre)
        place_of = {key: place for place, key in enumerate(projection.compartments["id"])}
        places = np.array([place_of[key] for key in every.compartment_id.tolist()], np.int64)
        is_asked = np.isfinite(days.first_days[places])
        rows, jobs = places[is_asked], every.of(is_asked)
        first, interval = self.begin_days[self.n_published], days.interval_days[rows]
        interval = np.where(np.isfinite(interval), interval, jobs.interval_days)
        found = foresee_visits(
            replace(jobs, latest_days=days.first_days[rows], interval_days=interval),
            self.names.organisation.planning,
            self._planned(jobs.compartment_id.tolist()),
            np.array([first, first + DAYS_PER_WEEK if self.n_published else self.begin_days[1]]),
            LOOK_AHEAD * float(self.begin_days[-1]),
        )
        return replace(found, job=rows[found.job])

    def asked_by_end(self, alone: Floats, visit: Integers) -> Floats:
        """Probability that a list has asked for each job by the end of each week, shape (scenarios, jobs, weeks).

        Parameters
        ----------
        alone : ndarray, shape (scenarios, jobs, weeks)
            The same of each job by itself. Those of one vehicle rise and fall together, so the largest of a visit is
            that of the job for which the vehicle comes, and of all that is done with it.
        visit : ndarray, shape (jobs,)
            Jobs with the same number are done in one visit.
        """
        numbers, place = np.unique(visit, return_inverse=True)
        order = np.argsort(place, kind="stable")
        starts = np.searchsorted(place[order], np.arange(numbers.size))
        found = alone.copy()
        if numbers.size:
            found = np.maximum.reduceat(alone[:, order], starts, axis=1)[:, place]
        found[:, :, : self.n_published] = 0.0
        return found

    def _planned(self, compartment_ids: Sequence[int]) -> Floats:
        return np.array([self.planned_days.get(key, np.nan) for key in compartment_ids], np.float64)


def _planned_on(session: Session, organisation_id: int, until: date) -> dict[int, date]:
    """Day of every open visit on the latest published list, by compartment; what was missed is done now."""
    latest = due_lists.latest_list(session, organisation_id)
    if latest is None:
        return {}
    lines = due_lists.list_lines(session, organisation_id, latest.id or 0)
    events = due_lists.events_of_lines(session, organisation_id, [line.id for line in lines])
    found: dict[int, date] = {}
    for line in lines:
        own = events.get(line.id or 0, [])
        day = due_lists.day_of(line, own)
        if day is not None and day <= until and not due_lists.is_closed(own):
            found[line.compartment_id] = day
    return found
