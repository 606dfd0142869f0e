"""Visits levelled depot by depot: one whose visits and hours are as they were keeps its days."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import TypeVar

import numpy as np

from service.engine.arrays import Integers
from service.engine.visits.levelling import LevelledVisits, level_visits
from service.engine.visits.requests import BayHours, VisitRequests, rows_of

_Arrays = TypeVar("_Arrays", VisitRequests, BayHours)


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelledDepot:
    """One depot: what was asked, and the answer."""

    rows: Integers
    """Places of its visits among those of all depots."""

    visits: VisitRequests
    bays: BayHours
    levelled: LevelledVisits


def level_depots(
    visits: VisitRequests, bays: BayHours, before: Mapping[int, LevelledDepot]
) -> dict[int, LevelledDepot]:
    """Level the visits of every depot that has any, by the depot's row; no depot bears on another."""
    return {
        depot: _level(visits, bays, depot, before.get(depot))
        for depot in np.unique(visits.depot_index).tolist()
    }


def _level(visits: VisitRequests, bays: BayHours, depot: int, before: LevelledDepot | None) -> LevelledDepot:
    rows = np.flatnonzero(visits.depot_index == depot)
    own, hours = rows_of(visits, rows), rows_of(bays, np.array([depot]))
    own.depot_index[:] = 0
    is_same = before is not None and _are_equal(before.visits, own) and _are_equal(before.bays, hours)
    levelled = before.levelled if before is not None and is_same else level_visits(own, hours)
    return LevelledDepot(rows=rows, visits=own, bays=hours, levelled=levelled)


def _are_equal(first: _Arrays, second: _Arrays) -> bool:
    return all(np.array_equal(getattr(first, one.name), getattr(second, one.name)) for one in fields(first))
