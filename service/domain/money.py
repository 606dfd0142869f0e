"""Money is stored in the smallest unit of its currency; how many of them make one is ISO 4217's to say."""

from typing import Final

from service.errors import InvalidInputError

CURRENCY_CODE: Final = "[A-Z]{3}"
"""How ISO 4217 writes one."""

USUAL_DECIMALS: Final = 2
_DECIMALS: Final = (
    dict.fromkeys(
        (
            *("BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF"),
            *("UGX", "UYI", "VND", "VUV", "XAF", "XOF", "XPF"),
        ),
        0,
    )
    | dict.fromkeys(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"), 3)
    | dict.fromkeys(("CLF", "UYW"), 4)
)
"""Currencies whose minor unit is not a hundredth: ISO 4217, list one, column "minor unit" (as of 2026-01-01)."""


_DUST: Final = 1e-3
"""Of a smallest unit: far above what floating point adds to a thousand million of them, far below a typed decimal."""


def money_decimals(currency: str) -> int:
    """Decimals of an amount; two for a code that has no minor unit, such as that of gold."""
    return _DECIMALS.get(currency, USUAL_DECIMALS)


def minor_per_major(currency: str) -> float:
    """How many of the smallest unit make one of the currency."""
    return 10.0 ** money_decimals(currency)


def minor_from_major(pointer: str, major: float, currency: str) -> int:
    """Turn an amount as it is typed into the smallest unit.

    Raises
    ------
    InvalidInputError
        If it is finer than that: ten yen and a half were meant for another currency, and are not rounded.
    """
    minor = major * minor_per_major(currency)
    if abs(minor - round(minor)) > _DUST:
        raise InvalidInputError.at(
            pointer, "This is finer than the currency's smallest unit; write fewer decimals."
        )
    return round(minor)


def money_text(minor: float, currency: str) -> str:
    """Write an amount for a sentence."""
    return f"{minor / minor_per_major(currency):,.{money_decimals(currency)}f} {currency}"
