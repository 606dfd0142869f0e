"""Fit ageing rates anew from the fleet's own samples: shown first, accepted by somebody, reversible."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain.fluid_kinds import FluidKind
from service.domain.limits import AlarmLimit
from service.domain.roles import Scope
from service.engine.evidence.learning import AgeingSamples, RefittedRates, refit_rates
from service.errors import InvalidInputError, StaleVersionError, StateTransitionError
from service.store.repositories import ageing_fits, fleet, fluids, services
from service.store.repositories.stale_vehicles import mark_stale
from service.store.tables.ageing_fits import AgeingFit
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.fluids.alarm_limits import limits_in_force
from service.usecases.fluids.follow_fluid import FluidHistory, Step, follow
from service.usecases.fluids.update_states import load_histories
from service.usecases.fluids.weigh_sample import LABORATORY_SD, laboratory_life_used

Group = tuple[str, str, str]
"""Fluid kind, duty, class of vehicles."""

SMALLEST_GROWTH: Final = 0.05
"""A sample so soon after the state was known says nothing about the rate. Common practice, no source."""

SAME_MULTIPLIER: Final = 5e-4
"""The proposal is told to three digits; what is accepted must agree with them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Growth:
    """What one laboratory sample says about growth since the state was known."""

    expected: float
    observed: float
    observed_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """How fast one group seems to age, by the default rate."""

    group: Group
    n_samples: int
    multiplier_before: float
    multiplier_observed: float
    multiplier_proposed: float
    log_sd: float
    own_weight: float


def propose_ageing(session: Session, caller: Caller) -> list[Proposal]:
    """Fit every group that has laboratory samples; nothing is stored."""
    caller.require(Scope.READ)
    found = _growths(session, caller.organisation_id)
    in_force = ageing_fits.fits_in_force(session, caller.organisation_id)
    proposals: list[Proposal] = []
    for kind in sorted({group[0] for group in found}):
        groups = sorted(group for group in found if group[0] == kind)
        before = [in_force[group].multiplier_after if group in in_force else 1.0 for group in groups]
        fitted = refit_rates(_samples(groups, found), np.array(before))
        proposals += [_proposal(group, fitted, place) for place, group in enumerate(groups)]
    return proposals


def accept_ageing(
    session: Session, caller: Caller, now: datetime, group: Group, multiplier: float
) -> AgeingFit:
    """Put a proposal in force, as it was shown.

    Raises
    ------
    StaleVersionError
        If the samples say something else by now.
    """
    caller.require(Scope.PLANNING)
    proposal = next((one for one in propose_ageing(session, caller) if one.group == group), None)
    if proposal is None:
        raise InvalidInputError.at("/kind", "There is no proposal for this kind, duty and class.")
    if abs(proposal.multiplier_proposed - multiplier) > SAME_MULTIPLIER:
        raise StaleVersionError("The proposal has changed since you read it; read it again.")
    kind, duty, vehicle_class = group
    fit = AgeingFit(
        organisation_id=caller.organisation_id,
        kind=kind,
        duty=duty,
        vehicle_class=vehicle_class,
        multiplier_before=proposal.multiplier_before,
        multiplier_after=proposal.multiplier_proposed,
        multiplier_log_sd=proposal.log_sd,
        n_samples=proposal.n_samples,
        accepted_at=now,
        accepted_by=caller.actor[:80],
    )
    session.add(fit)
    session.flush()
    _follow_on(session, caller, now, fit)
    detail = {"group": list(group), "before": fit.multiplier_before, "after": fit.multiplier_after}
    record_change(session, caller, now, "accepted", "ageing fit", fit.id, detail)
    return fit


def revert_ageing(session: Session, caller: Caller, now: datetime, reference: str) -> None:
    """Take a fit back: what was in force before it is so again.

    Raises
    ------
    StateTransitionError
        If it is reverted already.
    """
    caller.require(Scope.PLANNING)
    fit = ageing_fits.get_fit(session, caller.organisation_id, reference)
    if fit.reverted_at is not None:
        raise StateTransitionError("This fit is reverted already.")
    fit.reverted_at = now
    session.add(fit)
    session.flush()
    _follow_on(session, caller, now, fit)
    record_change(session, caller, now, "reverted", "ageing fit", fit.id)


