"""The check digit of a vehicle identification number: a warning, never a refusal.

Only North America makes the digit mandatory; elsewhere a number without a matching digit is in order.
"""

from typing import Final

from service.domain import texts

_VALUES: Final = {
    **{str(digit): digit for digit in range(10)},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
"""49 CFR 565.15, table III; I, O and Q are not used."""

_WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
"""49 CFR 565.15, table IV; position 9 holds the check digit itself."""

VIN_CHARACTERS: Final = 17
_CHECK_POSITION: Final = 8


def weighted_sum(vin: str) -> int | None:
    """Sum of the weighted values of the characters, or None if the number is not 17 permitted characters."""
    if len(vin) != VIN_CHARACTERS or any(character not in _VALUES for character in vin):
        return None
    return sum(weight * _VALUES[character] for weight, character in zip(_WEIGHTS, vin, strict=True))


def check_digit(vin: str) -> str | None:
    """Digit that position 9 should hold, or None if the number is not 17 permitted characters."""
    total = weighted_sum(vin)
    if total is None:
        return None
    remainder = total % 11
    return "X" if remainder == 10 else str(remainder)


def normalised_vin(text: str) -> str:
    """Upper case without the spaces and hyphens that people put in."""
    return text.replace(" ", "").replace("-", "").upper()


def clean_vin(pointer: str, text: str) -> str:
    """Give a number as it is kept; shorter ones are of vehicles before 1981, and serial numbers of machines.

    Raises
    ------
    InvalidInputError
        If it is longer than any, or no line of text.
    """
    return texts.clean_line(pointer, normalised_vin(text), maximum=VIN_CHARACTERS)


def vin_warning(vin: str) -> str | None:
    """Say what looks wrong with a number, or None."""
    if len(vin) != VIN_CHARACTERS:
        return f"A vehicle identification number since 1981 has 17 characters; this one has {len(vin)}."
    expected = check_digit(vin)
    if expected is None:
        return "A vehicle identification number has digits and the letters A to Z without I, O and Q."
    if vin[_CHECK_POSITION] != expected:
        return (
            f"The check digit in position 9 would be {expected}. It is mandatory in North America only; "
            "compare the number with the plate."
        )
    return None
