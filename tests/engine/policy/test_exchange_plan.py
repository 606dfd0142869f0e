"""The exchange plan, its recommendation and two-step plans."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.due.limits import Limit
from service.engine.exchange.rounds import exchange_rounds
from service.engine.exchange.state import fluid_state
from service.engine.level.expansion import volume_correction_factor
from service.engine.policy.exchange_plan import ExchangePlan, plan_exchanges
from service.engine.policy.inputs import DueRates, ExchangeCase, LevelTask, Method, Prices
from service.engine.policy.recommendation import Reason, Wishes, recommend
from service.engine.policy.return_date import due_again
from service.engine.policy.two_step import choose_two_steps, plan_two_steps
from service.errors import InvalidInputError

CASE = ExchangeCase(
    state=fluid_state(8.0, life_used=0.9, life_used_variance=0.01),
    drained_15c_litres=4.0,
    volume_sd_litres=0.3,
    line_15c_litres=12.0,
)
RATES = DueRates(km_per_day=50.0, life_used_per_km=1e-5, highest_life_used=0.8, interval_km=60_000.0)
PRICES = Prices(
    visit_minor=3500.0,
    labour_minor_per_minute=100.0,
    visit_minutes=20.0,
    round_minutes=25.0,
    line_minutes=60.0,
    line_equipment_minor=4000.0,
    fluid_minor_per_litre=900.0,
    disposal_minor_per_litre=20.0,
)
LEVEL = LevelTask(level_litres=8.0)


def plan(
    case: ExchangeCase = CASE, rates: DueRates = RATES, prices: Prices = PRICES, level: LevelTask = LEVEL
) -> ExchangePlan:
    return plan_exchanges(case, rates, prices, level)


def test_eight_litres_of_which_four_come_out() -> None:
    """Old share .5, .25, .125 … by rounds and .12447 by 1.5 turnovers of two tanks; derived."""
    seen = plan()
    np.testing.assert_allclose(
        1 - seen.fresh_share[[0, 1, 2, 4, 6], 0], [0.5, 0.25, 0.125, 0.03125, 0.12447], atol=5e-6
    )
    np.testing.assert_allclose(seen.life_used_after, 0.9 * (1 - seen.fresh_share))
    np.testing.assert_array_equal(seen.method, [Method.ROUNDS] * 6 + [Method.LINE_EXCHANGE])
    np.testing.assert_array_equal(seen.n_rounds, [1, 2, 3, 4, 5, 6, 0])
    assert seen.is_available.all()


def test_a_row_of_the_plan_is_what_the_rounds_do() -> None:
    seen = plan()
    done = exchange_rounds(CASE.state, np.full(3, 4.0), np.full(3, 4.0)).state
    assert seen.life_used_after[2, 0] == pytest.approx(done.life_used[0], rel=1e-12)


def test_uncertainty_over_rounds_is_that_of_a_common_volume() -> None:
    """Several rounds from one box of unknown volume agree with drawing that volume at random."""
    volumes = np.random.default_rng(4).normal(8.0, 0.3, 200_000)
    left = 0.9 * (1.0 - 4.0 / volumes) ** 3
    own = 0.125 * CASE.state.life_used_variance[0] ** 0.5
    assert plan().life_used_after_sd[2, 0] == pytest.approx(np.hypot(left.std(), own), rel=0.02)


def test_costs_litres_minutes_and_price_by_kilometre_by_hand() -> None:
    """Two rounds: 20 + 2·25 min, 8 L, 3500 + 7000 + 7360; due (0.8 − 0.225)/1e-5 = 57 500 km by condition
    but the schedule's clock is at 0, so 57 500 < 60 000; worked by hand.
    """
    seen = plan()
    assert seen.labour_minutes[1, 0] == 70.0
    assert seen.poured_litres[1, 0] == pytest.approx(8.0, rel=0.005)  # at pouring temperature
    assert seen.cost_minor[1, 0] == 3500.0 + 7000.0 + 8.0 * 920.0
    assert seen.due.km[1, 0] == pytest.approx(57_500.0)
    assert seen.due.days[1, 0] == pytest.approx(1150.0)
    assert seen.due.limit[1, 0] == Limit.CONDITION
    assert seen.cost_minor_per_1000_km[1, 0] == pytest.approx(17_860.0 / 57.5)
    assert seen.cost_minor[6, 0] == 3500.0 + 4000.0 + 8000.0 + 12.0 * 920.0
    assert seen.due_without_service.days[0] == 0.0


def test_a_partial_exchange_gets_only_its_share_of_the_schedule() -> None:
    """50 000 km on the clock: one round of half leaves 25 000, so 35 000 km of 60 000 remain; derived."""
    rates = replace(RATES, km_since_full_service=50_000.0, life_used_per_km=0.0)
    seen = plan(rates=rates)
    np.testing.assert_allclose(seen.due.km[:3, 0], [35_000.0, 47_500.0, 53_750.0])
    np.testing.assert_array_equal(seen.due.limit[:3, 0], Limit.DISTANCE)
    credited = plan(rates=replace(rates, is_one_round_the_full_service=True))
    np.testing.assert_allclose(credited.due.km[:3, 0], 60_000.0)


def test_the_full_interval_cannot_be_kept_by_one_round() -> None:
    """φ .5 keeps half the interval; and .8 φ of a life's 100 000 km: the smaller is 30 000 km; derived."""
    seen = plan()
    np.testing.assert_allclose(seen.keepable_km[:2, 0], [30_000.0, 45_000.0])
    assert not seen.keeps_full_interval[:6].any()
    free = plan(rates=replace(RATES, interval_km=np.inf))
    assert free.keeps_full_interval.all()
    assert free.keepable_km[0, 0] == pytest.approx(40_000.0)


