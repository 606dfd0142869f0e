"""What visits, early work, late work and overtime are taken to cost where an organisation has said nothing else."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from service.domain.service_prices import FLUID_MINOR_PER_LITRE, LABOUR_MINOR_PER_HOUR, VISIT_MINOR
from service.domain.sourced import Sourced, practice

PLANNING_DEFAULTS: Final[Mapping[str, Sourced]] = MappingProxyType(
    {
        "visit_minor": VISIT_MINOR,
        "labour_minor_an_hour": LABOUR_MINOR_PER_HOUR,
        "fluid_minor_a_litre": FLUID_MINOR_PER_LITRE,
        "overdue_minor_a_week": practice(3_000, 1_000, 50_000),
        "contaminated_factor": practice(10, 3, 50),
        "overtime_minor_an_hour": practice(9_000, 4_000, 25_000),
        "overtime_share": practice(0, 0, 0.5),
        "most_early_share": practice(0.25, 0, 0.5),
    }
)
"""Terms of the visit plan by their names in `Organisation.planning`; money in the smallest unit of the currency.

visit_minor             a visit, whatever is done in it: the vehicle off the road, the way; setting up is bay time
labour_minor_an_hour    a bay hour; with the fluid it makes the price of a job, and so of fluid life given up
fluid_minor_a_litre     a litre of a fluid none of whose packs has a price
overdue_minor_a_week    what a week overdue is thought to risk, a visit
contaminated_factor     so many times that where there is water or coolant in a fluid
overtime_minor_an_hour  a bay hour beyond the depot's own
overtime_share          overtime that a depot can work, as a share of its hours of the day; none unless said
most_early_share        no fluid is changed with more than this share of its interval still to run
"""
