"""Why a reading is not believed, and what it probably should have been."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Booleans, Codes, Floats, Integers
from service.engine.parts import vehicle_blocks
from service.engine.screening.clean import BLOCK_READINGS
from service.engine.screening.outcomes import Reason
from service.engine.screening.plausibility import ROUNDING_KM, pace_km_per_day
from service.units import KM_PER_MILE

# Common practice, no source.
PARKED_DAYS: Final = 14.0
PARKED_KM_PER_DAY: Final = 0.5
FLEET_TOLERANCE_KM: Final = 300.0
_HIGHEST_PLACES: Final = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """Readings with what was decided about them, shapes as in `Entries` and `Screening`."""

    time_days: Floats
    keyed_km: Floats
    odometer_km: Floats
    offsets: Integers
    accepted: Booleans
    factor: Floats
    renewed: Booleans
    prior_rate: Floats
    fleet_km: Floats

    def of_vehicles(self, begin: int, end: int) -> "Context":
        """Cut out vehicles that follow each other, as views."""
        offsets = self.offsets[begin : end + 1]
        inside = slice(int(offsets[0]), int(offsets[-1]))
        return Context(
            time_days=self.time_days[inside], keyed_km=self.keyed_km[inside],
            odometer_km=self.odometer_km[inside], offsets=offsets - offsets[0], accepted=self.accepted[inside],
            factor=self.factor[inside], renewed=self.renewed[inside],
            prior_rate=self.prior_rate[begin:end], fleet_km=self.fleet_km,
        )  # fmt: skip


def find_reasons(context: Context) -> tuple[Codes, Floats]:
    """Name the reason of every reading and a number that would fit where one suggests itself.

    Returns
    -------
    reason : ndarray, shape (r,), int8
        `Reason` codes.
    suggested_km : ndarray, shape (r,), float64
        NaN where nothing suggests itself. [km]
    """
    n = context.keyed_km.size
    reason = np.zeros(n, dtype=np.int8)
    suggested = np.full(n, np.nan)
    off = np.flatnonzero(~context.accepted)
    window = np.empty((3, off.size))
    for begin, end in vehicle_blocks(context.offsets, BLOCK_READINGS):
        first, last = int(context.offsets[begin]), int(context.offsets[end])
        some = slice(*np.searchsorted(off, [first, last]))
        window[:, some] = _explain_block(
            context.of_vehicles(begin, end), off[some] - first, reason[first:last]
        )
    for start in range(0, off.size, BLOCK_READINGS):
        some = slice(start, start + BLOCK_READINGS)
        at = off[some]
        reason[at], suggested[at] = _explain_refused(context.keyed_km[at], window[:, some], context.fleet_km)
    return reason, suggested


def _explain_block(context: Context, off: Integers, reason: Codes) -> Floats:
    """Name the reasons of a block's accepted readings, in place; return the window, shape (3, m), of the others."""
    before = np.arange(reason.size, dtype=np.int64) - 1
    behind_off = off[off < reason.size - 1] + 1
    before[behind_off] = _nearest_accepted(context, behind_off, forwards=True)
    before[context.offsets[:-1][np.diff(context.offsets) > 0]] = -1
    _explain_accepted(context, before, reason)
    return np.stack(_window(context, before, off)) if off.size else np.empty((3, 0))


def _nearest_accepted(context: Context, at: Integers, forwards: bool) -> Integers:
    """Position of the accepted reading of the same vehicle before (or after) some readings, -1 for none."""
    accepted = np.flatnonzero(context.accepted)
    if accepted.size == 0:
        return np.full(at.size, -1, dtype=np.int64)
    place = np.searchsorted(accepted, at) - 1 if forwards else np.searchsorted(accepted, at, side="right")
    nearest = accepted[np.clip(place, 0, accepted.size - 1)]
    vehicle = np.searchsorted(context.offsets, at, side="right") - 1
    inside = (nearest >= context.offsets[vehicle]) & (nearest < context.offsets[vehicle + 1])
    follows = nearest < at if forwards else nearest > at
    return np.where(inside & follows, nearest, -1)


def _explain_accepted(context: Context, before: Integers, reason: Codes) -> None:
    known = context.accepted & (before >= 0)
    source = np.maximum(before, 0)
    days = context.time_days - context.time_days[source]
    distance = context.odometer_km - context.odometer_km[source]
    reason[known & (days >= PARKED_DAYS) & (distance <= PARKED_KM_PER_DAY * days)] = Reason.PARKED
    renewed = np.flatnonzero(known & context.renewed)
    factor, factor_before = context.factor[renewed], context.factor[source[renewed]]
    reason[renewed] = Reason.INSTRUMENT_REPLACED
    reason[renewed[factor > factor_before]] = Reason.MILES_FOR_KILOMETRES
    reason[renewed[factor < factor_before]] = Reason.KILOMETRES_FOR_MILES


