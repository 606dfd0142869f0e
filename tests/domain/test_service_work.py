"""Steps, cautions, mixing and waste of a job."""

import pytest

from service.domain.cautions import CAUTIONS, DEFERENCE, JobStage, cautions_for
from service.domain.exchange_methods import METHOD_LABELS, ExchangeMethod
from service.domain.fluid_kinds import AUTOMATIC_KINDS, OIL_KINDS, FluidKind
from service.domain.mixing import FAMILY_OF_KIND, FluidFamily, MixingVerdict, mixing
from service.domain.service_work import (
    LABOUR_MINUTES,
    STEP_TEXTS,
    USUAL_PLACE,
    CompartmentPlace,
    ServiceStep,
    bay_minutes,
    labour_minutes,
    open_steps,
    required_steps,
)

GEARBOX = FluidKind.AUTOMATIC_TRANSMISSION_CAR


def test_every_step_says_why_it_matters() -> None:
    assert set(STEP_TEXTS) == set(ServiceStep)
    assert all(text.why.endswith(".") for text in STEP_TEXTS.values())


def test_a_drain_and_fill_with_window_and_counter_closes_every_step() -> None:
    steps = required_steps(
        ExchangeMethod.DRAIN_AND_FILL, GEARBOX, has_level_window=True, has_fluid_counter=True
    )
    assert steps == tuple(ServiceStep)


def test_steps_that_do_not_apply_are_not_asked_for() -> None:
    flush = required_steps(ExchangeMethod.FLUSH, GEARBOX, has_level_window=False, has_fluid_counter=False)
    assert ServiceStep.FILL_PLUG_OPENED_FIRST not in flush
    assert ServiceStep.LEVEL_IN_WINDOW not in flush
    assert ServiceStep.COUNTER_RESET not in flush
    top_up = required_steps(ExchangeMethod.TOP_UP, GEARBOX, has_level_window=True, has_fluid_counter=True)
    assert ServiceStep.COUNTER_RESET not in top_up
    assert ServiceStep.LEVEL_IN_WINDOW in top_up
    assert ServiceStep.DRAINED_MEASURED not in top_up


@pytest.mark.parametrize("kind", FluidKind)
def test_only_a_unit_that_holds_oil_is_opened_at_its_fill_plug_first(kind: FluidKind) -> None:
    """A cooling circuit that is opened while it is warm scalds; common practice, no source."""
    steps = required_steps(
        ExchangeMethod.DRAIN_AND_FILL, kind, has_level_window=False, has_fluid_counter=False
    )
    assert (ServiceStep.FILL_PLUG_OPENED_FIRST in steps) == (kind in OIL_KINDS)
    assert {ServiceStep.SEALS_RENEWED, ServiceStep.TORQUE_BY_MAKER} <= set(steps)


def test_open_steps_come_with_their_reason() -> None:
    required = required_steps(ExchangeMethod.FLUSH, GEARBOX, has_level_window=False, has_fluid_counter=True)
    closed = set(required) - {ServiceStep.COUNTER_RESET}
    assert open_steps(required, closed) == (
        (ServiceStep.COUNTER_RESET, STEP_TEXTS[ServiceStep.COUNTER_RESET].why),
    )
    assert open_steps(required, set(required)) == ()


def test_labour_grows_with_the_rounds() -> None:
    assert set(LABOUR_MINUTES) == set(ExchangeMethod) == set(METHOD_LABELS)
    minutes = [labour_minutes(ExchangeMethod.DRAIN_AND_FILL, rounds) for rounds in (1, 2, 3)]
    assert minutes == [45, 70, 95]


def test_a_visit_is_set_up_once_whatever_is_done_in_it() -> None:
    """20 minutes a visit (common practice, no source): two visits with 95 and 45 minutes of work take 180."""
    assert bay_minutes(95 + 45, 2) == 180


