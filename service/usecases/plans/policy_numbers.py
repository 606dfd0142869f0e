"""The numbers that a policy rests on: typed in, of the organisation, or assumed, each with flag and source."""

from collections.abc import Mapping
from dataclasses import dataclass

from sqlmodel import Session

from service.domain import policy_defaults
from service.domain.duties import DUTY_DEFAULTS, Duty
from service.domain.exchange_methods import ExchangeMethod
from service.domain.fluid_defaults import FluidDefaults, defaults_for
from service.domain.fluid_kinds import FluidKind
from service.domain.service_work import FIRST_ROUND_EXTRA_MINUTES, LABOUR_MINUTES, VISIT_SETUP_MINUTES
from service.domain.sourced import Flag, Sourced
from service.domain.units_of_distance import DistanceUnit
from service.domain.vehicle_classes import CLASS_DEFAULTS, VehicleClass
from service.store.repositories import ageing_fits, fleet
from service.store.tables.ageing_fits import AgeingFit
from service.usecases.access.caller import Caller
from service.usecases.plans.own_prices import own_prices


@dataclass(frozen=True, slots=True, kw_only=True)
class PolicyClass:
    """A class of vehicles that a policy is for."""

    vehicle_class: VehicleClass
    kind: FluidKind
    duty: Duty


@dataclass(frozen=True, slots=True, kw_only=True)
class PolicyNumbers:
    """Every number of a policy by its name; `given` are those that were typed in."""

    of: PolicyClass
    given: Mapping[str, float]
    assumed: Mapping[str, Sourced]
    currency: str
    distance_unit: DistanceUnit

    def __getitem__(self, name: str) -> float:
        """Give a number."""
        return self.given[name] if name in self.given else self.assumed[name].value


def policy_numbers(
    session: Session, caller: Caller, of: PolicyClass, given: Mapping[str, float]
) -> PolicyNumbers:
    """Put typed-in numbers over the organisation's own, and those over what is assumed of the kind and class."""
    organisation = fleet.get_organisation(session, caller.organisation_id)
    defaults = defaults_for(of.kind, of.vehicle_class)
    fits = ageing_fits.fits_in_force(session, caller.organisation_id)
    fit = fits.get((str(of.kind), str(of.duty), str(of.vehicle_class)))
    assumed = {
        **_litres(defaults, given),
        **_ageing(defaults, of.duty, fit),
        **_prices_of_rounds(organisation.planning),
        **_work(),
        "km_per_day": CLASS_DEFAULTS[of.vehicle_class].km_per_day,
        "compliance_probability": policy_defaults.COMPLIANCE_PROBABILITY,
        "failure_minor": policy_defaults.FAILURE_MINOR,
        "hazard_shape": policy_defaults.HAZARD_SHAPE,
        "hazard_scale_km": policy_defaults.HAZARD_SCALE_KM,
    }
    return PolicyNumbers(
        of=of,
        given=given,
        assumed=assumed,
        currency=organisation.currency,
        distance_unit=DistanceUnit(organisation.distance_unit),
    )


def _litres(defaults: FluidDefaults, given: Mapping[str, float]) -> dict[str, Sourced]:
    total, share = defaults.total_volume_litres, defaults.exchange.drainable_fraction
    whole = given.get("total_litres", total.value)
    source = f"{share.value:.0%} of the whole: {share.source}"
    return {
        "total_litres": total,
        "drainable_litres": Sourced(value=whole * share.value, flag=share.flag, source=source),
    }


def _ageing(defaults: FluidDefaults, duty: Duty, fit: AgeingFit | None) -> dict[str, Sourced]:
    ageing = defaults.ageing
    multiplier = 1.0 if fit is None else fit.multiplier_after
    harder = DUTY_DEFAULTS[duty].rate_multiplier.value
    by_km = 0.0 if ageing.life_km is None else harder / ageing.life_km.value
    hours_a_day = CLASS_DEFAULTS[defaults.vehicle_class].engine_hours_per_day.value
    by_day = 1.0 / ageing.life_days.value
    if ageing.life_hours is not None:
        by_day += hours_a_day / ageing.life_hours.value
    flag, source = ageing.life_days.flag, ageing.life_days.source
    if fit is not None:
        flag, source = Flag.OWN_DATA, f"Fitted from {fit.n_samples} samples of the organisation's own"
    reserve = ageing.planning_reserve_fraction
    return {
        "life_used_per_km": Sourced(value=by_km * multiplier, flag=flag, source=source),
        "life_used_per_day": Sourced(value=by_day * multiplier, flag=flag, source=source),
        "life_coefficient_of_variation": ageing.life_coefficient_of_variation,
        "highest_life_used": Sourced(value=1.0 - reserve.value, flag=reserve.flag, source=reserve.source),
    }


def _prices_of_rounds(planning: Mapping[str, float]) -> dict[str, Sourced]:
    prices = own_prices(planning)
    del prices["line_equipment_minor"]
    return prices


def _work() -> dict[str, Sourced]:
    visit = VISIT_SETUP_MINUTES.value + FIRST_ROUND_EXTRA_MINUTES
    return {
        "visit_minutes": Sourced(
            value=visit, flag=VISIT_SETUP_MINUTES.flag, source=VISIT_SETUP_MINUTES.source
        ),
        "round_minutes": LABOUR_MINUTES[ExchangeMethod.DRAIN_AND_FILL].further_round,
    }
