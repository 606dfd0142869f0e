"""When the due lists to come will ask for a job, as far as that can be said now.

Stock leaves the shelf when a list asks for the work, and a list goes by what is believed on its day. Readings will
have told by then how far a vehicle went; how worn its fluid really is they will not, so that doubt does not spread the
work over the weeks. A visit takes jobs along before their own date, and a list that is published takes nothing more.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import takewhile
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from sqlmodel import Session

from service.domain.weeks import IsoWeek
from service.domain.zones import local_date
from service.engine.due.limits import CompartmentLimits, Condition
from service.store.repositories import due_lists, visits
from service.usecases.due.project_due import FleetProjection
from service.usecases.stock.foreseen_visits import ForeseenVisits, foresee_visits
from service.usecases.week.fleet_names import FleetNames, listing_probability
from service.usecases.week.visit_jobs import jobs_of, use_a_day

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

LEAST_APPROACH: Final = 0.05
"""Where a rate varies so much that belief hardly grows with what is used up, a limit stays finite."""


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

    planned_week: Mapping[int, int]
    """Week of the visit that a published list has planned, by compartment."""

    @classmethod
    def of(
        cls, session: Session, names: FleetNames, weeks: tuple[IsoWeek, ...], now: datetime
    ) -> "NextLists":
        """Read what has been published."""
        organisation_id = names.organisation.id or 0
        published = visits.published_weeks(session, organisation_id, str(weeks[0]))
        n_published = len(list(takewhile(lambda week: str(week) in published, weeks)))
        today, mondays = local_date(now, names.zone), (*weeks, weeks[-1].shifted(1))
        return cls(
            names=names,
            weeks=weeks,
            prices_minor_a_litre=visits.prices_minor_a_litre(session, organisation_id),
            n_published=n_published,
            begin_days=np.array([max((week.first_day - today).days, 0) for week in mondays], np.float64),
            planned_week=_planned_weeks(session, organisation_id, weeks),
        )

    @property
    def listing_probability(self) -> float:
        """How likely a compartment must be due by a week's end to be listed for it."""
        return listing_probability(self.names.organisation)

    def visits(self, projection: FleetProjection) -> ForeseenVisits:
        """The visits to come of a block's compartments; those of which nothing says when they are due have none."""
        jobs = jobs_of(projection, self.names, self.weeks, self.prices_minor_a_litre)
        weeks = [self.planned_week.get(key) for key in jobs.compartment_id.tolist()]
        planned = np.array([np.nan if week is None else self.begin_days[week] for week in weeks], np.float64)
        first, last = self.begin_days[self.n_published], self.begin_days[-1]
        found = foresee_visits(jobs, self.names.organisation.planning, planned, int(first), float(last))
        place_of = {key: place for place, key in enumerate(projection.compartments["id"])}
        rows = [place_of[key] for key in jobs.compartment_id.tolist()]
        visit, early = np.full(len(place_of), -1), np.zeros((2, len(place_of)))
        visit[rows], early[0, rows], early[1, rows] = found.first, found.early_days, found.early_again_days
        return ForeseenVisits(first=visit, early_days=early[0], early_again_days=early[1])

    def believed(self, limits: CompartmentLimits) -> CompartmentLimits:
        """Put each fluid's limit where it will be believed to be worn with the probability that lists ask for.

        The doubt about it, which lies in that limit now, is taken as normal: the standard deviation of today, and the
        variation of the rate times what is used up until then.
        """
        if limits.condition is None:
            return limits
        return replace(limits, condition=_believed(limits.condition, float(ndtri(self.listing_probability))))

    def asked_by_end(self, alone: Floats, visit: Integers) -> Floats:
        """Probability that a list has asked for each job by the end of each week, shape (scenarios, jobs, weeks).

        Parameters
        ----------
        alone : ndarray, shape (scenarios, jobs, weeks)
            The same for a job that comes by itself. Those of one vehicle rise and fall together, so the largest is
            that of their visit.
        visit : ndarray, shape (jobs,)
            Jobs with the same number come together; -1 for those that come by themselves.
        """
        found = alone.copy()
        rows = np.flatnonzero(visit >= 0)
        rows = rows[np.argsort(visit[rows], kind="stable")]
        if rows.size:
            starts = np.flatnonzero(np.diff(visit[rows], prepend=-1))
            largest = np.maximum.reduceat(alone[:, rows], starts, axis=1)
            found[:, rows] = np.repeat(largest, np.diff(starts, append=rows.size), axis=1)
        found[:, :, : self.n_published] = 0.0
        return found


def drawn_nearer(limits: CompartmentLimits, projection: FleetProjection, days: Floats) -> CompartmentLimits:
    """Put limits where they are reached so many days earlier, each of shape (n,), at the vehicles' present use."""
    rows, question = limits.vehicle_row, projection.question
    km = days * use_a_day(question.odometer)[rows]
    hours = np.nan if question.hours is None else days * use_a_day(question.hours)[rows]
    condition = limits.condition
    if condition is not None:
        life = condition.life_per_day * days
        life += np.nan_to_num(condition.life_per_km * km) + np.nan_to_num(condition.life_per_hour * hours)
        nearer = np.maximum(condition.life_limit_fraction - life, 0.0)
        condition = replace(condition, life_limit_fraction=nearer)
    return replace(
        limits,
        distance_km=limits.distance_km - km,
        hours=limits.hours - hours,
        calendar_days_ahead=limits.calendar_days_ahead - days,
        condition=condition,
    )


def _believed(condition: Condition, score: float) -> Condition:
    # Believed used up once (used + gain - limit) / (sd + cv * gain) is the score.
    sd, cv = condition.life_used_sd_fraction, condition.rate_cv_fraction
    left = condition.life_limit_fraction - condition.life_used_fraction
    gain = np.maximum(left + score * sd, 0.0) / np.maximum(1.0 - score * cv, LEAST_APPROACH)
    certain = np.zeros_like(sd)
    return replace(
        condition,
        life_limit_fraction=condition.life_used_fraction + gain,
        life_used_sd_fraction=certain,
        rate_cv_fraction=certain,
    )


def _planned_weeks(session: Session, organisation_id: int, weeks: tuple[IsoWeek, ...]) -> dict[int, int]:
    """Week of every open visit on the latest published list, by compartment; what was missed is done now."""
    latest = due_lists.latest_list(session, organisation_id)
    if latest is None:
        return {}
    lines = due_lists.list_lines(session, organisation_id, latest.id or 0)
    events = due_lists.events_of_lines(session, organisation_id, [line.id for line in lines])
    found: dict[int, int] = {}
    for line in lines:
        own = events.get(line.id or 0, [])
        day = due_lists.day_of(line, own)
        if day is None or due_lists.is_closed(own):
            continue
        week = max(weeks[0].weeks_until(IsoWeek.of(day)), 0)
        if week < len(weeks):
            found[line.compartment_id] = week
    return found
