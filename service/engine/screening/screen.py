"""Screening of whole fleets: which readings to believe, reading by reading and without hindsight."""

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from service.engine.screening.chains import Chains, explain
from service.engine.screening.clean import find_clean_vehicles
from service.engine.screening.outcomes import Outcome, Reason, Verdict
from service.engine.screening.plausibility import HIGHEST_ODOMETER_KM
from service.engine.screening.reasons import Context, find_reasons
from service.errors import InvalidInputError

Floats: TypeAlias = NDArray[np.float64]
Integers: TypeAlias = NDArray[np.int64]
Codes: TypeAlias = NDArray[np.int8]
Booleans: TypeAlias = NDArray[np.bool_]

BLOCK_VEHICLES: Final = 4096
CLOCK_SKEW_DAYS: Final = 1.0 / 24.0
"""A sender's clock may be an hour fast."""
CONVICTED_AFTER: Final = 3
"""Believed readings after one that is not, from which on it is taken to be wrong for good."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Screening:
    """What is decided about each of r readings, each shape (r,).

    Attributes
    ----------
    outcome_on_arrival
        `Outcome` as it was decided from the readings up to then.
    outcome
        `Outcome` after the last reading.
    reason
        `Reason` of the outcome, or what is worth knowing about an accepted reading.
    series_factor, series_offset_km
        The reading continues its vehicle's first instrument at ``factor * reading + offset``.
    odometer_km
        That continued odometer; for readings that are not accepted, the reading as keyed. [km]
    suggested_km
        What a reading that is not accepted probably should have been, NaN where nothing suggests itself. [km]
    """

    outcome_on_arrival: Codes
    outcome: Codes
    reason: Codes
    series_factor: Floats
    series_offset_km: Floats
    odometer_km: Floats
    suggested_km: Floats

    @property
    def is_accepted(self) -> Booleans:
        """Mark the readings that projections rest on."""
        return np.asarray(self.outcome == Outcome.ACCEPTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Entries:
    """Readings of n vehicles as they came, one vehicle after the other, in order of time within one.

    Attributes
    ----------
    time_days, keyed_km : shape (r,)
        Time and number, converted to km by the vehicle's declared unit.
    offsets : shape (n + 1,)
        Where each vehicle's readings begin.
    received_days : shape (r,)
        When each reading was received; those taken later are rejected.
    verdict : shape (r,), int8
        `Verdict` of people on single readings.
    prior_rate : shape (n,)
        Rate that each vehicle's class suggests. [km/d]
    fleet_km : shape (m,), sorted
        Odometers of the fleet, to recognise another vehicle's number; may be empty.
    """

    time_days: Floats
    keyed_km: Floats
    offsets: Integers
    received_days: Floats
    verdict: Codes
    prior_rate: Floats
    fleet_km: Floats

    @classmethod
    def plain(cls, time_days: Floats, keyed_km: Floats, offsets: Integers, prior_rate: Floats) -> "Entries":
        """Entries of which nothing but time and number is known."""
        n_readings = time_days.size
        return cls(
            time_days=time_days,
            keyed_km=keyed_km,
            offsets=offsets,
            received_days=np.full(n_readings, np.inf),
            verdict=np.zeros(n_readings, dtype=np.int8),
            prior_rate=prior_rate,
            fleet_km=np.zeros(0),
        )


def screen_readings(entries: Entries, block_vehicles: int = BLOCK_VEHICLES) -> Screening:
    """Decide about every reading of every vehicle.

    Parameters
    ----------
    entries
        Whole histories of n vehicles.
    block_vehicles
        Vehicles worked on at once; the result does not depend on it.

    Returns
    -------
    Screening
        Two decisions a reading: the one on arrival, from the readings up to it, and the one after the last.

    Raises
    ------
    InvalidInputError
        If the shapes disagree or a vehicle's times decrease.

    Notes
    -----
    A vehicle's decisions depend on its own entries alone (but for the suggestion that a number belongs to
    another vehicle), so only the vehicles with new entries need be screened. Most histories are plainly clean
    and cost a few operations a reading; the others are explained by chains, see `chains`. O(r).
    """
    _check(entries)
    outcome, reason, usable = _sort_out(entries)
    offsets = np.concatenate([[0], np.cumsum(usable)])[entries.offsets]
    kept: Integers | slice = slice(None) if bool(np.all(usable)) else np.flatnonzero(usable)
    time, keyed = entries.time_days[kept], entries.keyed_km[kept]
    n = time.size
    arrival = np.zeros(n, dtype=np.int8)
    final = np.zeros(n, dtype=np.int8)
    factor, shift, renewed = np.ones(n), np.zeros(n), np.zeros(n, dtype=np.bool_)
    clean = find_clean_vehicles(time, keyed, offsets, entries.prior_rate)
    clean[np.searchsorted(offsets, np.flatnonzero(entries.verdict[kept] == Verdict.RENEWED), "right") - 1] = (
        False
    )
    suspects = np.flatnonzero(~clean)
    suspects = suspects[np.argsort(-np.diff(offsets)[suspects], kind="stable")]
    for begin in range(0, suspects.size, block_vehicles):
        rows = suspects[begin : begin + block_vehicles]
        at, inside = _time_major(offsets, rows)
        verdict = entries.verdict[kept][at]
        chains = explain(time[at], keyed[at], verdict, np.diff(offsets)[rows], entries.prior_rate[rows])
        flat = at[inside]
        arrival[flat] = np.where(chains.believed_on_arrival, Outcome.ACCEPTED, Outcome.HELD)[inside]
        final[flat] = _final(chains)[inside]
        factor[flat], shift[flat] = chains.factor[inside], chains.offset_km[inside]
        renewed[flat] = chains.renewed[inside]
    accepted = final == Outcome.ACCEPTED
    odometer = np.where(accepted, factor * keyed + shift, keyed)
    context = Context(
        time_days=time, keyed_km=keyed, odometer_km=odometer, offsets=offsets, accepted=accepted,
        factor=factor, renewed=renewed, prior_rate=entries.prior_rate, fleet_km=entries.fleet_km,
    )  # fmt: skip
    found, suggested = find_reasons(context)
    outcome_on_arrival = outcome.copy()
    outcome_on_arrival[kept], outcome[kept], reason[kept] = arrival, final, found
    return Screening(
        outcome_on_arrival=outcome_on_arrival,
        outcome=outcome,
        reason=reason,
        series_factor=_spread(factor, kept, usable.size, 1.0),
        series_offset_km=_spread(shift, kept, usable.size, 0.0),
        odometer_km=_spread(odometer, kept, usable.size, entries.keyed_km),
        suggested_km=_spread(suggested, kept, usable.size, np.nan),
    )


def _check(entries: Entries) -> None:
    offsets = entries.offsets
    if offsets[0] != 0 or offsets[-1] != entries.time_days.size or bool(np.any(np.diff(offsets) < 0)):
        raise InvalidInputError.at(
            "/offsets", "must start at 0, never decrease and end at the number of readings"
        )
    if (
        not entries.time_days.shape
        == entries.keyed_km.shape
        == entries.verdict.shape
        == entries.received_days.shape
    ):
        raise InvalidInputError.at("/keyed_km", "times, numbers, verdicts and receipts must have one shape")
    if entries.prior_rate.shape != (offsets.size - 1,):
        raise InvalidInputError.at("/prior_rate", "must have one entry a vehicle")
    backwards = np.diff(entries.time_days) < 0.0
    inner = offsets[1:-1]
    backwards[inner[(inner > 0) & (inner < entries.time_days.size)] - 1] = False
    if bool(np.any(backwards)) or bool(np.any(np.isnan(entries.time_days))):
        raise InvalidInputError.at("/time_days", "must not decrease within a vehicle")


def _sort_out(entries: Entries) -> tuple[Codes, Codes, Booleans]:
    """Decide about the readings whose fate does not depend on any other: the rest is usable."""
    keyed, time = entries.keyed_km, entries.time_days
    n = keyed.size
    outcome, reason = np.zeros(n, dtype=np.int8), np.zeros(n, dtype=np.int8)
    impossible = ~(np.isfinite(keyed) & (keyed >= 0.0) & (keyed <= HIGHEST_ODOMETER_KM))
    future = time > entries.received_days + CLOCK_SKEW_DAYS
    discarded = entries.verdict == Verdict.DISCARDED
    usable = ~(impossible | future | discarded)
    repeated = usable & _repeats(entries, usable)
    for mask, code, why in (
        (impossible, Outcome.REJECTED, Reason.NOT_A_READING),
        (future, Outcome.REJECTED, Reason.FUTURE),
        (discarded, Outcome.REJECTED, Reason.DISCARDED),
        (repeated, Outcome.DUPLICATE, Reason.DUPLICATE),
    ):
        outcome[mask], reason[mask] = code, why
    return outcome, reason, usable & ~repeated


def _repeats(entries: Entries, usable: Booleans) -> Booleans:
    """Mark readings that equal an earlier one of their vehicle in time and number."""
    repeated = np.zeros(usable.size, dtype=np.bool_)
    if usable.size < 2 or not bool(np.any(entries.time_days[1:] == entries.time_days[:-1])):
        return repeated
    vehicle = np.repeat(np.arange(entries.offsets.size - 1), np.diff(entries.offsets))
    order = np.lexsort((np.arange(usable.size), entries.keyed_km, entries.time_days, ~usable, vehicle))
    same = np.ones(usable.size - 1, dtype=np.bool_)
    for column in (vehicle, ~usable, entries.time_days, entries.keyed_km):
        same &= column[order][1:] == column[order][:-1]
    repeated[order[1:]] = same
    return repeated


def _time_major(offsets: Integers, rows: Integers) -> tuple[Integers, Booleans]:
    """Positions of the k-th readings of some vehicles, shape (k, n), and which of them exist."""
    counts = np.diff(offsets)[rows]
    steps = np.arange(int(counts[0]))[:, None]
    inside = steps < counts[None, :]
    return np.where(inside, offsets[:-1][rows][None, :] + steps, 0), inside


def _final(chains: Chains) -> Codes:
    """Outcome of every reading after the last one."""
    later = np.cumsum(chains.believed[::-1], axis=0)[::-1]
    off = np.where(later >= CONVICTED_AFTER, Outcome.CONVICTED, Outcome.HELD)
    return np.where(chains.believed, Outcome.ACCEPTED, off).astype(np.int8)


def _spread(values: Floats, at: Integers | slice, size: int, otherwise: Floats | float) -> Floats:
    """Put values of the usable readings among all readings."""
    spread = np.full(size, otherwise, dtype=np.float64)
    spread[at] = values
    return spread
