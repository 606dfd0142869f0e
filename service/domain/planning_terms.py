"""What an organisation can say about its planning: costs, risks and how far to look ahead, with bounds."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from service.domain import plausibility
from service.domain.sourced import Sourced, practice
from service.domain.stock_defaults import HOLDING_SHARE_A_YEAR, ORDER_COST_MINOR

NO_SHORTAGE_COST: Final = practice(0)
ORDER_PLAN_WEEKS: Final = practice(12, 1, 26)
LISTING_PROBABILITY: Final = practice(0.5, 0.05, 0.95)
"""A compartment is listed once it is more likely than not due by the week's end; 0.25 says that a day late costs
three times as much as a day early."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanningTerm:
    """One term: what it means, what it is if nobody says otherwise, and what it can be."""

    meaning: str
    default: Sourced
    minimum: float
    maximum: float
    is_whole: bool = False

    def allows(self, value: float) -> bool:
        """Whether the term can have a value."""
        return self.minimum <= value <= self.maximum and (not self.is_whole or value == int(value))


def _money(meaning: str, default: Sourced) -> PlanningTerm:
    bounds = plausibility.PRICE_MINOR
    return PlanningTerm(meaning=meaning, default=default, minimum=bounds.minimum, maximum=bounds.maximum)


def _share(meaning: str, default: Sourced) -> PlanningTerm:
    return PlanningTerm(meaning=meaning, default=default, minimum=0.0, maximum=1.0)


PLANNING_TERMS: Final[Mapping[str, PlanningTerm]] = MappingProxyType(
    {
        "visit_minor": _money(
            "A visit, whatever is done in it: the vehicle off the road, the way; setting up is bay time.",
            practice(6_000, 0, 40_000),
        ),
        "labour_minor_an_hour": _money("A bay hour.", practice(6_000, 2_500, 15_000)),
        "fluid_minor_a_litre": _money(
            "A litre of a fluid none of whose packs has a price.", practice(900, 300, 4_000)
        ),
        "disposal_minor_per_litre": _money("Disposal of a litre of used fluid.", practice(20, 0, 100)),
        "line_equipment_minor": _money(
            "Adapters, seals and dismantling for a line exchange.", practice(3_000, 1_000, 10_000)
        ),
        "overdue_minor_a_week": _money(
            "What a week overdue is thought to risk, a visit.", practice(3_000, 1_000, 50_000)
        ),
        "contaminated_factor": PlanningTerm(
            meaning="How many times as much a week overdue risks where there is water or coolant in a fluid.",
            default=practice(10, 3, 50),
            minimum=1.0,
            maximum=1_000.0,
        ),
        "overtime_minor_an_hour": _money(
            "A bay hour beyond the depot's own.", practice(9_000, 4_000, 25_000)
        ),
        "overtime_share": _share(
            "Overtime that a depot can work, as a share of its hours of the day.",
            practice(0, 0, 0.5),
        ),
        "most_early_share": _share(
            "No fluid is changed with more than this share of its interval still to run.",
            practice(0.25, 0, 0.5),
        ),
        "listing_probability": PlanningTerm(
            meaning="How likely a fluid must be due by a week's end to be on its list.",
            default=LISTING_PROBABILITY,
            minimum=0.05,
            maximum=0.95,
        ),
        "order_cost_minor": _money("Placing and taking in one order.", ORDER_COST_MINOR),
        "holding_share_a_year": _share(
            "Keeping stock for a year, as a share of its price.", HOLDING_SHARE_A_YEAR
        ),
        "shortage_minor_a_week": _money(
            "A litre or a piece that work waits for, a week. Above 0, orders weigh this against the cost of "
            "keeping stock; at 0 every fluid and part is kept to its own service level.",
            NO_SHORTAGE_COST,
        ),
        "order_plan_weeks": PlanningTerm(
            meaning="ISO weeks that the forecast and the order plan look ahead unless asked otherwise.",
            default=ORDER_PLAN_WEEKS,
            minimum=1.0,
            maximum=26.0,
            is_whole=True,
        ),
    }
)
"""By their names in `Organisation.planning`; money in the smallest unit of the currency."""


def own_term(planning: Mapping[str, float], name: str) -> float | None:
    """Give a term as the organisation set it; what it cannot be counts as not set."""
    value = planning.get(name)
    return float(value) if value is not None and PLANNING_TERMS[name].allows(value) else None


def planned_with(planning: Mapping[str, float], name: str) -> float:
    """Give a term as the organisation set it, else its default."""
    own = own_term(planning, name)
    return PLANNING_TERMS[name].default.value if own is None else own
