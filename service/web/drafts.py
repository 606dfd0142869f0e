"""Drafts that were worked out a moment ago: planning thousands of vehicles takes longer than a page may.

A draft is shown again only while nothing that somebody did since bears on it. Readings come all the time, so they,
and the passing of time, may wait for some minutes; the page says when its draft was worked out. When something was done
within these minutes, the draft is worked out as of the same instant as before, so that only what changed has to be.
"""

from collections import OrderedDict
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from threading import Lock
from typing import Final

import structlog
from sqlmodel import Session

from service.domain.weeks import IsoWeek
from service.store.repositories import fleet
from service.store.repositories.changes import latest_change
from service.store.session import Database
from service.usecases.access.caller import Caller, system_caller
from service.usecases.visits.kept_work import KeptWork
from service.usecases.week.show_due_list import CURRENT, ShownList, show_due_list, show_published, week_named

log = structlog.get_logger("drafts")

KEPT_FOR: Final = timedelta(minutes=5)
MOST_KEPT: Final = 64
MOST_WITH_WORK: Final = 4
"""What a draft of 5,000 vehicles comes from takes some 20 MB."""

MOST_WARMED: Final = 8
MOST_VEHICLES_WARMED: Final = 10_000
"""Of a fleet: half a second's work."""

BEARS_ON_NO_DRAFT: Final = frozenset(
    {
        "person",
        "token",
        "subscription",
        "delivery",
        "calendar feed",
        "stock movement",
        "purchase order",
        "used fluid collection",
    }
)
"""Sorts of objects whose changes are written down, but move no visit."""


@dataclass(frozen=True, slots=True)
class _Basis:
    """What a draft rests on; it holds while this is the same."""

    today: date
    latest_change: tuple[int, datetime] | None
    """Its number and instant."""


@dataclass(frozen=True, slots=True)
class _Kept:
    basis: _Basis
    shown: ShownList
    as_of: datetime
    """Instant that it was worked out for."""

    at: datetime
    """When that was done: perhaps later, after something had changed."""

    work: KeptWork | None = field(repr=False)

    def is_fresh(self, today: date, now: datetime) -> bool:
        """Whether what it was worked out for is near enough to now."""
        return self.basis.today == today and timedelta(0) <= now - self.as_of < KEPT_FOR


@dataclass(slots=True)
class Drafts:
    """The latest drafts of a process, by organisation and week."""

    _kept: OrderedDict[tuple[int, IsoWeek], _Kept] = field(default_factory=OrderedDict)
    _lock: Lock = field(default_factory=Lock)

    def show(self, session: Session, caller: Caller, now: datetime, name: str) -> tuple[ShownList, datetime]:
        """Give the list of a week, and when it was worked out: a published one as it is, a draft perhaps again."""
        week = week_named(session, caller, name, now)
        key = caller.organisation_id, week
        fixed = show_published(session, caller, week)
        if fixed is not None:
            return fixed, now
        organisation = fleet.get_organisation(session, caller.organisation_id)
        basis = _Basis(
            organisation.today(now),
            latest_change(session, caller.organisation_id, BEARS_ON_NO_DRAFT),
        )
        with self._lock:
            kept = self._kept.get(key)
        as_of, work = now, None
        if kept is not None and kept.is_fresh(basis.today, now):
            if kept.basis == basis:
                return replace(kept.shown, organisation=organisation), kept.at
            as_of, work = kept.as_of, kept.work
        work = work or KeptWork()
        shown = show_due_list(session, caller, as_of, str(week), work)
        self._keep(key, _Kept(basis, shown, as_of, now, work))
        return shown, now

    def warm_up(self, database: Database, now: datetime) -> None:
        """Work out the present week of a few fleets, and load with it what a new process has not used yet.

        Whoever opens the first page after a start would else wait for that.
        """
        try:
            with database.snapshot() as session:
                for organisation_id in fleet.list_organisation_ids(session)[:MOST_WARMED]:
                    if fleet.count_vehicles(session, organisation_id) <= MOST_VEHICLES_WARMED:
                        self.show(session, system_caller(organisation_id, "warm-up"), now, CURRENT)
        except Exception:
            log.exception("warm_up_failed")

    def _keep(self, key: tuple[int, IsoWeek], kept: _Kept) -> None:
        with self._lock:
            self._kept[key] = kept
            self._kept.move_to_end(key)
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
            for earlier in list(self._kept)[:-MOST_WITH_WORK]:
                self._kept[earlier] = replace(self._kept[earlier], work=None)
