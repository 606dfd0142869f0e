"""The order plan: enough, in whole packs, at the least cost, and honest about the rest."""

import dataclasses
import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from service.engine.demand.lattice import distribution_quantile, expected_excess
from service.engine.orders.plan import OrderPlan, PlanMethod, plan_orders
from service.engine.orders.reasons import OrderReason
from service.engine.orders.terms import RunOutTarget, SupplyTerms
from service.errors import InvalidInputError
from tests.engine.orders.instances import certain_weeks, one_pack, poisson_weeks, shelf, terms

TARGET = RunOutTarget(service_level=0.95)


def test_every_week_that_orders_can_reach_holds_at_the_service_level():
    plan = plan_orders(poisson_weeks(40.0, 26), terms(), shelf(100.0), TARGET)
    assert plan.method is PlanMethod.EXACT_RECURSION
    assert np.all(plan.with_plan.run_out_probability <= 0.05 + 1e-9)
    assert np.all(plan.order_week == plan.arrival_week - 2)
    assert np.all(plan.with_plan.stock_q10 <= plan.with_plan.stock_q50)
    assert np.all(plan.with_plan.stock_q50 <= plan.with_plan.stock_q90)
    assert plan.first_week_short_without_orders == 2
    assert np.all(np.diff(plan.without_orders.run_out_probability) >= -1e-12)
    assert plan.reasons[0][0] is OrderReason.COVERS_NEED
    assert plan.needed_week[0] == plan.arrival_week[0] == 2


def test_no_demand_and_no_jobs_order_nothing():
    plan = plan_orders(certain_weeks([0.0] * 12), terms(), shelf(), TARGET)
    assert plan.method is PlanMethod.NOTHING_NEEDED
    assert plan.order_week.size == 0
    assert plan.first_week_short_without_orders == -1


def test_stock_above_demand_orders_nothing():
    plan = plan_orders(poisson_weeks(10.0, 12), terms(), shelf(1_000.0), TARGET)
    assert plan.order_week.size == 0
    assert plan.with_plan.run_out_probability.max() < 1e-9


def test_open_orders_count_from_the_week_they_arrive():
    weeks = certain_weeks([10.0, 20.0, 30.0, 40.0])
    plan = plan_orders(weeks, one_pack(10.0, 100), shelf(20.0, coming=((20.0, 2),)), TARGET)
    assert plan.order_week.size == 0
    late = plan_orders(weeks, one_pack(10.0, 100), shelf(20.0, coming=((20.0, 3),)), TARGET)
    assert late.arrival_week.tolist() == [2]


def test_shortfall_before_the_first_arrival_is_a_probability_not_an_error():
    plan = plan_orders(poisson_weeks(40.0, 12), terms(), shelf(60.0), TARGET)
    # Two weeks of Poisson demand pass before anything ordered now can arrive.
    assert plan.shortfall_before_first_arrival_probability == pytest.approx(stats.poisson.sf(60, 80.0))
    assert plan.arrival_week[0] == 2
    assert np.all(plan.with_plan.run_out_probability[2:] <= 0.05 + 1e-9)


def test_lead_time_beyond_the_horizon_says_so():
    slow = terms(lead_time_probability=np.eye(20)[19])
    plan = plan_orders(poisson_weeks(40.0, 12), slow, shelf(), TARGET)
    assert plan.order_week.size == 0
    assert plan.shortfall_before_first_arrival_probability == pytest.approx(1.0)


def test_a_pack_larger_than_the_demand_is_still_bought_whole():
    plan = plan_orders(certain_weeks([0.0, 0.0, 0.5, 1.0]), one_pack(208.0, 70_000), shelf(), TARGET)
    assert plan.pack_count.tolist() == [[1]]
    assert OrderReason.WHOLE_PACKS in plan.reasons[0]


def test_packs_without_a_common_multiple_and_half_litre_needs():
    """Packs of 1 and 3.5 L, need of 9.5 L: 3.5 + 3.5 + 1 + 1 + 1 costs 340 against 380 for three large ones."""
    odd = terms(
        pack_quantity=np.array([1.0, 3.5]),
        tier_offsets=np.array([0, 1, 2]),
        tier_minimum_count=np.array([1, 1]),
        tier_price_minor=np.array([30, 125]),
        lead_time_probability=np.array([1.0]),
        holding_cost_minor=0.0,
    )
    plan = plan_orders(certain_weeks([9.5]), odd, shelf(), TARGET)
    assert plan.quantity[0] >= 9.5
    best = min(30 * a + 125 * b for a, b in itertools.product(range(20), range(10)) if a + 3.5 * b >= 9.5)
    assert plan.cost_minor[0] == best + 6_000


