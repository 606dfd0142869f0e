"""What the events beside a line of a published list make of it."""

from datetime import date

import pytest

from service.store.repositories.due_lists import day_of, is_closed, state_of
from service.store.tables.due_lists import DueListLine, LineEvent

LINE = DueListLine(planned_on=date(2026, 5, 4))


def events(*kinds: str) -> list[LineEvent]:
    return [LineEvent(kind=kind, moved_to_on=date(2026, 5, 4) if kind == "moved" else None) for kind in kinds]


@pytest.mark.parametrize(
    ("kinds", "state"),
    [
        ((), "open"),
        (("moved",), "open"),
        (("done",), "done"),
        (("dropped",), "dropped"),
        (("done", "reopened"), "open"),
        (("dropped", "reopened", "moved"), "open"),
        (("done", "moved"), "done"),
        (("done", "reopened", "dropped"), "dropped"),
    ],
)
def test_the_last_event_that_is_no_move_says_what_a_line_is(kinds: tuple[str, ...], state: str) -> None:
    assert state_of(events(*kinds)) == state
    assert is_closed(events(*kinds)) is (state != "open")


def test_a_line_is_done_on_the_day_it_was_last_moved_to() -> None:
    assert day_of(LINE, events("done")) == date(2026, 5, 4)
    moves = [LineEvent(kind="moved", moved_to_on=date(2026, 5, day)) for day in (7, 6)]
    assert day_of(LINE, [*moves, *events("reopened")]) == date(2026, 5, 6)
