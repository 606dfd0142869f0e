"""Which jobs of a vehicle are done in one visit, at the organisation's own costs."""

import numpy as np

from service.domain.planning_terms import planned_with
from service.domain.service_work import VISIT_SETUP_MINUTES
from service.engine.arrays import Integers
from service.engine.visits.bundling import VisitBundles, bundle_visits
from service.units import MINUTES_PER_HOUR
from service.usecases.visits.visit_jobs import VisitJobs


def bundle_jobs(jobs: VisitJobs, planning: dict[str, float], first_day: int) -> tuple[Integers, VisitBundles]:
    """Make visits of jobs, none before `first_day` (days from now); gives the keys of the vehicles besides."""
    vehicle_ids, counts = np.unique(jobs.vehicle_id, return_counts=True)
    made = bundle_visits(
        np.maximum(jobs.latest_days, float(first_day)),
        jobs.early_minor_a_day,
        np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        np.full(vehicle_ids.size, _visit_minor(planning)),
        planned_with(planning, "most_early_share") * jobs.interval_days,
    )
    return vehicle_ids, made


def _visit_minor(planning: dict[str, float]) -> float:
    """What one visit less would save: its own cost, and the bay time of setting up."""
    setup_hours = VISIT_SETUP_MINUTES.value / MINUTES_PER_HOUR
    return planned_with(planning, "visit_minor") + setup_hours * planned_with(
        planning, "labour_minor_an_hour"
    )
