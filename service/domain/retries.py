"""When a message that could not be delivered is tried again, and when that ends."""

from datetime import timedelta
from typing import Final

FIRST_WAIT: Final = timedelta(seconds=30)
LONGEST_WAIT: Final = timedelta(hours=12)
JITTER_FRACTION: Final = 0.2
"""Waits are up to a fifth longer or shorter, so that the receivers of one host are not all tried at once."""

GIVE_UP_AFTER: Final = timedelta(days=5)
"""Longer than a weekend with a holiday at its end; Standard Webhooks asks for retries over days."""

FEWEST_TRIES: Final = 12
"""What the first day takes. Days in which nobody tried, because the service itself was away, are not the receiver's."""


def is_given_up(n_tries: int, age: timedelta) -> bool:
    """Whether a message of this age that failed so often is tried no more."""
    return n_tries >= FEWEST_TRIES and age >= GIVE_UP_AFTER


def wait_before_retry(n_tries: int, spread_fraction: float) -> timedelta:
    """Wait after so many failed tries: doubled each time; `spread_fraction` from -1 to 1 shortens or lengthens it."""
    doubled = FIRST_WAIT * (1 << min(max(n_tries, 1) - 1, 16))
    return min(doubled, LONGEST_WAIT) * (1.0 + JITTER_FRACTION * spread_fraction)