def test_price_break_is_taken_when_more_costs_less():
    """Two packs at 100 cost 200, three at 60 cost 180."""
    tiered = terms(
        pack_quantity=np.array([10.0]),
        tier_offsets=np.array([0, 2]),
        tier_minimum_count=np.array([1, 3]),
        tier_price_minor=np.array([100, 60]),
        lead_time_probability=np.array([1.0]),
        holding_cost_minor=0.0,
        order_cost_minor=0,
    )
    plan = plan_orders(certain_weeks([20.0]), tiered, shelf(), TARGET)
    assert plan.pack_count.tolist() == [[3]]
    assert plan.cost_minor.tolist() == [180]
    assert OrderReason.PRICE_BREAK in plan.reasons[0]


def test_minimum_order_by_quantity_and_by_value():
    by_quantity = plan_orders(
        certain_weeks([5.0] * 4), one_pack(5.0, 10, minimum_order_quantity=40.0), shelf(), TARGET
    )
    assert by_quantity.quantity.tolist() == [40.0]
    assert OrderReason.MINIMUM_ORDER in by_quantity.reasons[0]
    by_value = plan_orders(
        certain_weeks([5.0] * 4), one_pack(5.0, 10, minimum_order_minor=55), shelf(), TARGET
    )
    assert by_value.quantity.tolist() == [30.0]


def test_a_tank_is_never_overfilled():
    cumulative = poisson_weeks(40.0, 20)
    plan = plan_orders(cumulative, terms(tank_capacity=300.0), shelf(100.0), TARGET)
    low = np.concatenate([[0.0], distribution_quantile(cumulative, 0.1)])
    supplied = 100.0 + np.cumsum(plan.quantity)
    assert np.all(supplied - low[plan.arrival_week] <= 300.0 + 1e-9)
    assert plan.order_week.size > plan_orders(cumulative, terms(), shelf(100.0), TARGET).order_week.size


def test_a_tank_too_small_for_the_need_orders_what_fits_and_shows_the_risk():
    plan = plan_orders(poisson_weeks(100.0, 8), terms(tank_capacity=80.0), shelf(), TARGET)
    assert plan.with_plan.run_out_probability[2:].min() > 0.05
    assert plan.quantity.sum() > 0.0


def test_shelf_life_keeps_orders_small_and_frequent():
    short = plan_orders(poisson_weeks(40.0, 20), terms(shelf_life_weeks=4), shelf(100.0), TARGET)
    long = plan_orders(poisson_weeks(40.0, 20), terms(), shelf(100.0), TARGET)
    assert short.quantity.max() < long.quantity.max()
    assert short.expected_expired_quantity == pytest.approx(0.0, abs=1e-9)
    drum = plan_orders(poisson_weeks(5.0, 20), one_pack(208.0, 70_000, shelf_life_weeks=4), shelf(), TARGET)
    assert OrderReason.MAY_EXPIRE in drum.reasons[0]
    assert drum.expected_expired_quantity > 100.0


def test_stock_that_will_expire_does_not_count():
    weeks = certain_weeks([10.0, 20.0, 30.0, 40.0])
    good = plan_orders(weeks, one_pack(10.0, 100), shelf(40.0), TARGET)
    expiring = plan_orders(weeks, one_pack(10.0, 100), shelf(40.0, expiry=1), TARGET)
    gone = plan_orders(weeks, one_pack(10.0, 100), shelf(40.0, expiry=-1), TARGET)
    assert good.order_week.size == 0
    assert expiring.quantity.sum() == 20.0
    assert expiring.expected_expired_quantity == 20.0
    assert gone.shortfall_before_first_arrival_probability == 1.0


def test_a_spread_of_lead_times_costs_stock_and_still_holds():
    spread = terms(lead_time_probability=np.array([0.0, 0.2, 0.5, 0.25, 0.05]), order_cost_minor=0)
    plan = plan_orders(poisson_weeks(40.0, 26), spread, shelf(200.0), TARGET)
    fixed = plan_orders(poisson_weeks(40.0, 26), terms(order_cost_minor=0), shelf(200.0), TARGET)
    assert plan.planned_lead_weeks == 3
    assert np.all(plan.with_plan.run_out_probability[4:] <= 0.05 + 1e-9)
    middle = plan.with_plan.stock_q50[6:20].mean()
    assert middle > fixed.with_plan.stock_q50[6:20].mean()


