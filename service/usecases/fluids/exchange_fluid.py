"""What one service did to the fluid in a compartment, and what it counts as on the schedule."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from service.domain.exchange_methods import ExchangeMethod
from service.engine.exchange.credit import schedule_credit
from service.engine.exchange.line import exchange_line, retained_tanks_in_series
from service.engine.exchange.mixing import leak, top_up
from service.engine.exchange.rounds import exchange_rounds
from service.engine.exchange.state import FluidState
from service.store.repositories.services import DoneItem
from service.store.tables.vehicles import Compartment

LEVEL_KNOWS_BEST_SHARE: Final = 0.15
"""A measured excess corrects the volume that was there before by at most this share. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchanged:
    """The fluid afterwards, and where the litres went."""

    fluid: FluidState
    retained_share: float
    """Share of the charge that was there before."""

    volume_before_litres: float
    drained_litres: float
    filled_litres: float
    released_litres: float
    """What ran off when the level was set."""


def exchange_fluid(compartment: Compartment, fluid: FluidState, done: DoneItem) -> Exchanged:
    """Apply the rounds, the line exchange or the top-up of one service."""
    drained = sum(row.drained_litres for row in done.rounds)
    filled = sum(row.filled_litres for row in done.rounds)
    if done.item.method == ExchangeMethod.TOP_UP:
        return _topped_up(compartment, fluid, filled)
    fluid = _enough_for(_corrected_by_level(compartment, fluid, done, drained - filled), done)
    before, retained, released = float(fluid.volume_15c_litres[0]), 1.0, 0.0
    is_level_set = done.item.level_celsius is not None
    if done.rounds:
        result = exchange_rounds(
            fluid,
            np.array([[row.drained_litres] for row in done.rounds]),
            np.array([[row.filled_litres] for row in done.rounds]),
            level_15c_litres=compartment.total_litres if is_level_set else None,
        )
        fluid, retained = result.state, float(result.retained_share_by_round[-1, 0])
        released = float(result.released_15c_litres[0])
    passed = done.item.passed_litres or 0.0
    if passed:
        retained *= float(retained_tanks_in_series(passed / fluid.volume_15c_litres)[0])
        fluid = exchange_line(fluid, passed)
    if is_level_set:
        fluid = replace(fluid, volume_15c_litres=np.array([compartment.total_litres]))
    return Exchanged(
        fluid=fluid,
        retained_share=retained,
        volume_before_litres=before,
        drained_litres=drained,
        filled_litres=filled + passed,
        released_litres=released,
    )


def service_credit(compartment: Compartment, done: DoneItem, retained_share: float) -> float:
    """Share of a full service that this one counts as; the maker may call a drain-and-fill the service."""
    if done.item.method == ExchangeMethod.TOP_UP:
        return 0.0
    if compartment.partial_is_full and (done.rounds or done.item.passed_litres):
        return 1.0
    return float(schedule_credit(1.0 - retained_share))


def why_service(done: DoneItem, retained_share: float, credit: float) -> str:
    """Say in one sentence or two what the service did and what it counts for."""
    if done.item.method == ExchangeMethod.TOP_UP:
        return "A top-up thins what is there and counts for nothing on the schedule."
    n_rounds = len(done.rounds)
    work = done.item.method.replace("_", " ")
    if n_rounds:
        work = f"{n_rounds} round{'' if n_rounds == 1 else 's'}"
    share = f"{work[0].upper()}{work[1:]}: {1.0 - retained_share:.0%} of the charge is new"
    if credit == 1.0:
        return f"{share}; the schedule starts again."
    return f"{share}; the schedule moves by that share, not by a whole interval."


def _topped_up(compartment: Compartment, fluid: FluidState, filled_litres: float) -> Exchanged:
    """Add what was missing: litres above the mark say that as much had leaked before."""
    before = float(fluid.volume_15c_litres[0])
    lost = min(max(before + filled_litres - compartment.total_litres, 0.0), before)
    fluid = leak(fluid, lost)
    left = before - lost
    return Exchanged(
        fluid=top_up(fluid, filled_litres),
        retained_share=left / (left + filled_litres) if left + filled_litres > 0.0 else 1.0,
        volume_before_litres=left,
        drained_litres=0.0,
        filled_litres=filled_litres,
        released_litres=0.0,
    )


def _corrected_by_level(
    compartment: Compartment, fluid: FluidState, done: DoneItem, drained_beyond_filled_litres: float
) -> FluidState:
    """Infer what was in it before: litres at the mark, plus the measured excess, plus what went out, less what came in.

    A unit that arrived low shows it only here. A difference larger than a level can explain is left alone.
    """
    item, total = done.item, compartment.total_litres
    if item.level_celsius is None or item.excess_drained_litres is None or not done.rounds:
        return fluid
    before = total + item.excess_drained_litres + drained_beyond_filled_litres
    if abs(before - total) > LEVEL_KNOWS_BEST_SHARE * total:
        return fluid
    return replace(fluid, volume_15c_litres=np.array([before]))


def _enough_for(fluid: FluidState, done: DoneItem) -> FluidState:
    """Believe the measuring jug: whoever drained more than was thought to be there found more there."""
    needed, gained = 0.0, 0.0
    for row in done.rounds:
        needed = max(needed, row.drained_litres - gained)
        gained += row.filled_litres - row.drained_litres
    volume = np.maximum(fluid.volume_15c_litres, needed)
    return replace(fluid, volume_15c_litres=volume)
