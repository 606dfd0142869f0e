"""What is decided about a reading, and why, as numbers for arrays; words for them are the vocabulary's business."""

from enum import IntEnum


class Outcome(IntEnum):
    """What is done with a reading."""

    ACCEPTED = 0
    HELD = 1
    DUPLICATE = 2
    REJECTED = 3
    CONVICTED = 4
    """Held or accepted once, and contradicted by the readings that came after it."""


class Verdict(IntEnum):
    """What a person has said about a reading; it overrules the evidence."""

    NONE = 0
    RELEASED = 1
    DISCARDED = 2
    RENEWED = 3
    """The first number of a new instrument, which goes on where the reading before it ended."""


class Reason(IntEnum):
    """Why a reading is not simply accepted, or what is worth knowing about one that is."""

    NONE = 0
    ROLLBACK = 1
    DIGIT_LOST = 2
    DIGIT_ADDED = 3
    OTHER_VEHICLE = 4
    MILES_FOR_KILOMETRES = 5
    KILOMETRES_FOR_MILES = 6
    DUPLICATE = 7
    FUTURE = 8
    IMPLAUSIBLE_PACE = 9
    INSTRUMENT_REPLACED = 10
    PARKED = 11
    NOT_A_READING = 12
    DISCARDED = 13
    AMBIGUOUS = 14