def test_recursion_equals_enumeration_of_all_plans():
    """Three weeks, two packs, all 6^6 plans: no cheaper one holds the level."""
    small = terms(
        pack_quantity=np.array([2.0, 5.0]),
        tier_offsets=np.array([0, 1, 2]),
        tier_minimum_count=np.array([1, 1]),
        tier_price_minor=np.array([300, 600]),
        lead_time_probability=np.array([1.0]),
        order_cost_minor=150,
        holding_cost_minor=7.0,
    )
    cumulative = poisson_weeks(3.0, 3)
    plan = plan_orders(cumulative, small, shelf(), TARGET)
    need = distribution_quantile(cumulative, 0.95)
    counts = np.array(list(itertools.product(range(6), repeat=6))).reshape(-1, 3, 2)
    quantity = counts @ small.pack_quantity
    supply = np.cumsum(quantity, axis=1)
    feasible = np.all(supply >= need, axis=1)
    mean = 3.0 * np.arange(1, 4)
    over = supply[feasible] - mean + expected_excess(cumulative, supply[feasible].T).T
    cost = (counts[feasible] @ small.tier_price_minor).sum(axis=1) + 150 * (quantity[feasible] > 0).sum(
        axis=1
    )
    # What is left on average counts at the cheapest price, 120 a unit, up to another three weeks' demand.
    total = cost + 7.0 * over.sum(axis=1) - 120.0 * np.minimum(supply[feasible][:, 2] - 9.0, 9.0)
    levels = np.array([plan.quantity[plan.arrival_week <= week].sum() for week in range(3)])
    own = 7.0 * (levels - mean + expected_excess(cumulative, levels[:, None])[:, 0]).sum()
    own -= 120.0 * min(levels[2] - 9.0, 9.0)
    assert plan.cost_minor.sum() + own == pytest.approx(total.min())


def test_a_thinned_lattice_holds_the_level_within_its_proven_gap(monkeypatch: pytest.MonkeyPatch):
    cumulative, supply = poisson_weeks(12.0, 10), terms(pack_quantity=np.array([1.0, 5.0, 60.0]))
    prices = dataclasses.replace(supply, tier_price_minor=np.array([600, 2_600, 27_000]))
    exact = plan_orders(cumulative, prices, shelf(10.0), TARGET)
    monkeypatch.setattr("service.engine.orders.recursion.N_UNITS_EXACT", 60)
    thinned = plan_orders(cumulative, prices, shelf(10.0), TARGET)
    assert exact.method is PlanMethod.EXACT_RECURSION
    assert exact.optimality_gap_fraction == 0.0
    assert thinned.method is PlanMethod.THINNED_RECURSION
    assert np.all(thinned.with_plan.run_out_probability[2:] <= 0.05 + 1e-9)

    def objective(plan: OrderPlan) -> float:
        supplied = np.array([plan.quantity[plan.arrival_week <= week].sum() for week in range(10)]) + 10.0
        ahead = supplied - 12.0 * np.arange(1, 11)
        kept = ahead + expected_excess(cumulative, supplied[:, None])[:, 0]
        return float(plan.cost_minor.sum() + 2.0 * kept.sum() - 450.0 * min(ahead[-1], 120.0))

    excess = objective(thinned) - objective(exact)
    assert 0.0 <= excess <= thinned.optimality_gap_fraction * thinned.cost_minor.sum() + 1e-6
    assert thinned.optimality_gap_fraction < 0.2


US_QUART_LITRES = 0.946352946
"""A quarter of 231 cubic inches of 25.4 mm (NIST Handbook 44, appendix C)."""


def test_quarts_jugs_and_drums_are_planned_alike_in_quarts_and_in_litres():
    """Typed in litres with three digits they have no common measure but a millilitre."""
    quarts = np.array([1.0, 5.0, 220.0])
    prices = {"tier_price_minor": np.array([900, 4_000, 110_000]), "holding_cost_minor": 0.0}
    own = plan_orders(poisson_weeks(20.0, 26), terms(pack_quantity=quarts, **prices), shelf(60.0), TARGET)
    litres = np.round(quarts * US_QUART_LITRES, 3)
    plan = plan_orders(
        poisson_weeks(20.0 * US_QUART_LITRES, 26, US_QUART_LITRES),
        terms(pack_quantity=litres, **prices),
        shelf(60.0 * US_QUART_LITRES),
        TARGET,
    )
    assert plan.cost_minor.sum() == pytest.approx(own.cost_minor.sum(), rel=0.02)
    assert np.all(plan.with_plan.run_out_probability[2:] <= 0.05 + 1e-9)


