"""Litres, used fluid and parts of the coming weeks, and how long the shelf lasts if nothing more is ordered."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from sqlmodel import Session

from service.domain.fluid_exchange_defaults import EXCHANGE_DEFAULTS
from service.domain.fluid_kinds import FluidKind
from service.domain.planning_terms import planned_with
from service.domain.roles import Scope
from service.domain.used_fluid import WasteStream
from service.domain.weeks import IsoWeek
from service.engine.arrays import Floats, Integers
from service.engine.demand.forecast import DemandForecast
from service.engine.demand.jobs import TopUps
from service.engine.demand.lattice import (
    LatticeDistributions,
    distribution_mean,
)
from service.engine.demand.sums import add_independent
from service.engine.orders.projection import StockProjection, project_stock
from service.engine.orders.tables import committed_supply
from service.store.repositories import consumption, fleet
from service.store.repositories.stock_items import ItemKey
from service.usecases.access.caller import Caller
from service.usecases.forecast.demand_bands import Band, NamelessNeed, Need
from service.usecases.forecast.demand_of_jobs import litres_of_jobs, pieces_of_jobs, weeks_of_pool
from service.usecases.forecast.fleet_jobs import FleetJobs, load_fleet_jobs
from service.usecases.forecast.other_uses import OtherUses
from service.usecases.forecast.supply import shelf_life_weeks, stock_on_hand
from service.usecases.stock.show_stock import StockLine, stock_lines

TOP_UP_LOOK_BACK: Final = timedelta(days=364)
LEAST_TOP_UP_WEEKS: Final = 4.0
"""A history shorter than this says little about how often fluids are topped up."""

MOST_TOP_UP_SIZES: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemForecast:
    """One fluid or part over the coming weeks, in litres or pieces."""

    line: StockLine
    weekly: Band
    total: Band
    cumulative: LatticeDistributions
    """Demand up to the end of each week."""

    stock: StockProjection
    """The shelf if nothing is ordered beyond what is on its way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FluidForecast(ItemForecast):
    """One fluid over the coming weeks, and what its jobs bring with them."""

    used_litres: Floats
    """Expected used fluid from this fluid's jobs, shape (weeks,)."""

    seals: dict[str, Floats]
    """Expected pieces by part, each of shape (weeks,)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockForecast:
    """All fluids, all parts and all streams of used fluid."""

    today: date
    jobs: FleetJobs
    """What it is made of."""

    fluids: list[FluidForecast]
    parts: list[ItemForecast]
    """Parts that are kept on the shelf, by name."""

    used_fluid: dict[WasteStream, Need]
    seals: dict[str, Need]
    """What the jobs of the weeks take of every part, kept or not."""

    without_fluid: dict[str, NamelessNeed]
    """Of compartments that name no fluid, by kind."""

    @property
    def weeks(self) -> tuple[IsoWeek, ...]:
        """The weeks ahead, the present one first."""
        return self.jobs.weeks

    @property
    def parts_not_kept(self) -> list[str]:
        """Parts that jobs of the weeks need and that are not kept on the shelf."""
        return sorted(self.seals.keys() - {one.line.item.reference for one in self.parts})


def forecast_stock(
    session: Session, caller: Caller, now: datetime, wanted_weeks: int | None = None
) -> StockForecast:
    """Forecast what the fleet takes and what is left on the shelf, as far ahead as the organisation plans."""
    caller.require(Scope.READ)
    organisation_id = caller.organisation_id
    organisation = fleet.get_organisation(session, organisation_id)
    n_weeks = wanted_weeks or round(planned_with(organisation.planning, "order_plan_weeks"))
    today = organisation.today(now)
    jobs = load_fleet_jobs(session, organisation_id, now, n_weeks)
    done = jobs.mean_done()
    top_ups = _top_ups_by_fluid(session, organisation_id, now)
    share_of_week = _share_left(now, organisation.zone)
    lines, parts = stock_lines(session, organisation_id, today)
    others = OtherUses(session, organisation_id, now, n_weeks)
    forecasts = []
    for line in lines:
        rows = np.flatnonzero(jobs.fluid_id == (line.fluid.id or 0))
        topped_up = _top_ups(top_ups.get(line.fluid.id or 0), n_weeks, share_of_week)
        demand = litres_of_jobs(jobs, rows, topped_up)
        forecasts.append(
            FluidForecast(
                **_of_item(line, demand, 0, others, today),
                used_litres=jobs.mean_litres[rows] @ done[rows],
                seals=_seals_of(jobs, done, rows),
            )
        )
    names, pieces = pieces_of_jobs(jobs, [line.item.reference for line in parts])
    return StockForecast(
        today=today,
        jobs=jobs,
        fluids=forecasts,
        parts=[
            ItemForecast(**_of_item(line, pieces, names.index(line.item.reference), others, today))
            for line in parts
        ],
        used_fluid=_used_fluid(jobs),
        seals={name: Need.of(*weeks_of_pool(pieces, place)) for place, name in enumerate(names)},
        without_fluid=_nameless_needs(jobs, done, np.flatnonzero(jobs.fluid_id == 0)),
    )


def _of_item(
    line: StockLine, demand: DemandForecast, pool: int, others: OtherUses, today: date
) -> dict[str, Any]:
    """Fields that the forecast of a fluid and of a part have in common."""
    weekly, cumulative = weeks_of_pool(demand, pool)
    key = ItemKey.of(line.item)
    other_weekly, other_cumulative = others.weekly(key), others.cumulative(key)
    if other_weekly is not None and other_cumulative is not None:
        weekly = add_independent(weekly, other_weekly)
        cumulative = add_independent(cumulative, other_cumulative)
    need = Need.of(weekly, cumulative)
    mean = distribution_mean(cumulative)
    supply = committed_supply(stock_on_hand(line, today), shelf_life_weeks(line.item), mean)
    return {
        "line": line,
        "weekly": need.weekly,
        "total": need.total,
        "cumulative": cumulative,
        "stock": project_stock(cumulative, supply[None, :], np.ones(1)),
    }


def _seals_of(jobs: FleetJobs, done: Floats, rows: Integers) -> dict[str, Floats]:
    seals: dict[str, Floats] = {}
    for row in rows.tolist():
        for seal in jobs.seals[row]:
            pieces = seal["pieces"] * done[row]
            seals[seal["part"]] = seals.get(seal["part"], np.zeros(len(jobs.weeks))) + pieces
    return seals


def _used_fluid(jobs: FleetJobs) -> dict[WasteStream, Need]:
    """What comes out is what goes in: a level is left as it was found."""
    streams = [EXCHANGE_DEFAULTS[FluidKind(kind)].waste_stream for kind in jobs.kind]
    found: dict[WasteStream, Need] = {}
    for stream in WasteStream:
        rows = np.array([row for row, own in enumerate(streams) if own is stream], np.int64)
        if rows.size:
            demand = litres_of_jobs(jobs, rows)
            found[stream] = Need.of(demand.weekly, demand.cumulative)
    return found


def _nameless_needs(jobs: FleetJobs, done: Floats, rows: Integers) -> dict[str, NamelessNeed]:
    expected = jobs.mean_litres * done.sum(axis=1)
    by_kind: dict[str, list[float]] = {}
    for row in rows.tolist():
        by_kind.setdefault(jobs.kind[row], []).append(float(expected[row]))
    return {
        kind: NamelessNeed(n_compartments=len(litres), litres=sum(litres)) for kind, litres in by_kind.items()
    }


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
