"""How hard a vehicle works, as a multiplier on the rate at which distance ages its fluids.

A duty belongs to a vehicle for a span of time, not to a fluid. Where a temperature history is known it
replaces the multiplier: using both would count the heat twice.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from service.domain.sourced import Sourced, practice


class Duty(StrEnum):
    """How hard the vehicle works."""

    NORMAL = "normal"
    MIXED = "mixed"
    SEVERE = "severe"
    CITY_BUS_OR_RETARDER = "city_bus_or_retarder"


@dataclass(frozen=True, slots=True, kw_only=True)
class DutyDefaults:
    """One duty: its multiplier, and how to recognise it."""

    duty: Duty
    label: str
    rate_multiplier: Sourced
    recognised_by: str


DUTY_DEFAULTS: Final[Mapping[Duty, DutyDefaults]] = MappingProxyType(
    {
        defaults.duty: defaults
        for defaults in (
            DutyDefaults(
                duty=Duty.NORMAL,
                label="Normal",
                rate_multiplier=practice(1.0),
                recognised_by="Mostly open road, engine and gearbox warm, moderate loads and weather.",
            ),
            DutyDefaults(
                duty=Duty.MIXED,
                label="Mixed",
                rate_multiplier=practice(1.3, 1.0, 1.5),
                recognised_by="Town and open road in turn, loads now and then.",
            ),
            # One owner's manual and one trade magazine agree on these conditions; halving the interval gives 2.
            DutyDefaults(
                duty=Duty.SEVERE,
                label="Severe",
                rate_multiplier=practice(2.0, 1.5, 2.5),
                recognised_by=(
                    "Short trips, long idling, dust or salt, heavy traffic in heat, repeated hills, "
                    "towing, patrol, taxi or delivery work, sustained high speed."
                ),
            ),
            # Zakarian and others, SAE 2003-01-1985, abstract: city buses with retarders reached 80,000 km in a year,
            # said to be four times the maker's interval. A truck maker's table: 400/300/180 thousand miles by duty.
            DutyDefaults(
                duty=Duty.CITY_BUS_OR_RETARDER,
                label="City bus, retarder or yard work",
                rate_multiplier=practice(3.5, 2.5, 5.0),
                recognised_by="Stop and go all day, a retarder in the gearbox, or shunting in a yard.",
            ),
        )
    }
)
