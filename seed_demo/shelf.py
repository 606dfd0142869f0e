"""Invented fluids with packs, prices and lead times, and a stock ledger that has fed every service so far."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil
from typing import Final

from seed_demo import cast
from seed_demo.process import HISTORY_DAYS
from seed_demo.records import DemoFluid, DemoMovement, DemoOrder, DemoOrderLine, DemoPack, DemoService
from service.domain.fluid_exchange_defaults import EXCHANGE_DEFAULTS
from service.domain.fluid_kinds import RED_DYED_KINDS, FluidKind

SPARE_WEEKS: Final = 3.0
"""Weeks of use that stay on the shelf on top of those of the lead time."""
BOUGHT_WEEKS: Final = 6.0
LEFT_OF_SHORT_FLUID_LITRES: Final = 6.5
ORDERED_AGO_DAYS: Final = 2

_Packs = tuple[tuple[float, int], ...]


def _fluid(reference: str, kind: FluidKind, lead_time_days: float, packs: _Packs, years: float) -> DemoFluid:
    return DemoFluid(
        fluid=reference,
        kind=kind.value,
        specifications=(f"INVENTED {reference.removeprefix('DEMO-')}",),
        is_dyed=kind in RED_DYED_KINDS,
        density_15c_kg_per_m3=EXCHANGE_DEFAULTS[kind].density_15c_kg_per_m3.value,
        lead_time_days=lead_time_days,
        lead_time_sd_days=round(lead_time_days / 4.0, 1),
        shelf_life_days=round(years * 365.25),
        packs=tuple(DemoPack(litres=float(litres), price_minor=price) for litres, price in packs),
    )


FLUIDS: Final = (
    _fluid("DEMO-ATF-RED", FluidKind.AUTOMATIC_TRANSMISSION_CAR, 5, ((4, 3600), (20, 15800), (60, 43200)), 5),
    _fluid("DEMO-ATF-HEAVY", FluidKind.AUTOMATIC_TRANSMISSION_HEAVY, 7, ((20, 14900), (208, 131000)), 5),
    _fluid("DEMO-ENGINE-PETROL", FluidKind.ENGINE_OIL_PETROL, 4, ((5, 3100), (20, 11200)), 5),
    _fluid("DEMO-ENGINE-DIESEL", FluidKind.ENGINE_OIL_DIESEL_LIGHT, 4, ((5, 3100), (60, 31800)), 5),
    _fluid("DEMO-ENGINE-HEAVY", FluidKind.ENGINE_OIL_DIESEL_HEAVY, 4, ((20, 9800), (208, 87500)), 5),
    _fluid("DEMO-AXLE-90", FluidKind.AXLE, 14, ((20, 12600), (60, 34500)), 5),
    _fluid("DEMO-COOLANT-50", FluidKind.COOLANT_OAT, 6, ((20, 6900), (208, 61000)), 5),
    _fluid("DEMO-BRAKE-4", FluidKind.BRAKE_FLUID, 3, ((1, 900), (5, 3900)), 2),
    _fluid("DEMO-TRACTOR", FluidKind.TRACTOR_TRANSMISSION, 10, ((20, 9200), (208, 82000)), 5),
    _fluid("DEMO-HYDRAULIC-46", FluidKind.HYDRAULIC, 10, ((20, 8100), (208, 71500)), 5),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """The ledger, what is on order, and what is on hand once every service has drawn its litres."""

    movements: tuple[DemoMovement, ...]
    orders: tuple[DemoOrder, ...]
    on_hand_litres: dict[str, float]


def litres_drawn(service: DemoService) -> dict[str, float]:
    """Add up the fresh fluid that a service takes from the shelf."""
    drawn: dict[str, float] = defaultdict(float)
    for work in service.compartments:
        drawn[work.fluid] += sum(done.filled_litres for done in work.rounds) + (work.passed_litres or 0.0)
    return dict(drawn)


def keep_shelf(services: Sequence[DemoService], now: datetime) -> Shelf:
    """Buy in whole packs ahead of every service, then leave one fluid short and one on order."""
    draws: dict[str, list[tuple[datetime, float]]] = {fluid.fluid: [] for fluid in FLUIDS}
    for service in services:
        for reference, litres in litres_drawn(service).items():
            draws[reference].append((service.done_at, litres))
    movements: list[DemoMovement] = []
    on_hand: dict[str, float] = {}
    weeks_left: dict[str, float] = {}
    for fluid in FLUIDS:
        weekly = _weekly_litres(draws[fluid.fluid], now)
        bought, left = _buy(fluid, sorted(draws[fluid.fluid]), weekly, now)
        if fluid.fluid == cast.SHORT_FLUID:
            bought.append(_found_less(fluid, left, now))
            left = LEFT_OF_SHORT_FLUID_LITRES
        else:
            weeks_left[fluid.fluid] = left / weekly
        movements += bought
        on_hand[fluid.fluid] = round(left, 2)
    movements.sort(key=lambda movement: (movement.at, movement.reference))
    lowest = min(weeks_left, key=lambda fluid: weeks_left[fluid])
    return Shelf(movements=tuple(movements), orders=(_open_order(lowest, now),), on_hand_litres=on_hand)


def _weekly_litres(draws: list[tuple[datetime, float]], now: datetime) -> float:
    history_start = now - timedelta(days=HISTORY_DAYS)
    return sum(litres for at, litres in draws if at >= history_start) / (HISTORY_DAYS / 7.0)


def _buy(
    fluid: DemoFluid, draws: list[tuple[datetime, float]], weekly: float, now: datetime
) -> tuple[list[DemoMovement], float]:
    least = weekly * (fluid.lead_time_days / 7.0 + SPARE_WEEKS)
    opening_at = min((at for at, _ in draws), default=now) - timedelta(days=7)
    balance = float(ceil(least + weekly * BOUGHT_WEEKS))
    movements = [_movement(fluid, "count", opening_at, balance, 0)]
    for at, litres in draws:
        if balance - litres < least:
            n_packs, pack = _packs_for(fluid, least + weekly * BOUGHT_WEEKS - balance + litres)
            arrived_at = at - timedelta(hours=2)
            balance += n_packs * pack.litres
            movements.append(
                _movement(fluid, "receipt", arrived_at, n_packs * pack.litres, len(movements), n_packs)
            )
        balance -= litres
    return movements, balance


def _packs_for(fluid: DemoFluid, litres: float) -> tuple[int, DemoPack]:
    """Choose the largest pack that is not bigger than the need, and as many as cover it."""
    fitting = [pack for pack in fluid.packs if pack.litres <= litres] or [fluid.packs[0]]
    return ceil(litres / fitting[-1].litres), fitting[-1]


def _movement(
    fluid: DemoFluid, kind: str, at: datetime, litres: float, number: int, n_packs: int = 0
) -> DemoMovement:
    return DemoMovement(
        fluid=fluid.fluid,
        kind=kind,
        at=at,
        litres=litres,
        counted_litres=litres if kind == "count" else None,
        expires_on=(at + timedelta(days=fluid.shelf_life_days)).date(),
        reference=f"{fluid.fluid}-M{number:03d}",
        note="Invented opening count" if kind == "count" else f"Invented delivery, {n_packs} packs",
    )


def _found_less(fluid: DemoFluid, ledger_litres: float, now: datetime) -> DemoMovement:
    return DemoMovement(
        fluid=fluid.fluid,
        kind="count",
        at=now - timedelta(minutes=20),
        litres=round(LEFT_OF_SHORT_FLUID_LITRES - ledger_litres, 2),
        counted_litres=LEFT_OF_SHORT_FLUID_LITRES,
        expires_on=None,
        reference=f"{fluid.fluid}-COUNT",
        note="Invented count: a leaking drum was found",
    )


def _open_order(lowest: str, now: datetime) -> DemoOrder:
    """Order the fluid that would be used up first, apart from the short one."""
    fluid = next(fluid for fluid in FLUIDS if fluid.fluid == lowest)
    placed_on = now.date() - timedelta(days=ORDERED_AGO_DAYS)
    pack = fluid.packs[-1]
    line = DemoOrderLine(pack_litres=pack.litres, n_packs=1, price_minor=pack.price_minor)
    return DemoOrder(
        fluid=fluid.fluid,
        placed_on=placed_on,
        expected_on=placed_on + timedelta(days=fluid.lead_time_days),
        lines=(line,),
        reference=f"{fluid.fluid}-ORDER-1",
    )
