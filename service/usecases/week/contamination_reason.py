"""Say what is in a fluid that should not be: what the sample that raised the alarm shows."""

from collections.abc import Mapping

from sqlmodel import Session

from service.domain.due_reasons import Contaminant, contamination_reason
from service.domain.fluid_kinds import FluidKind
from service.store.repositories import services
from service.usecases.fluids.alarm_limits import limits_in_force
from service.usecases.fluids.weigh_sample import Found, contamination_shown

SEEN_AT_A_SERVICE = Found(contaminant=Contaminant.WATER_OR_COOLANT)
"""No sample shows it: the old fluid looked milky when it was drained."""


def contamination_reasons(
    session: Session, organisation_id: int, kinds: Mapping[int, FluidKind]
) -> dict[int, str]:
    """Sentence for each of some contaminated compartments, whose kinds are given by key."""
    if not kinds:
        return {}
    limits = limits_in_force(session, organisation_id)
    found: dict[int, Found] = {}
    for key, samples in services.samples_of_compartments(session, organisation_id, list(kinds)).items():
        for sample in samples:
            if sample.is_contaminated:
                kind = kinds[key]
                shown = contamination_shown(kind, sample.grade, sample.laboratory, limits[kind])
                found[key] = shown or found.get(key, SEEN_AT_A_SERVICE)
    return {key: _sentence(found.get(key, SEEN_AT_A_SERVICE), kind) for key, kind in kinds.items()}


def _sentence(found: Found, kind: FluidKind) -> str:
    return contamination_reason(found.contaminant, found.found_fraction, found.limit_fraction, kind)
