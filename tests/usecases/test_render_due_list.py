"""The list on paper: what holds for all work stands once, what concerns one line stands beside it."""

from dataclasses import replace
from datetime import UTC, date, datetime
from types import SimpleNamespace

import pytest

from service.domain.cautions import DEFERENCE
from service.domain.weeks import IsoWeek
from service.store.tables.organisation import Organisation
from service.usecases.week.describe_line import ListedLine
from service.usecases.week.render_due_list import (
    EVENTS_A_WEEK,
    _notes,
    document_line,
    due_list_document,
    sequence_number,
)


def line(limit: str) -> ListedLine:
    """An invented line."""
    return ListedLine(
        vehicle_id=1,
        compartment_id=2,
        vehicle="VAN-01",
        compartment="gearbox",
        depot="North",
        kind="automatic_transmission_car",
        fluid="ATF",
        reason="The interval ends now.",
        limit_reached=limit,
        due_q10_on=date(2026, 5, 4),
        due_q50_on=date(2026, 5, 4),
        due_q90_on=date(2026, 5, 5),
        overdue_probability=0.1,
        method="drain_and_fill",
        n_rounds=3,
        litres=10.5,
        labour_minutes=95,
        first_listed_week="2026-W19",
        detail={"cautions": ["Never under a jack alone."], "seals": []},
    )


def test_a_line_says_its_work_and_the_list_its_bay_time_with_setting_up_each_visit():
    """45 + 2 x 25 = 95 minutes of work for three rounds; both lines of a vehicle on a day are one visit of 20 more."""
    organisation = Organisation(
        name="Invented", time_zone="Europe/Berlin", created_at=datetime(2026, 5, 1, tzinfo=UTC)
    )
    shown = SimpleNamespace(
        published=None, week=IsoWeek(2026, 19), organisation=organisation, lines=[(line("hours"), ())] * 2
    )
    document = due_list_document(shown, datetime(2026, 5, 1, tzinfo=UTC), "https://sumpwise.example")
    assert [one.work_minutes for one in document.lines] == [95, 95]
    assert document.bay_minutes == 210


def test_a_fluid_without_a_name_is_told_by_its_kind_in_words():
    assert document_line(replace(line("hours"), fluid="")).fluid == "Automatic transmission (car, van)"


@pytest.mark.parametrize(("limit", "has_caution"), [("distance", False), ("contamination", True)])
def test_only_a_contaminated_fluid_has_a_caution_of_its_own(limit, has_caution):
    assert bool(document_line(line(limit)).caution) is has_caution


def test_the_cautions_of_all_work_stand_once():
    shown = SimpleNamespace(published=object(), lines=[(line("distance"), ()), (line("hours"), ())])
    assert _notes(shown) == ("Never under a jack alone.", DEFERENCE)


def test_whatever_is_said_of_a_line_the_next_list_says_something_newer():
    """RFC 5545, 3.8.7.4: the sequence number of a revision is greater than that of the one before."""
    first, second = IsoWeek(2026, 19), IsoWeek(2026, 20)
    much = [SimpleNamespace()] * (2 * EVENTS_A_WEEK)
    assert sequence_number(line("hours"), first, much) < sequence_number(line("hours"), second, ())
