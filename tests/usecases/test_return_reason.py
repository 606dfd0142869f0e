"""A return visit is the reason of a line only where it comes before the schedule."""

from datetime import date
from types import SimpleNamespace

import pytest

from service.domain.due_reasons import Limit
from service.domain.units_of_distance import DistanceUnit
from service.usecases.due.return_reason import return_reason

PLANNED = date(2026, 6, 1)


@pytest.mark.parametrize(
    ("due_on", "limit", "is_reason"),
    [
        (PLANNED, Limit.CALENDAR, True),
        (date(2026, 5, 20), Limit.CALENDAR, False),
        (PLANNED, Limit.CONDITION, False),
        (PLANNED, None, False),
    ],
    ids=[
        "it brought the date forward",
        "the schedule is earlier",
        "the fluid's state bites",
        "nothing bites",
    ],
)
def test_a_return_visit_is_the_reason_where_it_brought_the_date_forward(due_on, limit, is_reason):
    columns = {"return_on": [PLANNED], "due_on": [due_on], "return_odometer_km": [None], "return_rounds": [2]}
    told = return_reason(SimpleNamespace(compartments=columns), 0, limit, DistanceUnit.KM)
    assert told == ("Return visit for 2 more rounds, planned on 2026-06-01." if is_reason else None)
