"""Jobs that come back within the weeks, against lists that are simulated one by one.

How often a job is done by a day is how many of its limits the vehicle has passed by then: {N(t) >= n} = {S_n <= t}
(Cox, Renewal Theory, 1962, section 1.3, from memory). Here S_n is passed once the odometer, a path that never falls,
stands at the n-th limit, so the times between are not independent: who is early once is early again.
"""

from datetime import timedelta

import numpy as np
import pytest

from service.usecases.forecast.fleet_jobs import load_fleet_jobs
from service.usecases.visits.fleet_names import load_names, project_in_blocks
from tests.service_fixtures import START

N_WEEKS = 12
INTERVAL_KM = 3_000.0 + 250.0 * np.arange(14)
RUN_KM = 900.0
"""Since the oil was changed. The vans' intervals end on all days of a week, as those of a mixed fleet do."""

KM_A_DAY = 100.0
N_PATHS = 40_000


@pytest.fixture
def vans(operator):
    """Vans whose weeks differ by a third, all in the same way, and their oil."""
    operator.post("/v1/fluids", {"fluid": "OIL-B", "kind": "engine_oil_diesel_light"})
    rng = np.random.default_rng(11)
    weekly = 7.0 * KM_A_DAY * np.exp(0.35 * rng.standard_normal(52))
    odometer = 90_000.0 - np.concatenate([[0.0], np.cumsum(weekly)])
    for number, interval_km in enumerate(INTERVAL_KM.tolist()):
        name = f"VAN-{number}"
        operator.post("/v1/vehicles", {"vehicle": name, "class": "van", "depot": "North"})
        readings = [
            {
                "vehicle": name,
                "taken_at": (START - timedelta(weeks=week, hours=1)).isoformat(),
                "odometer": round(km, 1),
                "unit": "km",
            }
            for week, km in enumerate(odometer.tolist())
        ]
        assert operator.post("/v1/readings", {"readings": readings}).json()["accepted"] == 53
        oil = {
            "kind": "engine_oil_diesel_light",
            "fluid": "OIL-B",
            "total_litres": 6.0,
            "drainable_litres": 6.0,
            "interval_km": interval_km,
            "interval_months": 48,
            "life_km": 400_000,
            "last_service_on": (START - timedelta(days=9)).date().isoformat(),
            "last_service_odometer_km": 90_000.0 - RUN_KM,
        }
        assert operator.post(f"/v1/vehicles/{name}/compartments", oil).status_code == 201
    return operator


def simulated(database, organisation_id):
    """How often the lists of the weeks ask for each van's oil on each of many paths, shape (paths, vans).

    A path runs a share more or less than expected, gamma with the moments of the vans' own meters in twelve weeks. A
    list asks if the limit will be passed by its week's end, and the work is done on its Monday.
    """
    with database.snapshot() as session:
        (projection,) = project_in_blocks(session, load_names(session, organisation_id), START)
    meter, row = projection.question.odometer, np.zeros(1, np.int64)
    days = np.concatenate([[0.0], projection.question.week_end_days[:N_WEEKS]])[:, None]
    mean, variance = (values[:, 0] for values in meter.moments(row, meter.days_since_reading[row] + days))
    shape = mean[-1] ** 2 / variance[-1]
    km = np.random.default_rng(12).gamma(shape, 1.0 / shape, N_PATHS) * mean[:, None]
    limit = np.repeat(INTERVAL_KM[None, :] - RUN_KM, N_PATHS, axis=0)
    done = np.zeros(limit.shape, np.int64)
    for week in range(N_WEEKS):
        is_asked = km[week + 1][:, None] >= limit
        done += is_asked
        limit = np.where(is_asked, km[week][:, None] + INTERVAL_KM, limit)
    return done


def test_repeats_are_as_likely_as_in_lists_that_are_simulated(database, vans):
    """Over all vans, of every number of times within .04 of the simulation, and the mean within a thirtieth.

    What is left between the two: that a list comes earlier than its day is reckoned in days at the expected pace.
    """
    with database.snapshot() as session:
        jobs = load_fleet_jobs(session, vans.organisation_id, START, N_WEEKS)
    usual = int(np.argmin(np.abs(jobs.shock.factor - 1.0)))
    last = jobs.due_probability[usual, :, -1].astype(float)
    done = simulated(database, vans.organisation_id)
    assert done[:, 0].std() > 0.4, "the test is of no use where every path is alike"
    for times in range(1, 7):
        each = [np.sort(last[jobs.vehicle_id == one])[::-1] for one in np.unique(jobs.vehicle_id)]
        found = np.mean([one[times - 1] if times <= one.size else 0.0 for one in each])
        assert found == pytest.approx((done >= times).mean(), abs=0.04), times
    assert last.sum() == pytest.approx(done.mean() * INTERVAL_KM.size, rel=1 / 30)


def test_who_comes_early_comes_early_again(database, vans):
    """The doubt about the n-th time grows as n, which is that of one path, and not as its root.

    The root would be that of independent times (variance of a sum). Measured from the first time to the last that is
    certain to come within half a year.
    """
    with database.snapshot() as session:
        jobs = load_fleet_jobs(session, vans.organisation_id, START, 26)
    usual = int(np.argmin(np.abs(jobs.shock.factor - 1.0)))
    by_end = jobs.due_probability[usual, jobs.vehicle_id == jobs.vehicle_id[0]].astype(float)
    week, spread = np.arange(26), []
    for row in by_end[by_end[:, -1] > 0.999]:
        mass = np.diff(row, prepend=0.0)
        mean = mass @ week
        spread.append((mean, np.sqrt(mass @ (week - mean) ** 2)))
    (first, first_sd), *_, (last, last_sd) = sorted(spread)
    assert last > 2.5 * first
    assert last_sd / first_sd > 1.3 * np.sqrt(last / first)
