"""When the bays of a depot are open: its minutes by weekday, less public holidays and its own closing days."""

from collections.abc import Sequence
from datetime import date
from functools import lru_cache

import holidays
import numpy as np

from service.engine.arrays import Floats
from service.store.tables.organisation import Depot


def open_minutes(depots: Sequence[Depot], days: Sequence[date], today: date) -> Floats:
    """Bay minutes of depots on days, shape (depots, days); a closed day and one that is over have none."""
    minutes = np.zeros((len(depots), len(days)))
    years = frozenset(day.year for day in days)
    for row, depot in enumerate(depots):
        closed = {*depot.closed_on, *public_holidays(depot.holiday_region, years)}
        for column, day in enumerate(days):
            if day >= today and day.isoformat() not in closed:
                minutes[row, column] = _usual(depot.bay_minutes, day)
    return minutes


@lru_cache(maxsize=256)
def public_holidays(region: str | None, years: frozenset[int]) -> frozenset[str]:
    """Public holidays of an ISO 3166 code as ISO dates; a region that is not known has none."""
    if not region:
        return frozenset()
    country, _, subdivision = region.partition("-")
    try:
        kept = holidays.country_holidays(country, subdiv=subdivision or None, years=years)
    except NotImplementedError:
        return frozenset()
    return frozenset(day.isoformat() for day in kept)


def _usual(bay_minutes: Sequence[float], day: date) -> float:
    """Minutes of the weekday; a depot for which fewer weekdays were given is closed on the others."""
    place = day.isoweekday() - 1
    return max(float(bay_minutes[place]), 0.0) if place < len(bay_minutes) else 0.0
