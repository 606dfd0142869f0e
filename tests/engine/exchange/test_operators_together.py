"""What holds whatever happens to a fleet's fluids, in any order."""

from collections.abc import Callable
from dataclasses import fields

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.ageing.age import AgeingRates, Exposure, age
from service.engine.evidence.observe import observe
from service.engine.exchange.line import exchange_line
from service.engine.exchange.mixing import leak, top_up
from service.engine.exchange.rounds import exchange_rounds
from service.engine.exchange.state import FluidState, fluid_state

N = 12
RATES = AgeingRates(
    distance_limit_km=90_000.0,
    time_limit_days=2000.0,
    hours_limit=1800.0,
    life_coefficient_of_variation=0.4,
    water_limit_mass_fraction=0.05,
    water_time_constant_days=1461.0,
    iron_mg_per_kg_per_km=5e-4,
    replaced_share_per_km=1e-6,
)


def frozen(values: np.ndarray) -> np.ndarray:
    values.setflags(write=False)
    return values


def step(name: str, state: FluidState, rng: np.random.Generator, chosen: slice) -> FluidState:
    """One event for all compartments; the draws do not depend on which of them are looked at."""
    volume, draw = state.volume_15c_litres, frozen(rng.random((3, N)))[:, chosen]
    steps: dict[str, Callable[[], FluidState]] = {
        "age": lambda: age(
            state, Exposure(distance_km=draw[0] * 4e4, days=draw[1] * 400, hours=draw[2] * 300), RATES
        ),
        "rounds": lambda: (
            exchange_rounds(
                state,
                np.stack([draw[0] * volume, 0.0 * volume]),
                np.stack([draw[1] * 6.0, draw[2]]),
                level_15c_litres=12.0,
            ).state
        ),
        "line": lambda: exchange_line(state, draw[0] * 20.0),
        "top-up": lambda: top_up(state, draw[0]),
        "leak": lambda: leak(state, 0.5 * draw[0] * volume),
        "look": lambda: observe(state, np.where(draw[0] < 0.3, np.nan, draw[1]), 0.25),
        "laboratory": lambda: observe(state, draw[0], 0.08, is_laboratory=True),
    }
    return steps[name]()


def start(chosen: slice) -> FluidState:
    rng = np.random.default_rng(5)
    columns = [
        frozen(rng.uniform(low, high, N))[chosen] for low, high in ((5, 12), (0, 1.2), (0, 0.05), (0, 200))
    ]
    return fluid_state(
        columns[0],
        life_used=columns[1],
        life_used_variance=columns[2],
        iron_mg_per_kg=columns[3],
        glycol_fraction=0.4,
    )


EVENTS = st.lists(
    st.sampled_from(["age", "rounds", "line", "top-up", "leak", "look", "laboratory"]),
    min_size=1,
    max_size=10,
)


@settings(max_examples=50, deadline=None)
@given(events=EVENTS, seed=st.integers(0, 10_000))
def test_no_history_makes_a_state_that_cannot_be(events: list[str], seed: int) -> None:
    """Finite, nothing negative, fractions at most 1; inputs are read-only throughout."""
    rng, state = np.random.default_rng(seed), start(slice(None))
    for event in events:
        state = step(event, state, rng, slice(None))
        for entry in fields(FluidState):
            column = frozen(getattr(state, entry.name))
            assert np.isfinite(column).all()
            assert (column >= 0.0).all()
        assert (state.water_mass_fraction <= 1.0).all()
        assert (state.glycol_fraction <= 0.5 + 1e-12).all()


@settings(max_examples=30, deadline=None)
@given(events=EVENTS, seed=st.integers(0, 10_000), index=st.integers(0, N - 1))
def test_a_compartment_does_not_notice_its_neighbours(events: list[str], seed: int, index: int) -> None:
    """One compartment alone and in a fleet: the same state, but for the last digits."""
    alone, together = slice(index, index + 1), slice(None)
    one, all_of_them = start(alone), start(together)
    first, second = np.random.default_rng(seed), np.random.default_rng(seed)
    for event in events:
        one, all_of_them = step(event, one, first, alone), step(event, all_of_them, second, together)
    for entry in fields(FluidState):
        np.testing.assert_allclose(
            getattr(one, entry.name)[0], getattr(all_of_them, entry.name)[index], rtol=1e-13, atol=1e-15
        )
