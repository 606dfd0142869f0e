"""What the order planner is told: lead times in weeks, lots by expiry, orders on their way."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from service.domain.stock_entries import OrderState
from service.domain.weeks import IsoWeek
from service.engine.orders.terms import NEVER_EXPIRES
from service.store.repositories.stock import LedgerEntry
from service.store.tables.fluids import Fluid, Pack
from service.usecases.forecast.supply import (
    lead_time_probability,
    shelf_life_weeks,
    stock_on_hand,
    supply_terms,
)
from service.usecases.orders.order_words import if_nothing_is_ordered
from service.usecases.orders.place_orders import price_of
from service.usecases.stock.show_stock import OpenOrder, StockLine
from service.usecases.stock.stock_lots import Lot, Shelf, replay

MONDAY, THURSDAY = date(2026, 5, 4), date(2026, 5, 7)
NOW = datetime(2026, 5, 4, tzinfo=UTC)


def a_fluid(**facts: object) -> Fluid:
    return Fluid(
        id=1, organisation_id=1, reference="OIL-B", kind="engine_oil_diesel_light", created_at=NOW, **facts
    )


@pytest.mark.parametrize(
    ("days", "weekday", "week"),
    [(0, 3, 0), (1, 0, 1), (7, 0, 1), (8, 0, 2), (4, 3, 1), (5, 3, 2), (30, 6, 6)],
)
def test_a_certain_lead_time_counts_from_the_monday_after_it(days: int, weekday: int, week: int):
    """Ordered on a Thursday (3) with 5 days: Tuesday week, so counted on from the Monday after that."""
    probability = lead_time_probability(float(days), 0.0, weekday)
    assert probability.tolist() == [0.0] * week + [1.0]


def test_an_uncertain_lead_time_follows_the_gamma_law_with_its_mean_and_spread():
    """Against scipy.stats.gamma with shape (mean / sd)^2 and scale sd^2 / mean, up to the cut tail of 0.001."""
    probability = lead_time_probability(10.0, 4.0, 2)
    law = stats.gamma((10.0 / 4.0) ** 2, scale=4.0**2 / 10.0)
    by_week_start = law.cdf(np.maximum(7.0 * np.arange(probability.size) - 2.0, 0.0))
    assert np.cumsum(probability)[:-1] == pytest.approx(by_week_start[:-1], abs=1e-12)
    assert probability.sum() == pytest.approx(1.0)
    assert by_week_start[-1] >= 0.999


@given(mean=st.floats(0.0, 730.0), sd=st.floats(0.0, 730.0), weekday=st.integers(0, 6))
def test_lead_times_are_probabilities_whatever_the_terms(mean: float, sd: float, weekday: int):
    probability = lead_time_probability(mean, sd, weekday)
    assert np.all(probability >= 0.0)
    assert probability.sum() == pytest.approx(1.0)


def line(lots: list[Lot], orders: list[OpenOrder]) -> StockLine:
    return StockLine(
        item=a_fluid(),
        shelf=Shelf(quantity=sum(lot.quantity for lot in lots), lots=tuple(lots)),
        next_expiry_on=None,
        expired_quantity=0.0,
        nearly_expired_quantity=0.0,
        open_orders=tuple(orders),
        warnings=(),
    )


def test_a_lot_counts_to_the_last_week_that_it_sees_the_end_of():
    """Sunday 10 May ends week 0; a lot that expires on Saturday does not see it."""
    days = (date(2026, 5, 3), date(2026, 5, 9), date(2026, 5, 10), date(2026, 5, 17), date.max)
    stock = stock_on_hand(line([Lot(day, 1.0) for day in days], []), THURSDAY)
    assert stock.lot_expiry_week.tolist() == [-1, -1, 0, 1, NEVER_EXPIRES]


def test_an_order_counts_from_the_monday_after_it_is_expected_and_a_late_one_from_next_monday():
    def order(day: date, state: OrderState = OrderState.PLACED) -> OpenOrder:
        return OpenOrder(order_id=1, state=state, expected_on=day, quantity=20.0)

    coming = [
        order(MONDAY - timedelta(days=9)),
        order(THURSDAY),
        order(date(2026, 5, 18)),
        order(date(2026, 5, 19)),
    ]
    planned = order(THURSDAY, OrderState.PLANNED)
    stock = stock_on_hand(line([], [*coming, planned]), THURSDAY)
    assert stock.open_arrival_week.tolist() == [1, 1, 2, 3]
    on_monday = stock_on_hand(line([], [order(date(2026, 5, 1)), order(MONDAY)]), MONDAY)
    assert on_monday.open_arrival_week.tolist() == [1, 1]


@pytest.mark.parametrize(("days", "weeks"), [(3, 1), (7, 1), (13, 1), (14, 2), (365, 52)])
def test_a_delivery_keeps_for_whole_weeks_and_for_one_at_least(days: int, weeks: int):
    assert shelf_life_weeks(a_fluid(shelf_life_days=days)) == weeks


def test_price_breaks_become_tiers():
    breaks = [{"from_packs": 10, "price_minor": 900}, {"from_packs": 50, "price_minor": 800}]
    packs = [
        Pack(organisation_id=1, fluid_id=1, quantity=4.0, price_minor=1000, price_breaks=breaks),
        Pack(organisation_id=1, fluid_id=1, quantity=20.0, price_minor=4000),
    ]
    terms = supply_terms(a_fluid(shelf_life_days=20, tank_litres=100.0), packs, MONDAY, {})
    assert terms.tier_offsets.tolist() == [0, 3, 4]
    assert terms.tier_minimum_count.tolist() == [1, 10, 50, 1]
    assert terms.tier_price_minor.tolist() == [1000, 900, 800, 4000]
    assert (terms.shelf_life_weeks, terms.tank_capacity) == (2, 100.0)
    assert terms.holding_cost_minor == pytest.approx(200 * 0.2 * 7 / 365.25)  # 20 % of the price a year
    assert [price_of(packs[0], count) for count in (1, 9, 10, 49, 50)] == [1000, 1000, 900, 900, 800]


EXPIRIES = st.sampled_from([None, date(2026, 1, 1), date(2027, 1, 1), date(2028, 1, 1)])
ENTRIES = st.lists(
    st.builds(
        LedgerEntry,
        fluid_id=st.just(1),
        part_id=st.none(),
        quantity=st.integers(-40, 40).map(float),
        expires_on=EXPIRIES,
        at=st.integers(0, 700).map(lambda days: datetime(2025, 1, 1, tzinfo=UTC) + timedelta(days=days)),
        pack_quantity=st.sampled_from([None, 5.0, 20.0]),
    ),
    max_size=30,
)


def entry(quantity: float, expires_on: date | None = None, pack: float | None = None) -> LedgerEntry:
    return LedgerEntry(1, None, quantity, expires_on, datetime(2026, 5, 4, tzinfo=UTC), pack)


@given(ENTRIES, st.sampled_from([None, 30]))
def test_the_lots_add_up_to_the_ledger_or_to_nothing_where_it_is_below_zero(entries, opened_days):
    shelf = replay(sorted(entries, key=lambda one: one.at), UTC, opened_days)
    assert shelf.quantity == pytest.approx(sum(one.quantity for one in entries))
    assert sum(lot.quantity for lot in shelf.lots) == pytest.approx(max(shelf.quantity, 0.0))
    assert list(shelf.lots) == sorted(shelf.lots)
    assert opened_days is not None or not any(lot.is_open for lot in shelf.lots)


def test_the_rest_of_an_opened_pack_is_used_before_the_next_one_is_opened():
    """Two packs of 20: after 6 and 10 litres 4 are left of the first; 6 more open the second and leave 18."""
    receipt = entry(40.0, date(2031, 1, 1), 20.0)
    opened = date(2026, 6, 3)
    assert replay([receipt, entry(-6.0), entry(-10.0)], UTC, 30).lots == (
        Lot(opened, 4.0, is_open=True),
        Lot(date(2031, 1, 1), 20.0),
    )
    assert replay([receipt, entry(-6.0), entry(-10.0), entry(-6.0)], UTC, 30).lots == (
        Lot(opened, 18.0, is_open=True),
    )


def test_an_opened_pack_never_keeps_longer_than_a_sealed_one():
    lots = replay([entry(20.0, date(2026, 5, 20), 20.0), entry(-6.0)], UTC, 180).lots
    assert lots == (Lot(date(2026, 5, 20), 14.0, is_open=True),)


def test_a_pack_is_opened_on_the_workshop_s_own_day():
    """Two in the afternoon of 4 May in Greenwich is two in the night of 5 May in Auckland (UTC+12 in winter)."""
    late = entry(-6.0)._replace(at=datetime(2026, 5, 4, 14, tzinfo=UTC))
    for zone, opened in (("Pacific/Auckland", date(2026, 5, 5)), ("Europe/London", date(2026, 5, 4))):
        lots = replay([entry(20.0, date(2031, 1, 1), 20.0), late], ZoneInfo(zone), 30).lots
        assert lots == (Lot(opened + timedelta(days=30), 14.0, is_open=True),)


def test_a_lot_that_came_later_but_expires_earlier_is_what_is_left_if_the_first_was_gone():
    entries = [entry(20.0, date(2028, 1, 1)), entry(-20.0), entry(20.0, date(2027, 1, 1))]
    assert replay(entries, UTC).lots == (Lot(date(2027, 1, 1), 20.0),)


def test_what_happens_without_an_order_is_said_in_words():
    weeks = [IsoWeek(2026, 19), IsoWeek(2026, 20), IsoWeek(2026, 21)]
    assert if_nothing_is_ordered([0.0, 0.2, 0.875], 1, weeks) == (
        "If nothing is ordered, week 2026-W20 runs short with a probability of 20 %, and by the end of week "
        "2026-W21 it is 88 %."
    )
    assert if_nothing_is_ordered([0.0, 0.0, 0.0], -1, weeks).startswith("Nothing has to be ordered")
