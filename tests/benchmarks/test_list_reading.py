"""Reading a published list that the client has already, against a plain database read of one row, in one run.

The goal is a ratio below 1.5. Both are measured as the store sees them and as a client sees them.
"""

import time
from collections.abc import Callable
from statistics import median

import pytest
from sqlmodel import Session, select

from service.store.repositories import due_lists
from service.store.tables.due_lists import DueList
from tests.api.test_due_lists import fleet  # noqa: F401

N_ROUNDS = 400


def microseconds(*calls: Callable[[], object]) -> list[float]:
    """Median of each call, taken in turns so that the machine's moods are shared."""
    taken: list[list[float]] = [[] for _ in calls]
    for _ in range(N_ROUNDS):
        for place, call in enumerate(calls):
            began = time.perf_counter()
            call()
            taken[place].append(time.perf_counter() - began)
    return [1e6 * median(one) for one in taken]


@pytest.mark.bench
def test_a_list_that_the_client_has_costs_little_more_than_one_row(fleet, database):  # noqa: F811
    assert fleet.post("/v1/due-lists/2026-W19/publish").status_code == 200
    path = "/v1/due-lists/2026-W19"
    held = {"If-None-Match": fleet.get(path).headers["ETag"]}
    assert fleet.get(path, headers=held).status_code == 304

    def a_row(session: Session) -> object:
        return session.exec(
            select(DueList).where(
                DueList.organisation_id == fleet.organisation_id, DueList.iso_week == "2026-W19"
            )
        ).first()

    def in_snapshot(read: Callable[[Session], object]) -> None:
        with database.snapshot() as session:
            assert read(session) is not None

    row, tag, by_door, list_by_door = microseconds(
        lambda: in_snapshot(a_row),
        lambda: in_snapshot(lambda session: due_lists.read_tag(session, fleet.organisation_id, "2026-W19")),
        lambda: fleet.get("/v1/organisation"),
        lambda: fleet.get(path, headers=held),
    )
    print(f"one row {row:.0f} us, tag {tag:.0f} us ({tag / row:.2f}); ", end="")
    print(f"one row by HTTP {by_door:.0f} us, list held {list_by_door:.0f} us ({list_by_door / by_door:.2f})")
    assert tag < 1.5 * row
    assert list_by_door < 1.5 * by_door
