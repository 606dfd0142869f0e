"""40 CFR 279 and the UK guide to vehicle and oily wastes (published)."""

import pytest

from service.domain.fluid_defaults import defaults_for
from service.domain.fluid_kinds import OIL_KINDS, FluidKind
from service.domain.used_fluid import STREAM_RULES, WasteStream
from service.domain.vehicle_classes import VehicleClass


@pytest.mark.parametrize(
    ("stream", "codes"),
    [
        # 13 02 04, chlorinated, is of the same group and is never mixed with the others.
        (WasteStream.LUBRICATING_OIL, {"13 02 05", "13 02 06", "13 02 07", "13 02 08"}),
        (WasteStream.HYDRAULIC_OIL, {"13 01 10", "13 01 11", "13 01 12", "13 01 13"}),
        (WasteStream.BRAKE_FLUID, {"16 01 13"}),
        (WasteStream.COOLANT, {"16 01 14", "16 01 15"}),
    ],
)
def test_codes_of_each_stream(stream: WasteStream, codes: set[str]) -> None:
    assert {code.code for code in STREAM_RULES[stream].codes} == codes


def test_only_harmless_antifreeze_is_not_hazardous() -> None:
    harmless = {code.code for rule in STREAM_RULES.values() for code in rule.codes if not code.hazardous}
    assert harmless == {"16 01 15"}


def test_brake_fluid_and_coolant_are_not_used_oil() -> None:
    for kind in FluidKind:
        stream = defaults_for(kind, VehicleClass.CAR).exchange.waste_stream
        is_oil_stream = stream in {WasteStream.LUBRICATING_OIL, WasteStream.HYDRAULIC_OIL}
        assert is_oil_stream == (kind in OIL_KINDS)
