"""Visits and bays that several tests share; invented numbers."""

import numpy as np
from scipy.stats import norm

from service.engine.visits.requests import NO_DAY, BayHours, VisitRequests


def fleet(
    n: int, n_depots: int, n_weeks: int, *, seed: int = 1, load: float = 0.9
) -> tuple[VisitRequests, BayHours]:
    """Visits due mostly early in the horizon, five open days a week, vehicles there on four days of five."""
    rng = np.random.default_rng(seed)
    mean = rng.gamma(2.0, n_weeks / 3.0, n)
    spread = 0.15 * mean + 0.3
    depot = rng.integers(0, n_depots, n)
    hours = rng.choice([0.75, 1.0, 1.5, 2.0, 3.0, 4.0], n)
    there = rng.random((n, n_weeks * 7)) < 0.8
    regular = np.zeros((n_depots, n_weeks * 7))
    wanted = np.bincount(depot, weights=hours * (mean < n_weeks), minlength=n_depots)
    for day in range(5):
        regular[:, day::7] = np.ceil(wanted / load / (n_weeks * 5))[:, None]
    visits = VisitRequests(
        depot_index=depot,
        vehicle_index=np.arange(n),
        labour_hours=hours,
        due_probability=norm.cdf((np.arange(1, n_weeks + 1) - mean[:, None]) / spread[:, None]),
        early_cost_per_week=rng.uniform(3, 15, n),
        overdue_cost_per_week=rng.uniform(30, 200, n),
        is_available=there,
        pinned_day=np.full(n, NO_DAY),
    )
    return visits, bays(regular, 0.15 * regular)


def bays(regular: np.ndarray, overtime: np.ndarray | None = None, price: float = 50.0) -> BayHours:
    """Hours of every depot and day; no overtime unless given."""
    return BayHours(
        regular_hours=regular,
        overtime_hours=np.zeros_like(regular) if overtime is None else overtime,
        overtime_cost_per_hour=np.full(regular.shape[0], price),
    )


def due_in(
    weeks: list[int], n_weeks: int, hours: float | list[float] = 2.0, **changes: object
) -> VisitRequests:
    """Visits of one depot that are surely due in the given weeks (n_weeks: later)."""
    n = len(weeks)
    base: dict[str, object] = {
        "depot_index": np.zeros(n, np.int64),
        "vehicle_index": np.arange(n),
        "labour_hours": np.broadcast_to(np.array(hours, float), (n,)).copy(),
        "due_probability": (np.arange(n_weeks) >= np.array(weeks)[:, None]).astype(float),
        "early_cost_per_week": np.full(n, 5.0),
        "overdue_cost_per_week": np.full(n, 100.0),
        "is_available": np.ones((n, 7 * n_weeks), np.bool_),
        "pinned_day": np.full(n, NO_DAY),
    }
    return VisitRequests(**{**base, **changes})


def open_days(n_weeks: int, hours: float, days: tuple[int, ...] = (0, 1, 2, 3, 4)) -> np.ndarray:
    """One depot, the same hours on the given days of every week."""
    regular = np.zeros((1, 7 * n_weeks))
    for day in days:
        regular[0, day::7] = hours
    return regular