def test_packs_without_a_common_measure_never_fill_a_tank_beyond_its_room():
    supply = terms(pack_quantity=np.array([20.0, 200.9, 1_000.0]), tank_capacity=1_004.0)
    plan = plan_orders(certain_weeks([0.0, 0.0, 0.0, 900.0]), supply, shelf(0.0), TARGET)
    assert plan.quantity.sum() >= 900.0
    assert plan.quantity.sum() <= 1_004.0


def test_demand_by_the_tanker_bought_in_bottles_is_planned_as_far_as_it_goes():
    plan = plan_orders(poisson_weeks(1e6, 12, 50_000.0), one_pack(1.0, 100), shelf(), TARGET)
    assert 0.0 < plan.quantity.sum() <= 50_000.0
    assert plan.with_plan.run_out_probability[-1] == pytest.approx(1.0)


@settings(max_examples=25, deadline=None)
@given(
    st.floats(1.0, 30.0),
    st.floats(0.0, 120.0),
    st.sampled_from([0.8, 0.9, 0.95, 0.99]),
    st.integers(1, 8),
    st.sampled_from([0, 500, 6_000]),
)
def test_a_higher_service_level_never_orders_less_and_the_balance_closes(
    mean: float, on_hand: float, level: float, n_weeks: int, order_cost: int
):
    """The cumulative quantity supplied by the last week never falls; supply less demand is the stock."""
    cumulative = poisson_weeks(mean, n_weeks)
    supply = one_pack(20.0, 9_000, order_cost_minor=order_cost, lead_time_probability=np.array([0.0, 1.0]))
    low = plan_orders(cumulative, supply, shelf(on_hand), RunOutTarget(service_level=level))
    high = plan_orders(cumulative, supply, shelf(on_hand), RunOutTarget(service_level=level + 0.009))
    assert high.quantity.sum() >= low.quantity.sum()
    median = distribution_quantile(cumulative, 0.5)
    supplied = np.array([low.quantity[low.arrival_week <= week].sum() for week in range(n_weeks)])
    assert np.abs(on_hand + supplied - median - low.with_plan.stock_q50).max() <= 1.0 + 1e-9


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"pack_quantity": np.array([20.0, 0.0, 208.0])}, "/pack_quantity"),
        ({"pack_quantity": np.array([20.0, np.nan, 208.0])}, "/pack_quantity"),
        ({"lead_time_probability": np.array([0.5, 0.4])}, "/lead_time_probability"),
        ({"tier_price_minor": np.array([9_000, -1, 70_000])}, "/tier_price_minor"),
        ({"tier_offsets": np.array([0, 1, 1, 3])}, "/tier_offsets"),
        ({"tier_minimum_count": np.array([1, 2, 1])}, "/tier_minimum_count"),
        ({"order_cost_minor": -1}, "/order_cost_minor"),
        ({"shelf_life_weeks": 0}, "/shelf_life_weeks"),
    ],
)
def test_terms_that_cannot_be_are_refused(changes: dict[str, object], pointer: str):
    with pytest.raises(InvalidInputError) as refused:
        plan_orders(poisson_weeks(10.0, 4), terms(**changes), shelf(), TARGET)
    assert refused.value.errors[0].pointer == pointer


def test_a_fluid_without_packs_and_negative_stock_are_refused():
    none = SupplyTerms(
        **{
            **{field.name: getattr(terms(), field.name) for field in dataclasses.fields(SupplyTerms)},
            "pack_quantity": np.zeros(0),
        }
    )
    with pytest.raises(InvalidInputError):
        plan_orders(poisson_weeks(10.0, 4), none, shelf(), TARGET)
    with pytest.raises(InvalidInputError) as refused:
        plan_orders(poisson_weeks(10.0, 4), terms(), shelf(-1.0), TARGET)
    assert refused.value.errors[0].pointer == "/lot_quantity"
    with pytest.raises(InvalidInputError):
        plan_orders(poisson_weeks(10.0, 4), terms(), shelf(), RunOutTarget(service_level=1.0))
