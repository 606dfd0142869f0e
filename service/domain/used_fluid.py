"""Where used fluid goes: streams that are never mixed, with their waste codes and keeping rules as data."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from service.domain.sourced import NO_SOURCE, Flag

_UK_GUIDE: Final = "UK government, Vehicle and oily wastes: how to classify"
_EU_LIST: Final = "European list of wastes, headings of chapters 13 and 16"
ANYWHERE: Final = "anywhere"
_US_RULE: Final = "40 CFR part 279"


class WasteStream(StrEnum):
    """A container of its own in the yard."""

    LUBRICATING_OIL = "lubricating_oil"
    HYDRAULIC_OIL = "hydraulic_oil"
    BRAKE_FLUID = "brake_fluid"
    COOLANT = "coolant"


@dataclass(frozen=True, slots=True, kw_only=True)
class WasteCode:
    """One entry of the European list of wastes; `hazardous` is the asterisk."""

    code: str
    meaning: str
    hazardous: bool
    flag: Flag
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WasteStreamRule:
    """What a stream holds, what it is called on paper, and what never goes into it."""

    stream: WasteStream
    label: str
    codes: tuple[WasteCode, ...]
    never_with: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepingRule:
    """One rule about storing or moving used fluid."""

    text: str
    jurisdiction: str
    flag: Flag
    source: str


def _code(code: str, meaning: str, *, hazardous: bool = True) -> WasteCode:
    return WasteCode(
        code=code,
        meaning=meaning,
        hazardous=hazardous,
        flag=Flag.PUBLISHED,
        source=f"{_UK_GUIDE}; {_EU_LIST}",
    )


STREAM_RULES: Final[Mapping[WasteStream, WasteStreamRule]] = MappingProxyType(
    {
        rule.stream: rule
        for rule in (
            WasteStreamRule(
                stream=WasteStream.LUBRICATING_OIL,
                label="Used engine, gear and transmission oil",
                codes=(
                    _code("13 02 05", "mineral, not chlorinated"),
                    _code("13 02 06", "synthetic"),
                    _code("13 02 07", "readily biodegradable"),
                    _code("13 02 08", "other"),
                ),
                never_with="Brake fluid, coolant, solvent, washer fluid, halogenated oil or oily water.",
            ),
            WasteStreamRule(
                stream=WasteStream.HYDRAULIC_OIL,
                label="Used hydraulic oil",
                codes=(
                    _code("13 01 10", "mineral, not chlorinated"),
                    _code("13 01 11", "synthetic"),
                    _code("13 01 12", "readily biodegradable"),
                    _code("13 01 13", "other"),
                ),
                never_with="Brake fluid, coolant, solvent, washer fluid, halogenated oil or oily water.",
            ),
            WasteStreamRule(
                stream=WasteStream.BRAKE_FLUID,
                label="Used brake fluid",
                codes=(_code("16 01 13", "brake fluids"),),
                never_with="Any oil or coolant: brake fluid is not used oil.",
            ),
            WasteStreamRule(
                stream=WasteStream.COOLANT,
                label="Used coolant",
                codes=(
                    _code("16 01 14", "antifreeze with dangerous substances"),
                    _code("16 01 15", "other antifreeze", hazardous=False),
                ),
                never_with="Any oil or brake fluid: glycol is not used oil.",
            ),
        )
    }
)


USERS_OF_THE_EUROPEAN_LIST: Final = frozenset(
    [
        "AT",
        "BE",
        "BG",
        "CY",
        "CZ",
        "DE",
        "DK",
        "EE",
        "ES",
        "FI",
        "FR",
        "GB",
        "GR",
        "HR",
        "HU",
        "IE",
        "IS",
        "IT",
        "LI",
        "LT",
        "LU",
        "LV",
        "MT",
        "NL",
        "NO",
        "PL",
        "PT",
        "RO",
        "SE",
        "SI",
        "SK",
    ]
)
"""ISO 3166 codes of the European Economic Area, from memory, and of the United Kingdom, whose guide quotes the list."""


def codes_in(stream: WasteStream, region: str | None) -> tuple[WasteCode, ...]:
    """Codes to choose from where a yard is; none where another list holds, all where nobody said where it is."""
    country = (region or "").partition("-")[0]
    return STREAM_RULES[stream].codes if not country or country in USERS_OF_THE_EUROPEAN_LIST else ()


KEEPING_RULES: Final = (
    KeepingRule(
        text="Keep used oil in tanks or containers in good condition, without rust, defects or leaks.",
        jurisdiction="United States",
        flag=Flag.PUBLISHED,
        source=f"{_US_RULE}.22",
    ),
    KeepingRule(
        text="Mark every container and fill pipe with the words Used Oil.",
        jurisdiction="United States",
        flag=Flag.PUBLISHED,
        source=f"{_US_RULE}.22",
    ),
    KeepingRule(
        text="After a spill: stop it, contain it, clean it up, repair what leaked.",
        jurisdiction="United States",
        flag=Flag.PUBLISHED,
        source=f"{_US_RULE}.22",
    ),
    KeepingRule(
        text=(
            "Take no more than 55 US gallons a trip to an approved centre; more needs a registered "
            "transporter."
        ),
        jurisdiction="United States",
        flag=Flag.PUBLISHED,
        source=f"{_US_RULE}.24",
    ),
    KeepingRule(
        text="Keep lids shut and containers out of the rain, over a tray that holds a spill.",
        jurisdiction=ANYWHERE,
        flag=Flag.COMMON_PRACTICE,
        source=NO_SOURCE,
    ),
)
