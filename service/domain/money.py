"""Money is stored in the smallest unit of a currency; typed and shown with a hundred of them to one.

Most currencies of ISO 4217 have two decimals. Those with none or three are not told apart here.
"""

from typing import Final

MONEY_DECIMALS: Final = 2
MINOR_PER_MAJOR: Final = 10.0**MONEY_DECIMALS


def money_text(minor: float, currency: str) -> str:
    """Write an amount for a sentence."""
    return f"{minor / MINOR_PER_MAJOR:,.{MONEY_DECIMALS}f} {currency}"
