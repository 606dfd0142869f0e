"""What is assumed of failures and of the wanted certainty where a policy is planned and nobody has said so."""

from typing import Final

from service.domain.sourced import practice

COMPLIANCE_PROBABILITY: Final = practice(0.9, 0.5, 0.999)
"""Share of the class's vehicles whose fluid stays under the limit up to each visit."""

FAILURE_MINOR: Final = practice(380_000, 50_000, 2_000_000)
"""A failure of the unit, the vehicle off the road included; in the smallest unit of the currency."""

HAZARD_SHAPE: Final = practice(3, 1, 6)
"""The hazard grows as this power of life used."""

HAZARD_SCALE_KM: Final = practice(400_000, 100_000, 2_000_000)
"""Mean distance between failures if the fluid stood at its condemning limit all the time."""
