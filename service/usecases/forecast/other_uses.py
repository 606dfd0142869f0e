"""What is taken for work that no service records: few and far between, so forecast from its own history."""

from datetime import datetime, timedelta
from typing import Final

import numpy as np
from sqlmodel import Session

from service.engine.arrays import Floats
from service.engine.demand.intermittent_lead_time import forecast_intermittent
from service.engine.demand.lattice import LatticeDistributions, select_distributions
from service.store.repositories import stock
from service.store.repositories.stock_items import ItemKey
from service.usecases.forecast.demand_of_jobs import LITRES, PIECES, step_for

LOOK_BACK_WEEKS: Final = 104
LEAST_WEEKS: Final = 4
"""A history counts as so many weeks at least: one use on the first day is not one a day. Own choice."""


class OtherUses:
    """Weekly and cumulative demand of every item that was ever taken so."""

    def __init__(self, session: Session, organisation_id: int, now: datetime, n_weeks: int) -> None:
        since = now - timedelta(weeks=LOOK_BACK_WEEKS)
        histories: dict[ItemKey, Floats] = {}
        for fluid_id, part_id, at, quantity in stock.read_uses(session, organisation_id, since):
            week = int((now - at) / timedelta(weeks=1))
            key = ItemKey(fluid_id, part_id)
            if key not in histories:
                histories[key] = np.zeros(min(max(week + 1, LEAST_WEEKS), LOOK_BACK_WEEKS))
            history = histories[key]
            history[max(history.size - 1 - week, 0)] += quantity
        self._weekly: dict[ItemKey, LatticeDistributions] = {}
        self._cumulative: dict[ItemKey, LatticeDistributions] = {}
        alike: dict[tuple[bool, float], list[ItemKey]] = {}
        for key, history in histories.items():
            is_fluid = key.fluid_id is not None
            step = step_for(LITRES if is_fluid else PIECES, float(history.max()))
            alike.setdefault((is_fluid, step), []).append(key)
        for (_, step), keys in alike.items():
            self._forecast(keys, [np.rint(histories[key] / step) * step for key in keys], step, n_weeks)

    def weekly(self, key: ItemKey) -> LatticeDistributions | None:
        """Demand of each week; none where nothing was ever taken."""
        return self._weekly.get(key)

    def cumulative(self, key: ItemKey) -> LatticeDistributions | None:
        """Demand up to the end of each week; none where nothing was ever taken."""
        return self._cumulative.get(key)

    def _forecast(
        self,
        keys: list[ItemKey],
        histories: list[Floats],
        step: float,
        n_weeks: int,
    ) -> None:
        values = np.concatenate(histories)
        offsets = np.concatenate([[0], np.cumsum([history.size for history in histories])]).astype(np.int64)
        by_end = [
            forecast_intermittent(values, offsets, week + 1, step_quantity=step) for week in range(n_weeks)
        ]
        for place, key in enumerate(keys):
            chosen = np.array([place], np.int64)
            self._weekly[key] = select_distributions(by_end[0], np.repeat(chosen, n_weeks))
            self._cumulative[key] = _joined([select_distributions(one, chosen) for one in by_end])


def _joined(parts: list[LatticeDistributions]) -> LatticeDistributions:
    """Put single distributions one after the other."""
    sizes = [part.probability.size for part in parts]
    return LatticeDistributions(
        first_quantity=np.concatenate([part.first_quantity for part in parts]),
        step_quantity=np.concatenate([part.step_quantity for part in parts]),
        probability=np.concatenate([part.probability for part in parts]),
        offsets=np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64),
    )
