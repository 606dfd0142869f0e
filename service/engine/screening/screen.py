"""Screening of whole fleets: which readings to believe, reading by reading and without hindsight."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Booleans, Codes, Floats, Integers
from service.engine.parts import for_every_part, vehicle_blocks
from service.engine.screening.chains import Chains, explain
from service.engine.screening.clean import find_clean_vehicles
from service.engine.screening.outcomes import Outcome, Reason, Verdict
from service.engine.screening.plausibility import HIGHEST_ODOMETER_KM
from service.engine.screening.reasons import Context, find_reasons
from service.errors import InvalidInputError

BLOCK_VEHICLES: Final = 4096
PART_READINGS: Final = 800_000
"""Readings of one part of a fleet, so that what is computed on the way is small and its memory used again."""
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

    def of_vehicles(self, begin: int, end: int) -> "Entries":
        """Cut out vehicles that follow each other, as views."""
        offsets = self.offsets[begin : end + 1]
        inside = slice(int(offsets[0]), int(offsets[-1]))
        return Entries(
            time_days=self.time_days[inside],
            keyed_km=self.keyed_km[inside],
            offsets=offsets - offsets[0],
            received_days=self.received_days[inside],
            verdict=self.verdict[inside],
            prior_rate=self.prior_rate[begin:end],
            fleet_km=self.fleet_km,
        )

    @classmethod
    def plain(cls, time_days: Floats, keyed_km: Floats, offsets: Integers, prior_rate: Floats) -> "Entries":
        """Entries of which nothing but time and number is known."""
        n_readings = time_days.size
        return cls(
            time_days=time_days,
            keyed_km=keyed_km,
            offsets=offsets,
            received_days=np.broadcast_to(np.float64(np.inf), n_readings),
            verdict=np.broadcast_to(np.int8(Verdict.NONE), n_readings),
            prior_rate=prior_rate,
            fleet_km=np.zeros(0),
        )


def screen_readings(
    entries: Entries, block_vehicles: int = BLOCK_VEHICLES, part_readings: int = PART_READINGS
) -> Screening:
    """Decide about every reading of every vehicle.

    Parameters
    ----------
    entries
        Whole histories of n vehicles.
    block_vehicles
        Doubtful vehicles worked on at once; the result does not depend on it.
    part_readings
        Readings of the parts into which the fleet is cut, which threads may share; likewise.

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
    _check_shapes(entries)
    size = entries.keyed_km.size
    screening = Screening(
        outcome_on_arrival=np.empty(size, dtype=np.int8),
        outcome=np.empty(size, dtype=np.int8),
        reason=np.empty(size, dtype=np.int8),
        series_factor=np.empty(size),
        series_offset_km=np.empty(size),
        odometer_km=np.empty(size),
        suggested_km=np.empty(size),
    )

    def screen_part(part: tuple[int, int]) -> None:
        own_entries = entries.of_vehicles(*part)
        _check_times(own_entries)
        inside = slice(*entries.offsets[list(part)].tolist())
        own = Screening(**{name: getattr(screening, name)[inside] for name in Screening.__slots__})
        _screen_part(own_entries, block_vehicles, own)

    for_every_part(screen_part, vehicle_blocks(entries.offsets, part_readings))
    return screening


def _screen_part(entries: Entries, block_vehicles: int, screening: Screening) -> None:
    """Decide about a part of the fleet, into arrays that hold nothing yet."""
    outcome, reason = screening.outcome, screening.reason
    usable = _sort_out(entries, outcome, reason)
    screening.outcome_on_arrival[:] = outcome
    screening.series_factor.fill(1.0)
    screening.series_offset_km.fill(0.0)
    screening.odometer_km[:] = entries.keyed_km
    renewed = np.zeros(usable.size, dtype=np.bool_)
    unusable = np.flatnonzero(~usable)
    offsets = entries.offsets - np.searchsorted(unusable, entries.offsets)
    kept: Integers | slice = np.flatnonzero(usable) if unusable.size else slice(None)
    time, keyed, verdict = entries.time_days[kept], entries.keyed_km[kept], entries.verdict[kept]
    clean = find_clean_vehicles(time, keyed, offsets, entries.prior_rate)
    clean[np.searchsorted(offsets, np.flatnonzero(verdict == Verdict.RENEWED), "right") - 1] = False
    suspects = np.flatnonzero(~clean)
    suspects = suspects[np.argsort(-np.diff(offsets)[suspects], kind="stable")]
    for begin in range(0, suspects.size, block_vehicles):
        rows = suspects[begin : begin + block_vehicles]
        at, inside = _time_major(offsets, rows)
        chains = explain(time[at], keyed[at], verdict[at], np.diff(offsets)[rows], entries.prior_rate[rows])
        flat = at[inside]
        places = flat if isinstance(kept, slice) else kept[flat]
        renewed[places] = chains.renewed[inside]
        _write(screening, chains, inside, places)
    context = Context(
        time_days=time, keyed_km=keyed, odometer_km=screening.odometer_km[kept], offsets=offsets,
        accepted=outcome[kept] == Outcome.ACCEPTED, factor=screening.series_factor[kept],
        renewed=renewed[kept], prior_rate=entries.prior_rate, fleet_km=entries.fleet_km,
    )  # fmt: skip
    screening.suggested_km.fill(np.nan)
    reason[kept], screening.suggested_km[kept] = find_reasons(context)


def _write(screening: Screening, chains: Chains, inside: Booleans, places: Integers) -> None:
    """Note what the chains say, at the places of their readings among all."""
    believed = chains.believed[inside]
    arrival = np.where(chains.believed_on_arrival[inside], Outcome.ACCEPTED, Outcome.HELD)
    screening.outcome_on_arrival[places] = arrival
    screening.outcome[places] = _final(chains)[inside]
    screening.series_factor[places] = chains.factor[inside]
    screening.series_offset_km[places] = chains.offset_km[inside]
    screening.odometer_km[places[believed]] = chains.km[inside][believed]


def _check_shapes(entries: Entries) -> None:
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


def _check_times(entries: Entries) -> None:
    time, inner = entries.time_days, entries.offsets[1:-1]
    backwards = time[1:] < time[:-1]
    backwards[inner[(inner > 0) & (inner < time.size)] - 1] = False
    if bool(np.any(backwards)) or bool(np.any(np.isnan(time))):
        raise InvalidInputError.at("/time_days", "must not decrease within a vehicle")


def _sort_out(entries: Entries, outcome: Codes, reason: Codes) -> Booleans:
    """Decide about the readings whose fate does not depend on any other; mark the rest as usable."""
    keyed, time = entries.keyed_km, entries.time_days
    outcome.fill(Outcome.ACCEPTED)
    reason.fill(Reason.NONE)
    impossible = ~((keyed >= 0.0) & (keyed <= HIGHEST_ODOMETER_KM))
    future = time > entries.received_days + CLOCK_SKEW_DAYS
    discarded = entries.verdict == Verdict.DISCARDED
    usable: Booleans = ~(impossible | future | discarded)
    repeated = usable & _repeats(entries, usable)
    for mask, code, why in (
        (impossible, Outcome.REJECTED, Reason.NOT_A_READING),
        (future, Outcome.REJECTED, Reason.FUTURE),
        (discarded, Outcome.REJECTED, Reason.DISCARDED),
        (repeated, Outcome.DUPLICATE, Reason.DUPLICATE),
    ):
        at = np.flatnonzero(mask)
        outcome[at], reason[at] = code, why
    usable[repeated] = False
    return usable


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