def test_expected_excess_at_the_check() -> None:
    """7 L full at 20 °C and checked at 55 °C: +188.3 mL, with half a litre of over-fill at 15 °C more; Table
    54D, derived.
    """
    case = ExchangeCase(
        state=fluid_state(7.0 * float(volume_correction_factor(20.0, 850.0)), life_used=0.5),
        drained_15c_litres=3.0,
        overfill_15c_litres=np.array([0.0]),
    )
    level = LevelTask(level_litres=7.0, check_celsius=55.0)
    assert plan(case, level=level).excess_millilitres[0, 0] == pytest.approx(188.3, abs=0.05)
    over = plan(replace(case, overfill_15c_litres=0.5), level=level)
    assert over.excess_millilitres[0, 0] == pytest.approx(188.3 + 500.0 / 0.970211, abs=0.06)


def test_a_line_exchange_that_cannot_be_done_is_marked() -> None:
    seen = plan(replace(CASE, line_15c_litres=np.nan))
    assert not seen.is_available[6, 0]
    assert seen.fresh_share[6, 0] == 0.0
    assert seen.keepable_km[6, 0] == 0.0
    assert recommend(seen, Wishes()).option[0] != 6


def test_vehicles_that_stand_still_wait_for_the_calendar() -> None:
    still = replace(RATES, km_per_day=0.0, interval_days=730.0, days_since_full_service=700.0)
    seen = plan(rates=still)
    assert seen.due.days[0, 0] == pytest.approx(730.0 - 350.0)
    assert seen.due.limit[0, 0] == Limit.CALENDAR
    assert np.isinf(seen.cost_minor_per_1000_km).all()
    ageless = due_again(
        0.5, DueRates(km_per_day=0.0, life_used_per_km=0.0), km_on_clock=0.0, days_on_clock=0.0
    )
    assert np.isinf(ageless.days)


def test_more_out_than_the_plug_reaches_is_refused() -> None:
    for case in (
        replace(CASE, drained_15c_litres=8.5),
        replace(CASE, converter_15c_litres=5.0),
        replace(CASE, converter_15c_litres=9.0),
        replace(CASE, drained_15c_litres=-1.0),
        replace(CASE, line_15c_litres=-1.0),
    ):
        with pytest.raises(InvalidInputError):
            plan(case)


def test_recommendation_reaches_the_wishes_at_the_lowest_price() -> None:
    seen = plan()
    choice = recommend(seen, Wishes(smallest_fresh_share=0.7, shortest_return_days=365.0))
    price = seen.cost_minor_per_1000_km[:, 0]
    reaching = [row for row in range(7) if seen.fresh_share[row, 0] >= 0.7]
    assert choice.option[0] == min(reaching, key=lambda row: price[row])
    assert choice.reason[0] == Reason.CHEAPEST_THAT_REACHES
    assert choice.n_reaching[0] == len(reaching)
    assert choice.holds_up_to_fresh_share[0] == seen.fresh_share[choice.option[0], 0]


def test_reasons() -> None:
    seen = plan()
    only = recommend(seen, Wishes(smallest_fresh_share=0.98))
    assert (only.reason[0], only.option[0], only.runner_up[0]) == (Reason.ONLY_ONE_THAT_REACHES, 5, -1)
    none = recommend(seen, Wishes(shortest_return_days=5000.0))
    assert none.reason[0] == Reason.NONE_REACHES_LASTS_LONGEST
    assert none.option[0] == seen.due.days[:, 0].argmax()
    dirty = recommend(seen, Wishes(is_contaminated=True))
    assert (dirty.reason[0], dirty.option[0]) == (Reason.CONTAMINATED, 5)
    with pytest.raises(InvalidInputError):
        recommend(seen, Wishes(smallest_fresh_share=1.2))


