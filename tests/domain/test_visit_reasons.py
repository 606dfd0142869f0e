"""What a plan says of a visit, and the terms it reckons with."""

from datetime import date

import pytest

from service.domain import visit_reasons
from service.domain.planning_terms import PLANNING_TERMS, planned_with
from service.domain.visit_reasons import Placing
from service.domain.weeks import IsoWeek

LONG = "x" * 40
DAY = date(2026, 5, 7)
NOT_PLACED = [
    Placing.BAYS_FULL,
    Placing.VEHICLE_NEVER_THERE,
    Placing.DEPOT_CLOSED,
    Placing.LONGER_THAN_ANY_DAY,
    Placing.DUE_LATER,
]


def test_a_term_is_the_organisation_s_own_where_that_makes_sense():
    assert planned_with({"visit_minor": 2500.0}, "visit_minor") == 2500.0
    for nonsense in ({}, {"visit_minor": -1.0}, {"visit_minor": float("nan")}, {"visit_minor": float("inf")}):
        assert planned_with(nonsense, "visit_minor") == PLANNING_TERMS["visit_minor"].default.value


def test_three_names_are_two_and_a_number():
    assert visit_reasons.pulled_in(["a", "b", "c", "d"], 5).startswith(
        "Due in 5 weeks; done with the visit for a, b and 2 more,"
    )
    assert visit_reasons.pulled_in(["a"], 1).startswith("Due in 1 week; done with the visit for a,")
    assert visit_reasons.pulled_in(["a"], 0).startswith("Due soon;")


@pytest.mark.parametrize("placing", NOT_PLACED)
def test_each_reason_for_having_no_day_is_a_sentence_of_its_own(placing):
    own = visit_reasons.not_placed(placing, "North", 90.0, 8)
    others = {visit_reasons.not_placed(one, "North", 90.0, 8) for one in NOT_PLACED if one is not placing}
    assert own.endswith(".")
    assert own not in others


def test_every_addition_leaves_room_for_the_reason_why_a_line_is_due():
    """A line keeps 400 characters; why it is due takes 160 at most, with names of 40."""
    week = IsoWeek(2026, 19)
    said = [
        visit_reasons.pulled_in([LONG, LONG, LONG], 52),
        visit_reasons.delayed(week, DAY, LONG, has_no_day=True),
        visit_reasons.delayed(week, DAY, LONG, has_no_day=False),
        visit_reasons.brought_forward(week, 7, has_no_day=True),
        visit_reasons.held_back(DAY, 2 * LONG),
        *(visit_reasons.not_placed(one, LONG, 1e4, 26) for one in NOT_PLACED),
        f"{visit_reasons.fixed(DAY, 2 * LONG, origin=Placing.PINNED)} {visit_reasons.overbooked(LONG, 1e4)}",
    ]
    assert max(len(one) for one in said) <= 240