def test_every_kind_has_a_usual_place() -> None:
    assert set(USUAL_PLACE) == set(FluidKind)
    assert USUAL_PLACE[FluidKind.BRAKE_FLUID] is CompartmentPlace.BRAKE_CIRCUIT


@pytest.mark.parametrize("kind", list(FluidKind))
@pytest.mark.parametrize("method", list(ExchangeMethod))
def test_cautions_come_in_the_order_of_work_and_begin_with_the_vehicle_held(
    kind: FluidKind, method: ExchangeMethod
) -> None:
    cautions = cautions_for(kind, method)
    stages = [list(JobStage).index(caution.stage) for caution in cautions]
    assert stages == sorted(stages)
    assert "never under a jack alone" in cautions[0].text
    assert any("never mixed" in caution.text for caution in cautions)
    assert all(caution.source for caution in cautions)


# Cautions for transmissions as the UK HSE pages, an army manual and the trade give them.
@pytest.mark.parametrize("kind", sorted(AUTOMATIC_KINDS))
@pytest.mark.parametrize(
    "words",
    [
        "before the drain plug",
        "100 °C",
        "nobody in front, behind or under",
        "inside the temperature window",
        "maker's figure only",
        "never one that held antifreeze",
        "skin cancer",
        "high voltage",
        "tow or push",
        "stop and refer",
    ],
)
def test_what_a_transmission_job_sheet_must_say(kind: FluidKind, words: str) -> None:
    assert any(words in caution.text for caution in cautions_for(kind, ExchangeMethod.DRAIN_AND_FILL))


def test_cautions_stay_with_the_fluids_they_belong_to() -> None:
    brake = " ".join(caution.text for caution in cautions_for(FluidKind.BRAKE_FLUID, ExchangeMethod.FLUSH))
    assert "bleed in the maker's order" in brake
    assert "selector" not in brake
    hydraulic = cautions_for(FluidKind.HYDRAULIC, ExchangeMethod.DRAIN_AND_FILL)
    assert any("jet under the skin" in caution.text for caution in hydraulic)
    assert all("jet under" not in c.text for c in cautions_for(FluidKind.AXLE, ExchangeMethod.DRAIN_AND_FILL))
    assert "maker's procedure comes first" in DEFERENCE
    assert len({caution.text for caution in CAUTIONS}) == len(CAUTIONS)


def test_silicone_never_meets_glycol_brake_fluid() -> None:
    # Published second hand: DOT 5 never with DOT 3, 4 or 5.1.
    verdict = mixing(FluidFamily.BRAKE_SILICONE, FluidFamily.BRAKE_GLYCOL)
    assert verdict.verdict is MixingVerdict.NEVER
    assert "DOT 5" in verdict.reason
    assert not verdict.is_allowed


def test_brake_fluid_coolant_and_wet_clutches_mix_with_nothing_else() -> None:
    for lonely in (
        FluidFamily.BRAKE_GLYCOL,
        FluidFamily.COOLANT_OAT,
        FluidFamily.COOLANT_TRADITIONAL,
        FluidFamily.AUTOMATIC_TRANSMISSION,
        FluidFamily.CVT,
        FluidFamily.DUAL_CLUTCH,
    ):
        for other in FluidFamily:
            expected = MixingVerdict.SAME_FAMILY if other is lonely else MixingVerdict.NEVER
            assert mixing(lonely, other).verdict is expected


def test_mixing_does_not_depend_on_the_order() -> None:
    for one in FluidFamily:
        for other in FluidFamily:
            assert mixing(one, other) == mixing(other, one)
    assert mixing(FluidFamily.ENGINE_OIL, FluidFamily.GEAR_OIL).verdict is MixingVerdict.WITH_APPROVAL
    assert set(FAMILY_OF_KIND) == set(FluidKind)
    assert all(FAMILY_OF_KIND[kind] not in {FluidFamily.BRAKE_GLYCOL} for kind in OIL_KINDS)
