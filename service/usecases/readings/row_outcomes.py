"""What became of the rows of one call: a column of outcomes, one of reasons, and words for the few that need them."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from service.domain.outcomes import REASON_TEXTS, ReadingOutcome, ReadingReason
from service.engine.arrays import Booleans, Codes, Integers

OUTCOMES: Final = tuple(ReadingOutcome)
REASONS: Final[tuple[ReadingReason | None, ...]] = (None, *ReadingReason)
OUTCOME_NAMES: Final = tuple(map(str, OUTCOMES))
REASON_NAMES: Final = tuple(None if name is None else str(name) for name in REASONS)
OUTCOME_PLACES: Final = {name: place for place, name in enumerate(OUTCOME_NAMES)}
REASON_PLACES: Final = {name: place for place, name in enumerate(REASON_NAMES)}

ACCEPTED: Final = OUTCOME_PLACES[ReadingOutcome.ACCEPTED]
HELD: Final = OUTCOME_PLACES[ReadingOutcome.HELD]

Places = Integers
Marks = Booleans


@dataclass(slots=True)
class RowResult:
    """What became of one row."""

    outcome: ReadingOutcome
    reason: ReadingReason | None = None
    detail: str | None = None

    @property
    def sentence(self) -> str | None:
        """What is to be said: the row's own words, or what the reason means and what to do."""
        if self.detail is not None or self.reason is None:
            return self.detail
        return REASON_TEXTS[self.reason].sentence


@dataclass(slots=True)
class RowOutcomes:
    """What became of every row, by its place in the call. Accepted until something else is said."""

    outcome: Codes
    """Places in `OUTCOMES`."""

    reason: Codes
    """Places in `REASONS`."""

    details: dict[int, str] = field(default_factory=dict)

    @classmethod
    def of(cls, n_rows: int) -> "RowOutcomes":
        """Outcomes of so many rows."""
        codes = np.zeros((2, n_rows), dtype=np.int8)
        return cls(codes[0], codes[1])

    def __len__(self) -> int:
        return self.outcome.size

    def __iter__(self) -> Iterator[RowResult]:
        return (self.result(place) for place in range(len(self)))

    @property
    def is_stored(self) -> Marks:
        """Mark the rows that are stored."""
        return np.asarray((self.outcome == ACCEPTED) | (self.outcome == HELD))

    def result(self, place: int) -> RowResult:
        """Spell out what became of a row."""
        return RowResult(OUTCOMES[self.outcome[place]], REASONS[self.reason[place]], self.details.get(place))

    def say(
        self, places: Places | Marks | int, outcome: ReadingOutcome, reason: ReadingReason | None
    ) -> None:
        """Decide about rows."""
        self.outcome[places] = OUTCOME_PLACES[outcome]
        self.reason[places] = REASON_PLACES[reason]

    def note(self, place: int, result: RowResult) -> None:
        """Decide about a row that has words of its own."""
        self.say(place, result.outcome, result.reason)
        if result.detail is not None:
            self.details[place] = result.detail

    def counts(self) -> dict[str, int]:
        """How many rows had which outcome."""
        return dict(
            zip(map(str, OUTCOMES), np.bincount(self.outcome, minlength=len(OUTCOMES)).tolist(), strict=True)
        )
