"""What a plan of visits says: which visits there are, of which jobs, on which days, and how full the bays are."""

from dataclasses import dataclass
from datetime import date, timedelta

from service.domain.weeks import IsoWeek
from service.engine.arrays import Booleans, Floats, Integers
from service.engine.visits.requests import NO_DAY
from service.store.tables.organisation import Depot
from service.usecases.visits.fixed_days import Fixed
from service.usecases.visits.visit_jobs import VisitJobs


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedVisits:
    """n visits, ordered by vehicle and date; columns of shape (n,)."""

    vehicle_id: Integers
    depot_row: Integers
    labour_minutes: Floats
    """With setting up."""

    due_week: Integers
    """Week of the plan in which it should be at the latest; the number of weeks means after them."""

    latest_days: Floats
    """Days from now until the first of its jobs is due; 0 when it is late already."""

    overdue_probability: Floats
    """Shape (n, weeks): probability that something of it is due by the end of each week."""

    early_minor_a_week: Floats
    overdue_minor_a_week: Floats
    saved_minor: Floats
    """What the bundle saves against a visit for each of its jobs."""

    is_first: Booleans
    """The vehicle's next visit; a pin speaks of this one."""

    is_split: Booleans
    """One of several visits, because together they are longer than any day."""

    day: Integers
    """Day of the plan, or -1."""

    outcome: Integers
    """A `VisitOutcome`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitPlan:
    """Visits of a fleet over whole weeks, the first one perhaps begun."""

    weeks: tuple[IsoWeek, ...]
    today: date
    depots: list[Depot]
    jobs: VisitJobs
    visit_of_job: Integers
    visits: PlannedVisits
    fixed: Fixed
    open_minutes: Floats
    """Shape (depots, days)."""

    booked_minutes: Floats
    """Shape (depots, days)."""

    overbooked_minutes: Floats
    """Shape (depots, days): beyond what the depot can work, by visits whose day is fixed."""

    def day_of(self, place: int) -> date | None:
        """Day of a visit, if it has one."""
        index = int(self.visits.day[place])
        return None if index == NO_DAY else self.weeks[0].first_day + timedelta(days=index)
