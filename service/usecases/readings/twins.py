"""Readings that equal another one of their vehicle in time and odometer, and say something else beside it."""

import numpy as np

from service.engine.arrays import Integers
from service.engine.screening.outcomes import Outcome
from service.engine.screening.screen import Entries, Screening


def spoken_for(entries: Entries, screening: Screening) -> Integers:
    """Say by which entry each one is judged: by itself, or where screening calls it a repeat by the one it repeats.

    Real repeats are never stored. What gets as far as this told other engine hours, which would be lost with it.
    """
    itself = np.arange(entries.time_days.size)
    is_repeat = screening.outcome == Outcome.DUPLICATE
    if not np.any(is_repeat):
        return itself
    vehicle = np.repeat(np.arange(entries.offsets.size - 1), np.diff(entries.offsets))
    order = np.lexsort((itself, entries.keyed_km, entries.time_days, vehicle))
    is_judged = ~is_repeat & (screening.outcome != Outcome.REJECTED)
    latest = np.maximum.accumulate(np.where(is_judged[order], itself, 0))
    judge = np.empty_like(itself)
    judge[order] = order[latest]
    return np.where(is_repeat, judge, itself)
