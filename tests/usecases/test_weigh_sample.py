"""What a sample shows of water and coolant, by the limits of the kind: one rule for the alarm and for what is due."""

import pytest

from service.domain.due_reasons import Contaminant
from service.domain.fluid_kinds import COOLANT_KINDS, FluidKind
from service.domain.laboratory import LaboratoryProperty
from service.domain.limits import AlarmLevel, limits_for
from service.usecases.fluids.weigh_sample import contamination_shown


@pytest.mark.parametrize("kind", FluidKind)
@pytest.mark.parametrize("share_of_limit", [0.5, 0.999, 1.0, 1.001, 2.0])
def test_water_is_contamination_where_its_limit_calls_it_critical(kind, share_of_limit):
    limits = limits_for(kind)
    water = [one for one in limits if one.laboratory_property is LaboratoryProperty.WATER_FRACTION]
    measured = share_of_limit * min((one.critical for one in water), default=0.5)
    found = contamination_shown(kind, None, {"water_fraction": measured}, limits)
    is_critical = any(one.level(measured) is AlarmLevel.CRITICAL for one in water)
    assert (found is not None) == is_critical == (bool(water) and share_of_limit > 1.0)


def test_coolant_belongs_into_a_coolant_and_nowhere_else():
    """Never tolerable in an automatic transmission (its operator's manual); elsewhere common practice, no source."""
    for kind in FluidKind:
        found = contamination_shown(kind, None, {"coolant_fraction": 0.001}, limits_for(kind))
        assert (found is None) == (kind in COOLANT_KINDS)
        assert found is None or found.contaminant is Contaminant.COOLANT