def _window(context: Context, before: Integers, off: Integers) -> tuple[Floats, Floats, Floats]:
    """Lowest, expected and highest number that the instrument might have shown, for readings not accepted."""
    vehicle = np.searchsorted(context.offsets, off, side="right") - 1
    earlier, later = before[off], _nearest_accepted(context, off, forwards=False)
    start = context.offsets[:-1][vehicle]
    anchor = np.where(earlier >= 0, earlier, np.where(later >= 0, later, start))
    first = np.where(context.accepted[start], start, anchor)
    known = np.maximum(context.time_days[anchor] - context.time_days[first], 0.0)
    pace = pace_km_per_day(
        context.prior_rate[vehicle],
        np.maximum(context.odometer_km[anchor] - context.odometer_km[first], 0.0),
        known,
        np.zeros(known.size),
    )
    days = context.time_days[off] - context.time_days[anchor]
    expected = context.odometer_km[anchor] + pace * days
    margin = 3.0 * pace * np.abs(days) + 500.0
    lowest = np.where(earlier >= 0, context.odometer_km[anchor] - ROUNDING_KM, expected - margin)
    highest = np.where(later >= 0, context.odometer_km[np.maximum(later, 0)] + ROUNDING_KM, expected + margin)
    bounds = np.minimum(lowest, expected), expected, np.maximum(highest, np.minimum(expected, lowest))
    # So far on the scale of the first instrument; numbers are keyed on that of the present one.
    factor, keyed, odometer = context.factor[anchor], context.keyed_km[anchor], context.odometer_km[anchor]
    shown_lowest, shown, shown_highest = (keyed + (bound - odometer) / factor for bound in bounds)
    return shown_lowest, shown, shown_highest


def _explain_refused(keyed: Floats, window: Floats, fleet_km: Floats) -> tuple[Codes, Floats]:
    lowest, expected, highest = window
    reason = np.where(keyed < lowest, Reason.ROLLBACK, Reason.IMPLAUSIBLE_PACE).astype(np.int8)
    suggested = np.full(keyed.size, np.nan)
    if fleet_km.size:
        at = np.clip(np.searchsorted(fleet_km, keyed), 1, max(fleet_km.size - 1, 1))
        gap = np.minimum(
            np.abs(fleet_km[np.minimum(at, fleet_km.size - 1)] - keyed), np.abs(fleet_km[at - 1] - keyed)
        )
        reason[gap <= FLEET_TOLERANCE_KM] = Reason.OTHER_VEHICLE
    families = (
        (Reason.DIGIT_ADDED, _without_a_digit(keyed)),
        (Reason.DIGIT_LOST, _with_a_digit(keyed)),
        (Reason.MILES_FOR_KILOMETRES, (keyed * KM_PER_MILE)[None, :]),
        (Reason.KILOMETRES_FOR_MILES, (keyed / KM_PER_MILE)[None, :]),
    )
    n_fitting = np.zeros(keyed.size, dtype=np.int64)
    for why, candidates in families:
        fits = (candidates >= lowest) & (candidates <= highest)
        error = np.where(fits, np.abs(candidates - expected), np.inf)
        nearest = np.argmin(error, axis=0)
        found = np.take_along_axis(fits, nearest[None, :], axis=0)[0]
        n_fitting += found
        reason[found] = why
        suggested[found] = np.take_along_axis(candidates, nearest[None, :], axis=0)[0][found]
    several = n_fitting > 1
    reason[several], suggested[several] = Reason.AMBIGUOUS, np.nan
    return reason, suggested


def _without_a_digit(keyed: Floats) -> Floats:
    """Numbers that remain when one digit is struck out, shape (places, m)."""
    whole = np.floor(keyed)
    candidates: list[Floats] = []
    for place in range(_HIGHEST_PLACES):
        power = 10.0**place
        shorter = np.floor(whole / (10.0 * power)) * power + np.mod(whole, power)
        candidates.append(np.where(whole >= power, shorter, -1.0))
    return np.stack(candidates)


def _with_a_digit(keyed: Floats) -> Floats:
    """Numbers that arise when one digit is put in anywhere, shape (10 places, m)."""
    whole = np.floor(keyed)
    candidates: list[Floats] = []
    for place in range(_HIGHEST_PLACES):
        power = 10.0**place
        opened = np.floor(whole / power) * 10.0 * power + np.mod(whole, power)
        candidates.extend(
            np.where(whole * 10.0 >= power, opened + digit * power, -1.0) for digit in range(10)
        )
    return np.stack(candidates)
