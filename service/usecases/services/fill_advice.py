"""What to say of the litres of a service that can be right, yet more often are not."""

from collections.abc import Sequence
from typing import Final, Protocol

LARGEST_SHORT_SHARE: Final = 0.1
"""What stays in the pan and on the funnel is less. Common practice, no source."""


class MeasuredRound(Protocol):
    """One drain and one fill, as they were measured."""

    @property
    def drained_litres(self) -> float:
        """What came out."""
        ...

    @property
    def filled_litres(self) -> float:
        """What went in."""
        ...


def short_fill_advice(rounds: Sequence[MeasuredRound]) -> str | None:
    """Say what to do where clearly less went in than came out; None where it did not.

    It is no mistake where the level was too high before, so it is told and not refused.
    """
    drained = sum(one.drained_litres for one in rounds)
    short = drained - sum(one.filled_litres for one in rounds)
    if short <= LARGEST_SHORT_SHARE * drained:
        return None
    return (
        f"{short:.2f} L less went in than came out. Unless it was too full before, check the level, and that "
        "both were measured in the same unit."
    )