@settings(max_examples=40, deadline=None)
@given(
    price=st.floats(100.0, 3000.0),
    visit=st.floats(500.0, 20_000.0),
    used=st.floats(0.3, 1.2),
    smallest=st.floats(0.0, 0.9),
)
def test_at_the_break_even_price_the_runner_up_costs_the_same(
    price: float, visit: float, used: float, smallest: float
) -> None:
    case = replace(CASE, state=fluid_state(8.0, life_used=used))
    prices = replace(PRICES, fluid_minor_per_litre=price, visit_minor=visit, disposal_minor_per_litre=0.0)
    level = replace(LEVEL, pour_celsius=15.0)
    seen = plan(case, prices=prices, level=level)
    choice = recommend(seen, Wishes(smallest_fresh_share=smallest))
    pair = np.array([choice.option[0], choice.runner_up[0]])
    if choice.reason[0] != Reason.CHEAPEST_THAT_REACHES:
        return
    changes = {
        "fluid_minor_per_litre": price + choice.break_even_fluid_minor_per_litre[0],
        "visit_minor": visit + choice.break_even_visit_minor[0],
    }
    for field, value in changes.items():
        if value >= 0.0:
            both = plan(case, prices=replace(prices, **{field: value}), level=level).cost_minor_per_1000_km[
                pair, 0
            ]
            assert both[0] == pytest.approx(both[1], rel=1e-6)


def test_two_steps_without_ageing_equal_rounds_at_once_if_the_box_mixes() -> None:
    """(1 − φ)^(n + m) either way; derived. Two visits cost one visit's set-up more."""
    rates = replace(RATES, life_used_per_km=0.0)
    seen = plan(rates=rates)
    steps = plan_two_steps(CASE, rates, seen, 3500.0)
    pair = int(np.flatnonzero((steps.first_rounds == 1) & (steps.second_rounds == 2))[0])
    assert steps.fresh_share[pair, 0] == pytest.approx(seen.fresh_share[2, 0])
    assert steps.cost_minor[pair, 0] - seen.cost_minor[2, 0] == pytest.approx(3500.0 + 20.0 * 100.0)
    assert steps.return_days[0] == pytest.approx(70.0)


def test_coming_back_after_ten_weeks_beats_idling_if_the_converter_does_not_mix() -> None:
    """Sump 5, converter 4, drained 4, ε 0: two at once leave .46667, one and one .30864; derived."""
    case = ExchangeCase(
        state=fluid_state(9.0, life_used=0.9),
        drained_15c_litres=4.0,
        converter_15c_litres=4.0,
        mixing_efficiency=0.0,
    )
    seen = plan(case)
    steps = plan_two_steps(case, RATES, seen, 3500.0)
    assert 1 - seen.fresh_share[1, 0] == pytest.approx(0.46667, abs=5e-6)
    assert 1 - steps.fresh_share[0, 0] == pytest.approx(0.30864, abs=5e-6)
    assert steps.life_used_before_second[0, 0] == pytest.approx(0.9 * 5 / 9 + 0.035)
    assert steps.life_used_after[0, 0] == pytest.approx((0.9 * 5 / 9 + 0.035) * 5 / 9)
    assert steps.stays_below_limit.all()


def test_the_chosen_two_steps_are_the_cheapest_that_are_in_time_and_fresh_enough() -> None:
    rates = replace(RATES, km_per_day=np.array([50.0, 50.0, 50.0]))
    case = replace(CASE, state=fluid_state(8.0, life_used=np.array([0.5, 1.2, 1.2])))
    steps = plan_two_steps(case, rates, plan(case, rates), np.array([5_000.0, 5_000.0, 79_000.0]))
    chosen = choose_two_steps(steps, 0.85)
    for index in range(2):
        fit = [
            row
            for row in range(16)
            if steps.stays_below_limit[row, index] and steps.fresh_share[row, index] >= 0.85
        ]
        assert chosen[index] == min(fit, key=lambda row: steps.cost_minor_per_1000_km[row, index])
    assert chosen[2] == -1


def test_a_second_step_that_comes_too_late_is_marked_and_a_parked_vehicle_refused() -> None:
    steps = plan_two_steps(CASE, RATES, plan(), 50_000.0)
    assert not steps.stays_below_limit[0, 0]
    for rates, km in ((replace(RATES, km_per_day=0.0), 3500.0), (RATES, 0.0)):
        with pytest.raises(InvalidInputError):
            plan_two_steps(CASE, rates, plan(), km)


def test_a_fleet_in_one_call_equals_one_by_one() -> None:
    rng = np.random.default_rng(17)
    volume, used = rng.uniform(7.0, 12.0, 25), rng.uniform(0.2, 1.2, 25)
    line = np.where(rng.random(25) < 0.5, np.nan, 12.0)
    minutes = rng.uniform(10.0, 40.0, 25)
    together = plan(
        replace(CASE, state=fluid_state(volume, life_used=used), line_15c_litres=line),
        prices=replace(PRICES, round_minutes=minutes),
    )
    advice = recommend(together, Wishes(smallest_fresh_share=0.7))
    for index in range(25):
        alone = plan(
            replace(
                CASE, state=fluid_state(volume[index], life_used=used[index]), line_15c_litres=line[index]
            ),
            prices=replace(PRICES, round_minutes=minutes[index]),
        )
        np.testing.assert_array_equal(alone.cost_minor[:, 0], together.cost_minor[:, index])
        np.testing.assert_array_equal(alone.due.days[:, 0], together.due.days[:, index])
        assert recommend(alone, Wishes(smallest_fresh_share=0.7)).option[0] == advice.option[index]