def _follow_on(session: Session, caller: Caller, now: datetime, fit: AgeingFit) -> None:
    """Let the states of the group be followed anew before they are next shown."""
    ids = fleet.vehicle_ids_of_group(
        session, caller.organisation_id, kind=fit.kind, duty=fit.duty, vehicle_class=fit.vehicle_class
    )
    mark_stale(session, caller.organisation_id, ids, now)


def _growths(session: Session, organisation_id: int) -> dict[Group, list[Growth]]:
    sampled = services.vehicles_with_laboratory_samples(session, organisation_id)
    vehicles = {vehicle.id: vehicle for vehicle in fleet.list_vehicles(session, organisation_id)}
    ids = sorted(sampled & {key for key in vehicles if key is not None})
    new_values = {fluid.id: fluid.new_values for fluid in fluids.list_fluids(session, organisation_id)}
    limits = limits_in_force(session, organisation_id)
    found: dict[Group, list[Growth]] = {}
    for history in load_histories(session, organisation_id, ids):
        vehicle = vehicles[history.compartment.vehicle_id]
        group = (history.compartment.kind, vehicle.duty, vehicle.vehicle_class)
        growths = growths_of(
            history,
            new_values.get(history.compartment.fluid_id, {}),
            limits[FluidKind(history.compartment.kind)],
        )
        if growths:
            found.setdefault(group, []).extend(growths)
    return found


def growths_of(
    history: FluidHistory, new_values: Mapping[str, float], limits: Sequence[AlarmLimit]
) -> list[Growth]:
    """Compare each laboratory sample with the last state that was known for certain or from a laboratory.

    Growth mixes out of the charge like everything else, so an exchange in between shrinks both what was there and what
    has grown since; what somebody merely saw in between is left out.
    """
    measured: dict[int | None, tuple[float, str] | None] = {
        sample.id: laboratory_life_used(limits, sample.laboratory, {**new_values, **sample.new_values})
        for sample in history.samples
        if sample.has_values
    }
    found: list[Growth] = []
    since = _Since()
    steps = follow(history)
    for earlier, step in pairwise([steps[0], *steps]):
        since.grown += float(step.before.fluid.life_used[0] - earlier.after.fluid.life_used[0])
        life_used = measured.get(step.source_id) if step.kind == "sample" else None
        if life_used is not None:
            found += since.compare(life_used[0])
            since = _Since(life_used[0], LABORATORY_SD**2)
        elif step.kind != "sample":
            since.exchange(step)
    return found


@dataclass(slots=True)
class _Since:
    """What is left of the last known state, its variance, and what has grown since by the rates in use."""

    known: float | None = None
    variance: float = 0.0
    grown: float = 0.0

    def exchange(self, step: Step) -> None:
        """Let a service mix both out; without a known state, take the one it makes known."""
        if self.known is not None:
            kept = 1.0 - step.figures.get("fresh_share", 0.0)
            self.known, self.variance, self.grown = (
                self.known * kept,
                self.variance * kept**2,
                self.grown * kept,
            )
        elif step.after.is_history_known:
            fluid = step.after.fluid
            self.known, self.variance = float(fluid.life_used[0]), float(fluid.life_used_variance[0])
            self.grown = 0.0

    def compare(self, life_used: float) -> list[Growth]:
        """Growth that a sample shows, if enough was expected for it to tell anything."""
        if self.known is None or self.grown < SMALLEST_GROWTH:
            return []
        spread = (LABORATORY_SD**2 + self.variance) ** 0.5
        return [Growth(expected=self.grown, observed=life_used - self.known, observed_sd=spread)]


def _samples(groups: Sequence[Group], found: Mapping[Group, Sequence[Growth]]) -> AgeingSamples:
    rows = [(place, growth) for place, group in enumerate(groups) for growth in found[group]]
    return AgeingSamples(
        expected_growth=np.array([growth.expected for _, growth in rows]),
        observed_growth=np.array([growth.observed for _, growth in rows]),
        observed_growth_sd=np.array([growth.observed_sd for _, growth in rows]),
        group_index=np.array([place for place, _ in rows], dtype=np.int64),
    )


def _proposal(group: Group, fitted: RefittedRates, place: int) -> Proposal:
    return Proposal(
        group=group,
        n_samples=int(fitted.n_samples[place]),
        multiplier_before=float(fitted.multiplier_before[place]),
        multiplier_observed=float(fitted.multiplier_observed[place]),
        multiplier_proposed=float(fitted.multiplier_proposed[place]),
        log_sd=float(fitted.log_sd[place]),
        own_weight=float(fitted.own_weight[place]),
    )
