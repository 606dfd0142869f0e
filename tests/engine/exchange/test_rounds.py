"""Drain and fill: examples worked out by hand, refusals, and what holds for every compartment."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.exchange.circuit import circuit_rounds
from service.engine.exchange.mixing import blend, leak, top_up
from service.engine.exchange.rounds import exchange_rounds
from service.engine.exchange.state import FluidState, fluid_state
from service.errors import InvalidInputError


def old(volume: float) -> FluidState:
    return fluid_state(volume, life_used=1.0)


@pytest.mark.parametrize(
    ("volume", "drained", "expected"),
    [
        (8.0, 4.0, [0.5, 0.25, 0.125, 0.0625, 0.03125]),
        (9.0, 3.5, [0.611111, 0.373457, 0.228224, None, 0.085232]),
        (10.0, 4.0, [0.6, 0.36, 0.216, None, 0.07776, 0.046656]),
        (12.0, 4.0, [0.666667, 0.444444, 0.296296, None, 0.131687]),
        (6.6, 4.5, [0.318182, 0.101240, 0.032213, None, 0.003261]),
    ],
)
def test_equal_litres_leave_a_geometric_share(
    volume: float, drained: float, expected: list[float | None]
) -> None:
    """(1 − d/V)^n, mass balance of a mixed vessel; derived. 6.6/4.5 L is a published transaxle capacity."""
    rounds = np.full(len(expected), drained)
    result = exchange_rounds(old(volume), rounds, rounds)
    for index, share in enumerate(expected):
        if share is not None:
            assert result.retained_share_by_round[index, 0] == pytest.approx(share, abs=5e-7)


def test_an_owner_who_changed_four_of_ten_litres_six_times() -> None:
    """Owner forum, worked case: 60 %, 36 %, about 8 % after five and 5 % after six; published."""
    result = exchange_rounds(old(10.0), np.full(6, 4.0), np.full(6, 4.0))
    assert result.retained_share_by_round[-1, 0] == pytest.approx(0.046656, abs=1e-12)
    np.testing.assert_allclose(
        result.retained_share_by_round[[0, 1, 4, 5], 0], [0.60, 0.36, 0.08, 0.05], atol=0.005
    )


def test_over_fill_then_level_set_keeps_the_better_share() -> None:
    """V 8, drained 4, filled 5, one litre released mixed: 4/9, and its square after two; derived."""
    result = exchange_rounds(old(8.0), np.full(2, 4.0), np.full(2, 5.0), level_15c_litres=8.0)
    np.testing.assert_allclose(result.retained_share_by_round[:, 0], [4 / 9, (4 / 9) ** 2], rtol=1e-14)
    assert result.released_15c_litres[0] == pytest.approx(2.0, abs=1e-12)


def test_under_fill_and_a_later_top_up_end_where_a_full_fill_ends() -> None:
    """V 8, drained 4, filled 3.5: 0.533333; half a litre more of new fluid: 0.5; derived."""
    result = exchange_rounds(old(8.0), np.array([4.0]), np.array([3.5]))
    assert result.state.life_used[0] == pytest.approx(0.533333, abs=5e-7)
    assert top_up(result.state, 0.5).life_used[0] == pytest.approx(0.5, abs=1e-14)


def test_a_box_that_arrived_low() -> None:
    """7.4 L of 8 L, drained 3.6, filled 4.2: 3.8/8; derived."""
    result = exchange_rounds(old(7.4), np.array([3.6]), np.array([4.2]))
    assert result.retained_share_by_round[0, 0] == pytest.approx(0.475, abs=1e-14)


def test_uncertainty_after_one_exchange() -> None:
    """u .85 σ .15 φ .45 σ_φ .07 → u .4675, σ .101718; derived."""
    before = fluid_state(10.0, life_used=0.85, life_used_variance=0.15**2)
    volume = before.volume_15c_litres
    after = blend(before, retained_share=np.array([0.55]), volume_15c_litres=volume, retained_share_sd=0.07)
    assert after.life_used[0] == pytest.approx(0.4675, abs=1e-12)
    assert np.sqrt(after.life_used_variance[0]) == pytest.approx(0.101718, abs=5e-7)


def test_water_and_iron_mix_like_the_fluid_and_coolant_is_as_strong_as_before() -> None:
    """8 L with half a litre of new fluid: 8/8.5 of what was in them; half of 20 mg/kg of iron: 10; derived."""
    before = fluid_state(
        8.0, life_used=0.5, water_mass_fraction=0.03, iron_mg_per_kg=20.0, glycol_fraction=0.5
    )
    topped = top_up(before, 0.5)
    assert topped.water_mass_fraction[0] == pytest.approx(8 * 0.03 / 8.5, rel=1e-14)
    assert topped.glycol_fraction[0] == 0.5
    halved = exchange_rounds(before, np.array([4.0]), np.array([4.0])).state
    assert halved.iron_mg_per_kg[0] == pytest.approx(10.0, abs=1e-12)


def test_a_leak_changes_the_volume_only() -> None:
    before = fluid_state(np.array([8.0, 5.0]), life_used=np.array([0.3, 0.9]))
    after = leak(before, np.array([0.5, 5.0]))
    np.testing.assert_allclose(after.volume_15c_litres, [7.5, 0.0])
    np.testing.assert_array_equal(after.life_used, before.life_used)
    refilled = top_up(after, 5.0)
    np.testing.assert_allclose(refilled.life_used, [0.3 * 7.5 / 12.5, 0.0])


@pytest.mark.parametrize(
    ("drained", "filled"),
    [([8.1], [4.0]), ([-1.0], [1.0]), ([4.0], [np.nan]), ([4.0], [np.inf]), ([4.0, 4.0], [4.0]), ([], [])],
)
def test_litres_that_cannot_be_are_refused(drained: list[float], filled: list[float]) -> None:
    with pytest.raises(InvalidInputError):
        exchange_rounds(old(8.0), np.array(drained), np.array(filled))


def test_what_rounding_explains_is_all_that_was_there() -> None:
    """Half a millionth of a millilitre more than there was: nothing is left, and nothing less than nothing."""
    out = 8.0 + 5e-10
    assert leak(old(8.0), out).volume_15c_litres[0] == 0.0
    emptied = exchange_rounds(old(8.0), np.array([out]), np.array([2.0]))
    assert (emptied.state.volume_15c_litres[0], emptied.state.life_used[0]) == (2.0, 0.0)
    shares = circuit_rounds(
        sump_litres=8.0, converter_litres=0.0, drained_litres=np.array([out]), efficiency=1.0
    )
    assert shares.mean[0, 0] == 0.0


def test_more_columns_than_compartments_are_refused() -> None:
    with pytest.raises(InvalidInputError):
        exchange_rounds(fluid_state(np.full(3, 8.0)), np.ones((1, 2)), np.ones((1, 2)))


litres = st.floats(0.0, 30.0)


@settings(max_examples=50, deadline=None)
@given(
    volume=st.floats(0.5, 60.0),
    portions=st.lists(st.tuples(st.floats(0.0, 1.0), litres), min_size=1, max_size=6),
    level=st.one_of(st.none(), st.floats(0.5, 60.0)),
)
def test_no_litre_of_old_fluid_is_lost_or_made(
    volume: float, portions: list[tuple[float, float]], level: float | None
) -> None:
    """Old fluid in = drained + released + left, and all fluid balances, to 1e-9 L."""
    held, drains, fills, releases = volume, [], [], []
    for share, filled in portions:
        drains.append(share * held)
        fills.append(filled)
        full = held - drains[-1] + filled
        held = full if level is None else min(full, level)
        releases.append(full - held)
    result = exchange_rounds(old(volume), np.array(drains), np.array(fills), level_15c_litres=level)
    after, shares = result.state.volume_15c_litres[0], result.retained_share_by_round[:, 0]
    drained_old = np.dot(drains, np.concatenate([[1.0], shares[:-1]]))
    assert drained_old + np.dot(releases, shares) + after * shares[-1] == pytest.approx(volume, abs=1e-9)
    assert result.released_15c_litres[0] == pytest.approx(sum(releases), abs=1e-9)
    assert after == pytest.approx(held, abs=1e-9)


@settings(max_examples=50, deadline=None)
@given(volume=st.floats(1.0, 60.0), share=st.floats(0.0, 1.0), n_rounds=st.integers(1, 6))
def test_rounds_leave_less_than_an_ideal_flush_of_the_same_litres(
    volume: float, share: float, n_rounds: int
) -> None:
    """(1 − d/V)^n ≤ exp(−n d/V); three times 4 L in 8 L leave 12.5 %, a 12 L flush 22.3 %; derived."""
    drained = np.full(n_rounds, share * volume)
    result = exchange_rounds(old(volume), drained, drained)
    assert result.retained_share_by_round[-1, 0] <= np.exp(-n_rounds * share) + 1e-12


def test_one_call_for_a_fleet_equals_many_calls_and_changes_no_input() -> None:
    rng = np.random.default_rng(11)
    volume, drained, filled = rng.uniform(6, 12, 40), rng.uniform(0, 5, (3, 40)), rng.uniform(2, 6, (3, 40))
    for column in (volume, drained, filled):
        column.setflags(write=False)
    together = exchange_rounds(fluid_state(volume, life_used=0.8), drained, filled, level_15c_litres=9.0)
    for index in range(40):
        alone = exchange_rounds(
            fluid_state(volume[index], life_used=0.8),
            drained[:, index],
            filled[:, index],
            level_15c_litres=9.0,
        )
        assert alone.state.life_used[0] == together.state.life_used[index]
