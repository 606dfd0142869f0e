"""The lines of a week: what is due by its end, and what the plan does in the same visits or brings forward."""

from datetime import date, datetime, timedelta
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain.fluid_kinds import FluidKind
from service.domain.visit_reasons import Placing, pulled_in
from service.domain.weeks import IsoWeek
from service.units import DAYS_PER_WEEK
from service.usecases.fluids.recommend_exchange import recommend_exchange
from service.usecases.visits.explain_visits import Explained, explain_visit
from service.usecases.visits.fleet_names import FleetNames, project_in_blocks
from service.usecases.visits.visit_plan import VisitPlan
from service.usecases.week.contamination_reason import contamination_reasons
from service.usecases.week.describe_line import ListedLine, line_of

IN_TIME: Final = frozenset({Placing.IN_ITS_WEEK, Placing.OVERDUE, Placing.PUBLISHED})
"""Where the reason of the line says enough."""

REASON_CHARACTERS: Final = 400
"""What a stored line has room for."""


def draft_lines(
    session: Session, names: FleetNames, plan: VisitPlan, week: IsoWeek, now: datetime
) -> list[ListedLine]:
    """Write the lines of a week, the most urgent first."""
    chosen = _chosen(plan, week)
    lines = describe_jobs(session, names, plan, now, chosen)
    return sorted(lines, key=lambda line: (line.due_q50_on or date.max, line.vehicle, line.compartment))


def describe_jobs(
    session: Session, names: FleetNames, plan: VisitPlan, now: datetime, chosen: list[int]
) -> list[ListedLine]:
    """Write some jobs of the plan as lines; only their vehicles are projected again."""
    job_of = {int(plan.jobs.compartment_id[job]): job for job in chosen}
    vehicle_ids = np.unique(plan.jobs.vehicle_id[chosen]).tolist()
    lines: dict[int, ListedLine] = {}
    for projection in project_in_blocks(session, names, now, vehicle_ids):
        columns = projection.compartments
        recommended = recommend_exchange(columns)
        listed = [row for row, key in enumerate(columns["id"]) if key in job_of]
        kinds = {
            columns["id"][row]: FluidKind(columns["kind"][row])
            for row in listed
            if columns["is_contaminated"][row]
        }
        contaminated = contamination_reasons(session, names.organisation.id or 0, kinds)
        for row in listed:
            line = line_of(names, projection, recommended, row, contaminated)
            lines[job_of[line.compartment_id]] = line
    explained: dict[int, Explained] = {}
    by_visit = _by_visit(plan, chosen)
    for job, line in lines.items():
        visit = int(plan.visit_of_job[job])
        if visit not in explained:
            explained[visit] = explain_visit(plan, names, visit)
        own = [lines[one].compartment for one in by_visit[visit] if _is_asked(plan, one) and one in lines]
        _place(plan, job, line, explained[visit], own)
    return list(lines.values())


def _chosen(plan: VisitPlan, week: IsoWeek) -> list[int]:
    """Jobs that are due by the week's end, and those of visits that the plan puts into it."""
    in_week = (plan.visits.day >= 0) & (plan.visits.day < DAYS_PER_WEEK) & (plan.weeks[0] == week)
    is_listed = (plan.jobs.due_week == 0) | in_week[plan.visit_of_job]
    chosen: list[int] = np.flatnonzero(is_listed).tolist()
    return chosen


def _by_visit(plan: VisitPlan, chosen: list[int]) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for job in chosen:
        found.setdefault(int(plan.visit_of_job[job]), []).append(job)
    return found


def _is_asked(plan: VisitPlan, job: int) -> bool:
    """Whether a job is one of those for which the vehicle comes in."""
    return bool(plan.jobs.due_week[job] <= plan.visits.due_week[plan.visit_of_job[job]])


def _place(plan: VisitPlan, job: int, line: ListedLine, explained: Explained, asked: list[str]) -> None:
    """Give a line its day, and the reasons that lie in the plan."""
    visit = int(plan.visit_of_job[job])
    line.planned_on = plan.day_of(visit)
    line.detail["due_by_week_end_probability"] = round(float(plan.jobs.due_by_end[job, 0]), 4)
    line.detail["placing"] = {"why": str(explained.placing), "text": explained.text}
    is_pulled_in = not _is_asked(plan, job) and bool(asked)
    addition = "" if explained.placing in IN_TIME else explained.text
    if is_pulled_in:
        addition = pulled_in(asked, _weeks_early(plan, job, line.planned_on))
    longer = f"{line.reason} {addition}".rstrip()
    line.reason = longer if len(longer) <= REASON_CHARACTERS else line.reason
    line.detail["is_pulled_in"] = is_pulled_in


def _weeks_early(plan: VisitPlan, job: int, day: date | None) -> int:
    """Whole weeks between the day of the visit and the day on which this job alone would be due."""
    due = plan.today + timedelta(days=int(plan.jobs.latest_days[job]))
    return max(round((due - (day or plan.today)).days / DAYS_PER_WEEK), 0)
