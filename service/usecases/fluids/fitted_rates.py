"""Ageing parameters of compartments as an organisation's accepted fits change them."""

from collections.abc import Mapping, Sequence

from sqlmodel import Session

from service.domain.fluid_defaults import defaults_for
from service.domain.fluid_kinds import FluidKind
from service.domain.vehicle_classes import VehicleClass
from service.store.repositories import ageing_fits


def with_fits(
    session: Session,
    organisation_id: int,
    kinds: Sequence[str],
    vehicle_classes: Sequence[str],
    duties: Sequence[str],
    own: Sequence[Mapping[str, float]],
) -> Sequence[Mapping[str, float]]:
    """Put fitted lives under what is set of a compartment itself; the rest stays with the kind's defaults."""
    fits = ageing_fits.fits_in_force(session, organisation_id)
    if not fits:
        return own
    lives = {
        (kind, duty, vehicle_class): _fitted_lives(kind, vehicle_class, fit.multiplier_after)
        for (kind, duty, vehicle_class), fit in fits.items()
    }
    return [
        {**lives.get((kind, duty, vehicle_class), {}), **named}
        for kind, vehicle_class, duty, named in zip(kinds, vehicle_classes, duties, own, strict=True)
    ]


def _fitted_lives(kind: str, vehicle_class: str, multiplier: float) -> dict[str, float]:
    ageing = defaults_for(FluidKind(kind), VehicleClass(vehicle_class)).ageing
    named = {"life_km": ageing.life_km, "life_days": ageing.life_days, "life_hours": ageing.life_hours}
    return {name: life.value / multiplier for name, life in named.items() if life is not None}
