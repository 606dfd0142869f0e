"""State, ageing, exchange and observation of 1,000,000 compartments, in plain copies of the same state.

A measurement, not a check of speed: it prints the ratio to copying the six arrays of the state and fails only
if a result is wrong. Run it with `pytest tests/benchmarks -m bench -s`.
"""

import sys
from collections.abc import Callable
from time import perf_counter

import numpy as np
import pytest

from service.engine.ageing.age import AgeingRates, Exposure, age
from service.engine.evidence.observe import observe
from service.engine.exchange.rounds import exchange_rounds
from service.engine.exchange.state import FluidState, fluid_state

N_COMPARTMENTS = 1_000_000
FIELDS = tuple(FluidState.__dataclass_fields__)

pytestmark = pytest.mark.bench


@pytest.fixture(scope="module")
def columns() -> dict[str, np.ndarray]:
    rng = np.random.default_rng(1)
    drawn = {
        "volume_15c_litres": rng.uniform(6.0, 14.0, N_COMPARTMENTS),
        "life_used": rng.uniform(0.0, 1.1, N_COMPARTMENTS),
        "life_used_variance": rng.uniform(0.0, 0.04, N_COMPARTMENTS),
        "water_mass_fraction": rng.uniform(0.0, 0.03, N_COMPARTMENTS),
        "iron_mg_per_kg": rng.uniform(0.0, 200.0, N_COMPARTMENTS),
        "glycol_fraction": np.zeros(N_COMPARTMENTS),
        "km": rng.uniform(0.0, 2000.0, N_COMPARTMENTS),
        "days": rng.uniform(0.0, 31.0, N_COMPARTMENTS),
        "drained": rng.uniform(2.5, 5.5, (3, N_COMPARTMENTS)),
        "seen": rng.uniform(0.0, 1.0, N_COMPARTMENTS),
    }
    for column in drawn.values():
        column.setflags(write=False)
    return drawn


def best_of(action: Callable[[], object], repeats: int = 7) -> float:
    action()
    times = []
    for _ in range(repeats):
        start = perf_counter()
        action()
        times.append(perf_counter() - start)
    return min(times)


def test_a_million_compartments(columns: dict[str, np.ndarray], capsys: pytest.CaptureFixture[str]) -> None:
    state = fluid_state(**{name: columns[name] for name in FIELDS})
    exposure = Exposure(distance_km=columns["km"], days=columns["days"], duty_multiplier=1.3)
    rates = AgeingRates(
        distance_limit_km=100_000.0,
        time_limit_days=3652.5,
        life_coefficient_of_variation=0.4,
        water_limit_mass_fraction=0.05,
        water_time_constant_days=1461.0,
        iron_mg_per_kg_per_km=5e-4,
    )
    actions: dict[str, Callable[[], object]] = {
        "plain copies": lambda: [np.copy(columns[name]) for name in FIELDS],
        "state": lambda: fluid_state(**{name: columns[name] for name in FIELDS}),
        "age": lambda: age(state, exposure, rates),
        "exchange, 1 round": lambda: exchange_rounds(state, columns["drained"][:1], columns["drained"][:1]),
        "exchange, 3 rounds": lambda: exchange_rounds(state, columns["drained"], columns["drained"]),
        "observe": lambda: observe(state, columns["seen"], 0.25),
    }
    seconds = {name: best_of(action) for name, action in actions.items()}
    with capsys.disabled():
        for name, taken in seconds.items():
            copies = taken / seconds["plain copies"]
            sys.stdout.write(f"\n{name:20s} {1e3 * taken:8.1f} ms {copies:6.1f} copies")
    exchanged = exchange_rounds(state, columns["drained"], columns["drained"])
    expected = columns["life_used"] * np.prod(1.0 - columns["drained"] / columns["volume_15c_litres"], axis=0)
    np.testing.assert_allclose(exchanged.state.life_used, expected, rtol=1e-9, atol=1e-12)
