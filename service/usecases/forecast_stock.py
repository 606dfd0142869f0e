"""Litres, used fluid and seals of the coming weeks, and how long the shelf lasts if nothing more is ordered."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.domain.fluid_exchange_defaults import EXCHANGE_DEFAULTS
from service.domain.fluid_kinds import FluidKind
from service.domain.roles import Scope
from service.domain.used_fluid import WasteStream
from service.domain.weeks import IsoWeek
from service.domain.zones import local_date, zone_named
from service.engine.demand.forecast import DemandForecast, forecast_demand
from service.engine.demand.jobs import TopUps
from service.engine.demand.lattice import (
    LatticeDistributions,
    distribution_mean,
    distribution_quantile,
    select_distributions,
)
from service.engine.orders.projection import StockProjection, project_stock
from service.engine.orders.tables import committed_supply
from service.store.repositories import consumption, fleet
from service.usecases.caller import Caller
from service.usecases.fleet_jobs import FleetJobs, load_fleet_jobs
from service.usecases.show_stock import StockLine, stock_lines
from service.usecases.supply import shelf_life_weeks, stock_on_hand

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

N_EXACT: Final = 100
"""Vehicles a week up to which their sum is worked out exactly; beyond, the expansion errs by 0.01 at most (measured
on mixes of four quantities) and takes a tenth of the time."""

STEP_LITRES: Final = 0.25
MOST_POINTS: Final = 1_024
"""Where all jobs together may take more steps than this, the steps are doubled: a quantile is then known to a
thousandth of the most that can be needed, and the mean stays exact. Own choice."""

TOP_UP_LOOK_BACK: Final = timedelta(days=364)
LEAST_TOP_UP_WEEKS: Final = 4.0
"""A history shorter than this says little about how often fluids are topped up."""

MOST_TOP_UP_SIZES: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Mean and quantiles week by week, each of shape (weeks,)."""

    mean: Floats
    q10: Floats
    q50: Floats
    q90: Floats

    @classmethod
    def of(cls, distributions: LatticeDistributions) -> "Band":
        """Summarise one distribution a week."""
        return cls(
            mean=distribution_mean(distributions),
            q10=distribution_quantile(distributions, 0.1),
            q50=distribution_quantile(distributions, 0.5),
            q90=distribution_quantile(distributions, 0.9),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """What a stream or a part comes to, week by week and over all weeks."""

    weekly: Band
    total: Band
    """Of shape (1,): the weeks are not independent, so their quantiles do not add up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FluidForecast:
    """One fluid over the coming weeks."""

    line: StockLine
    weekly: Band
    total: Band
    cumulative: LatticeDistributions
    """Demand up to the end of each week."""

    stock: StockProjection
    """The shelf if nothing is ordered beyond what is on its way."""

    used_litres: Floats
    """Expected used fluid from this fluid's jobs, shape (weeks,)."""

    seals: dict[str, Floats]
    """Expected pieces by part, each of shape (weeks,)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockForecast:
    """All fluids, all streams of used fluid and all seals."""

    today: date
    weeks: tuple[IsoWeek, ...]
    fluids: list[FluidForecast]
    used_fluid: dict[WasteStream, Need]
    seals: dict[str, Need]
    without_fluid: dict[str, float]
    """Litres expected over all weeks for compartments that name no fluid, by kind."""


def forecast_stock(session: Session, caller: Caller, now: datetime, n_weeks: int) -> StockForecast:
    """Forecast what the fleet takes and what is left on the shelf."""
    caller.require(Scope.READ)
    organisation_id = caller.organisation_id
    zone = zone_named("/time_zone", fleet.get_organisation(session, organisation_id).time_zone)
    today = local_date(now, zone)
    jobs = load_fleet_jobs(session, organisation_id, now, n_weeks)
    done = jobs.mean_done()
    top_ups = _top_ups_by_fluid(session, organisation_id, now)
    share_of_week = _share_left(now, zone)
    forecasts = []
    for line in stock_lines(session, organisation_id, today):
        rows = np.flatnonzero(jobs.fluid_id == (line.fluid.id or 0))
        demand = forecast_demand(
            jobs.demand(rows, np.zeros(rows.size, np.int64)),
            n_pools=1,
            shock=jobs.shock,
            top_ups=_top_ups(top_ups.get(line.fluid.id or 0), n_weeks, share_of_week),
            step_quantity=_step_litres(jobs, rows),
            n_exact_max=N_EXACT,
        )
        forecasts.append(_fluid_forecast(line, demand, jobs, done, rows, today))
    nameless = np.flatnonzero(jobs.fluid_id == 0)
    return StockForecast(
        today=today,
        weeks=jobs.weeks,
        fluids=forecasts,
        used_fluid=_used_fluid(jobs),
        seals=_seals(jobs),
        without_fluid=_litres_by_kind(jobs, done, nameless),
    )


def _fluid_forecast(
    line: StockLine, demand: DemandForecast, jobs: FleetJobs, done: Floats, rows: Integers, today: date
) -> FluidForecast:
    mean = distribution_mean(demand.cumulative)
    supply = committed_supply(stock_on_hand(line, today), shelf_life_weeks(line.fluid), mean)
    need = _need(demand, 0)
    seals: dict[str, Floats] = {}
    for row in rows.tolist():
        for seal in jobs.seals[row]:
            pieces = seal["pieces"] * done[row]
            seals[seal["part"]] = seals.get(seal["part"], np.zeros(len(jobs.weeks))) + pieces
    return FluidForecast(
        line=line,
        weekly=need.weekly,
        total=need.total,
        cumulative=demand.cumulative,
        stock=project_stock(demand.cumulative, supply[None, :], np.ones(1)),
        used_litres=jobs.mean_litres[rows] @ done[rows],
        seals=seals,
    )


def _used_fluid(jobs: FleetJobs) -> dict[WasteStream, Need]:
    """What comes out is what goes in: a level is left as it was found."""
    streams = [EXCHANGE_DEFAULTS[FluidKind(kind)].waste_stream for kind in jobs.kind]
    found: dict[WasteStream, Need] = {}
    for stream in WasteStream:
        rows = np.array([row for row, own in enumerate(streams) if own is stream], np.int64)
        if rows.size:
            pool, step = np.zeros(rows.size, np.int64), _step_litres(jobs, rows)
            (found[stream],) = _needs(jobs, rows, pool, None, 1, step)
    return found


def _step_litres(jobs: FleetJobs, rows: Integers) -> float:
    """Steps in which the litres of some jobs are counted."""
    most = float(jobs.option_litres[rows].max(axis=1, initial=0.0).sum())
    doublings = np.ceil(np.log2(max(most / (MOST_POINTS * STEP_LITRES), 1.0)))
    return float(STEP_LITRES * 2.0**doublings)


def _seals(jobs: FleetJobs) -> dict[str, Need]:
    rows, parts, pieces = [], [], []
    for row, seals in enumerate(jobs.seals):
        for seal in seals:
            rows.append(row)
            parts.append(seal["part"])
            pieces.append(float(seal["pieces"]))
    names = sorted(set(parts))
    if not names:
        return {}
    place = {name: number for number, name in enumerate(names)}
    pool = np.array([place[part] for part in parts], np.int64)
    chosen, quantity = np.array(rows, np.int64), np.array(pieces)
    return dict(zip(names, _needs(jobs, chosen, pool, quantity, len(names), 1.0), strict=True))


def _needs(
    jobs: FleetJobs, rows: Integers, pool: Integers, quantity: Floats | None, n_pools: int, step: float
) -> list[Need]:
    demand = forecast_demand(
        jobs.demand(rows, pool, quantity),
        n_pools=n_pools,
        shock=jobs.shock,
        step_quantity=step,
        n_exact_max=N_EXACT,
    )
    return [_need(demand, number) for number in range(n_pools)]


def _need(demand: DemandForecast, pool: int) -> Need:
    weeks = pool * demand.n_weeks + np.arange(demand.n_weeks, dtype=np.int64)
    return Need(
        weekly=Band.of(select_distributions(demand.weekly, weeks)),
        total=Band.of(select_distributions(demand.cumulative, weeks[-1:])),
    )


def _litres_by_kind(jobs: FleetJobs, done: Floats, rows: Integers) -> dict[str, float]:
    found: dict[str, float] = {}
    expected = jobs.mean_litres * done.sum(axis=1)
    for row in rows.tolist():
        found[jobs.kind[row]] = found.get(jobs.kind[row], 0.0) + float(expected[row])
    return found


def _top_ups_by_fluid(
    session: Session, organisation_id: int, now: datetime
) -> dict[int, tuple[float, list[float]]]:
    """Top-ups a week and their sizes, by fluid."""
    first = consumption.first_service_at(session, organisation_id)
    if first is None:
        return {}
    since = max(first, now - TOP_UP_LOOK_BACK)
    n_weeks = max((now - since) / timedelta(weeks=1), LEAST_TOP_UP_WEEKS)
    sizes: dict[int, list[float]] = {}
    for fluid_id, litres in consumption.read_top_ups(session, organisation_id, since):
        sizes.setdefault(fluid_id, []).append(litres)
    return {fluid_id: (len(own) / n_weeks, own[-MOST_TOP_UP_SIZES:]) for fluid_id, own in sizes.items()}


def _top_ups(
    known: tuple[float, Sequence[float]] | None, n_weeks: int, share_of_week: float
) -> TopUps | None:
    if known is None:
        return None
    per_week, sizes = known
    expected = np.full((1, n_weeks), per_week)
    expected[0, 0] *= share_of_week
    return TopUps(
        expected_count=expected,
        option_quantity=np.array(sizes, np.float64),
        option_probability=np.full(len(sizes), 1.0 / len(sizes)),
        option_offsets=np.array([0, len(sizes)], np.int64),
    )


def _share_left(now: datetime, zone: ZoneInfo) -> float:
    """Share of the present week that is still ahead."""
    local = now.astimezone(zone)
    return 1.0 - (local.weekday() + (local.hour + local.minute / 60.0) / 24.0) / 7.0
