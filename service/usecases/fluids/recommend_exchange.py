"""How the fluid of each compartment should be changed next: method, rounds, litres."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from service.domain.exchange_methods import ExchangeMethod
from service.domain.fluid_exchange_defaults import EXCHANGE_DEFAULTS
from service.domain.fluid_kinds import FluidKind
from service.domain.service_work import labour_minutes
from service.engine.arrays import Floats, Integers
from service.engine.exchange.credit import rounds_needed, schedule_credit
from service.engine.exchange.line import retained_tanks_in_series

TARGET_FRESH_FRACTION: Final = 0.75
"""A service by rounds should renew this share of the charge. Common practice, no source."""

FULL_EQUIVALENT_SHARE: Final = 0.85
"""An exchange that renews this share ends a contamination alarm. Common practice, no source."""

MAX_ROUNDS: Final = 6
FLUSH_TURNOVERS: Final = 1.5
"""Litres passed by litres held in a line exchange or flush. Common practice, no source."""

FULL_DRAIN_FRACTION: Final = 0.8
"""Where one drain brings out this share, one round is the service."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recommendation:
    """The next exchange of n compartments, each of shape (n,)."""

    method: list[ExchangeMethod]
    n_rounds: Integers
    litres: Floats
    fresh_fraction_after: Floats
    labour_minutes: Floats

    @property
    def interval_share(self) -> Floats:
        """Share of a full interval that the exchange is worth."""
        return np.where(self.fresh_fraction_after >= FULL_DRAIN_FRACTION, 1.0, self.fresh_fraction_after)


def recommend_exchange(columns: dict[str, list[Any]]) -> Recommendation:
    """Recommend the next exchange of compartments, given as columns.

    An accepted return visit says its own rounds; a contaminated fluid gets at least those that end its alarm.
    """
    total = np.array(columns["total_litres"], dtype=np.float64)
    drainable = np.array(columns["drainable_litres"], dtype=np.float64)
    share = np.minimum(drainable / total, 1.0)
    kinds = {kind: place for place, kind in enumerate(sorted(set(columns["kind"])))}
    methods = [EXCHANGE_DEFAULTS[FluidKind(kind)].method for kind in kinds]
    kind = np.array([kinds[one] for one in columns["kind"]], dtype=np.int64)
    is_drained = np.array([one is ExchangeMethod.DRAIN_AND_FILL for one in methods], dtype=bool)[kind]
    wanted = np.where(share >= FULL_DRAIN_FRACTION, 1, rounds_needed(share, 1.0 - TARGET_FRESH_FRACTION))
    ends_alarm = np.minimum(rounds_needed(share, 1.0 - FULL_EQUIVALENT_SHARE), MAX_ROUNDS)
    least = np.where(np.array(columns["is_contaminated"], dtype=bool), ends_alarm, 0)
    planned = np.array([rounds or 0 for rounds in columns["return_rounds"]], dtype=np.int64)
    wanted = np.maximum(np.where(planned > 0, planned, np.minimum(wanted, MAX_ROUNDS)), least)
    n_rounds = np.where(is_drained, wanted, 1).astype(np.int64)
    by_rounds = schedule_credit(share, n_rounds.astype(np.float64))
    flushed = 1.0 - float(retained_tanks_in_series(FLUSH_TURNOVERS))
    return Recommendation(
        method=[methods[place] for place in kind.tolist()],
        n_rounds=n_rounds,
        litres=np.where(is_drained, n_rounds * drainable, FLUSH_TURNOVERS * total),
        fresh_fraction_after=np.where(is_drained, by_rounds, flushed),
        labour_minutes=_labour(methods, n_rounds)[kind, n_rounds],
    )


def _labour(methods: Sequence[ExchangeMethod], n_rounds: Integers) -> Floats:
    """Minutes by method and number of rounds."""
    counts = range(int(n_rounds.max(initial=0)) + 1)
    table = [[labour_minutes(method, count) for count in counts] for method in methods]
    return np.array(table, dtype=np.float64).reshape(len(methods), len(counts))
