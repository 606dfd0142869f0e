"""Prices that plans reckon with: what the organisation has set, else what is assumed."""

from collections.abc import Mapping
from typing import Final

from service.domain.planning_terms import PLANNING_TERMS, own_term
from service.domain.sourced import Flag, Sourced

_TERMS: Final = {
    "price_minor_per_litre": "fluid_minor_a_litre",
    "disposal_minor_per_litre": "disposal_minor_per_litre",
    "labour_minor_per_hour": "labour_minor_an_hour",
    "visit_minor": "visit_minor",
    "line_equipment_minor": "line_equipment_minor",
}
"""Numbers of a plan, and the planning terms that say them."""


def own_prices(planning: Mapping[str, float]) -> dict[str, Sourced]:
    """Prices by their names in plans."""
    return {name: _price(planning, term) for name, term in _TERMS.items()}


def _price(planning: Mapping[str, float], term: str) -> Sourced:
    own = own_term(planning, term)
    if own is None:
        return PLANNING_TERMS[term].default
    return Sourced(value=own, flag=Flag.OWN_DATA, source="The organisation's settings")
