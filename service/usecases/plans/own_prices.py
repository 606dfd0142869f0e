"""Prices that plans reckon with: what the organisation has set, else what is assumed."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from service.domain import service_prices
from service.domain.planning_terms import PLANNING_TERMS
from service.domain.sourced import Flag, Sourced

_TERMS: Final[Mapping[str, tuple[str, Sourced]]] = MappingProxyType(
    {
        "price_minor_per_litre": ("fluid_minor_a_litre", service_prices.FLUID_MINOR_PER_LITRE),
        "disposal_minor_per_litre": ("disposal_minor_per_litre", service_prices.DISPOSAL_MINOR_PER_LITRE),
        "labour_minor_per_hour": ("labour_minor_an_hour", service_prices.LABOUR_MINOR_PER_HOUR),
        "visit_minor": ("visit_minor", service_prices.VISIT_MINOR),
        "line_equipment_minor": ("line_equipment_minor", service_prices.LINE_EQUIPMENT_MINOR),
    }
)
"""Numbers of a plan: the planning term that says them, and what they are where it is not set."""


def own_prices(planning: Mapping[str, float]) -> dict[str, Sourced]:
    """Prices by their names in plans; a setting that its term does not allow counts as not set."""
    found = {}
    for name, (term, assumed) in _TERMS.items():
        value = planning.get(term)
        is_set = value is not None and PLANNING_TERMS[term].allows(value)
        found[name] = (
            Sourced(value=float(value or 0), flag=Flag.OWN_DATA, source="The organisation's settings")
            if is_set
            else assumed
        )
    return found
