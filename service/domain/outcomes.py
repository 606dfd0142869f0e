"""What became of a reading, why, and what somebody can do about it."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final


class ReadingOutcome(StrEnum):
    """What became of a reading that was sent."""

    ACCEPTED = "accepted"
    HELD = "held"
    """Stored, but not believed until somebody releases it or a later reading speaks for it."""
    DUPLICATE = "duplicate"
    """Stored already; nothing changed."""
    REJECTED = "rejected"
    """Not stored."""


class ReadingReason(StrEnum):
    """Why a reading was not simply accepted, or what was noticed when it was."""

    ROLLBACK = "rollback"
    DIGIT_LOST_OR_ADDED = "digit_lost_or_added"
    OTHER_VEHICLE = "other_vehicle"
    MILES_FOR_KM = "miles_for_km"
    KM_FOR_MILES = "km_for_miles"
    IMPLAUSIBLE_PACE = "implausible_pace"
    IMPLAUSIBLE_HOURS = "implausible_hours"
    CLUSTER_REPLACED = "cluster_replaced"
    AMBIGUOUS = "ambiguous"
    PARKED = "parked"
    DUPLICATE = "duplicate"
    REFERENCE_REUSED = "reference_reused"
    FUTURE = "future"
    TOO_OLD = "too_old"
    MISSING_OFFSET = "missing_offset"
    UNKNOWN_VEHICLE = "unknown_vehicle"
    NO_METER = "no_meter"
    OUT_OF_RANGE = "out_of_range"
    NOT_A_NUMBER = "not_a_number"
    MALFORMED = "malformed"
    RELEASED = "released"
    DISCARDED = "discarded"


@dataclass(frozen=True, slots=True)
class ReasonText:
    """The outcome that a reason leads to, what it means, and what to do."""

    outcome: ReadingOutcome
    meaning: str
    advice: str

    @property
    def sentence(self) -> str:
        """Meaning and advice in one line."""
        return f"{self.meaning} {self.advice}"


_HELD, _REJECTED = ReadingOutcome.HELD, ReadingOutcome.REJECTED
_READ_AGAIN: Final = "Read the odometer again; release this one if it is right, discard it if not."

REASON_TEXTS: Final[Mapping[ReadingReason, ReasonText]] = MappingProxyType(
    {
        ReadingReason.ROLLBACK: ReasonText(
            _HELD,
            "The odometer is lower than it was before.",
            f"{_READ_AGAIN} A new cluster is its own event.",
        ),
        ReadingReason.DIGIT_LOST_OR_ADDED: ReasonText(
            _HELD, "A digit seems to be missing or one too many.", "Read the odometer again and send it anew."
        ),
        ReadingReason.OTHER_VEHICLE: ReasonText(
            _HELD,
            "The number fits another vehicle of the fleet better.",
            "Check which vehicle it was; discard this one and send it for the right vehicle.",
        ),
        ReadingReason.MILES_FOR_KM: ReasonText(
            _HELD, "The number fits if it was miles, not kilometres.", "Check the unit of this odometer."
        ),
        ReadingReason.KM_FOR_MILES: ReasonText(
            _HELD, "The number fits if it was kilometres, not miles.", "Check the unit of this odometer."
        ),
        ReadingReason.IMPLAUSIBLE_PACE: ReasonText(
            _HELD, "No vehicle covers this distance in the time since the reading before.", _READ_AGAIN
        ),
        ReadingReason.IMPLAUSIBLE_HOURS: ReasonText(
            _HELD,
            "The hour meter ran backwards or faster than the clock.",
            "The distance counts; check the hour meter. If it was replaced, record that it counts anew.",
        ),
        ReadingReason.CLUSTER_REPLACED: ReasonText(
            _HELD,
            "The numbers start anew, as after a change of the instrument cluster.",
            "Record the replacement with the last number of the old cluster and the first of the new one.",
        ),
        ReadingReason.AMBIGUOUS: ReasonText(
            _HELD, "The number is wrong in a way that has more than one explanation.", _READ_AGAIN
        ),
        ReadingReason.PARKED: ReasonText(
            ReadingOutcome.ACCEPTED, "The vehicle stood still since the reading before.", "Nothing to do."
        ),
        ReadingReason.DUPLICATE: ReasonText(
            ReadingOutcome.DUPLICATE, "This reading is stored already.", "Nothing to do."
        ),
        ReadingReason.REFERENCE_REUSED: ReasonText(
            _REJECTED,
            "The sender's reference is stored already with another value.",
            "Send a correction with a reference of its own.",
        ),
        ReadingReason.FUTURE: ReasonText(
            _REJECTED, "The time lies in the future.", "Check the date, the zone and the sender's clock."
        ),
        ReadingReason.TOO_OLD: ReasonText(
            _REJECTED,
            "The date is before the vehicle was there, or before 1980.",
            "Check the date and the sender's clock.",
        ),
        ReadingReason.MISSING_OFFSET: ReasonText(
            _REJECTED,
            "The time has no offset from UTC.",
            "Write it as 2026-05-01T07:30:00+01:00, or with Z for UTC.",
        ),
        ReadingReason.UNKNOWN_VEHICLE: ReasonText(
            _REJECTED, "No vehicle has this number.", "Register the vehicle first, or correct its number."
        ),
        ReadingReason.NO_METER: ReasonText(
            _REJECTED, "Neither an odometer nor an hour meter was given.", "Send at least one of the two."
        ),
        ReadingReason.OUT_OF_RANGE: ReasonText(
            _REJECTED, "The number cannot be on an instrument.", "Check the digits and the unit."
        ),
        ReadingReason.NOT_A_NUMBER: ReasonText(
            _REJECTED,
            "This is not a number that can be read without guessing.",
            "Write digits and a point only.",
        ),
        ReadingReason.MALFORMED: ReasonText(
            _REJECTED, "The row does not have the form of a reading.", "Compare it with the example."
        ),
        ReadingReason.RELEASED: ReasonText(
            ReadingOutcome.ACCEPTED, "Somebody checked this reading and released it.", "Nothing to do."
        ),
        ReadingReason.DISCARDED: ReasonText(
            _REJECTED, "Somebody checked this reading and discarded it.", "Nothing to do."
        ),
    }
)
"""The outcome here is the usual one; screening may hold what it is unsure of, never drop it."""
