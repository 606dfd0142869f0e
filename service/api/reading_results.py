"""The answer to readings, as `schemas.readings.ReadingResults` describes it, written a column at once."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

import numpy as np
from pydantic_core import to_json

from service.domain.outcomes import ReadingOutcome
from service.errors import FieldError
from service.usecases.readings.row_outcomes import OUTCOME_PLACES, REASONS, RowOutcomes, RowResult

MAX_ERRORS: Final = 100
"""Refused rows that are named when nothing could be stored."""


def render_results(counts: Mapping[str, int], rows: Iterable[bytes]) -> Iterator[bytes]:
    """Give the answer piece by piece, around the rows that were rendered before."""
    listed = ",".join(f'"{name}":{count}' for name, count in counts.items())
    yield f'{{{listed},"results":['.encode()
    yield from rows
    yield b"]}"


def render_rows(outcomes: RowOutcomes, first: int = 0) -> bytes:
    """Write what became of rows, the first of which has that index; most say one of a few things."""
    said = outcomes.outcome.astype(np.int64) * len(REASONS) + outcomes.reason
    _, first_places, which = np.unique(said, return_index=True, return_inverse=True)
    plain = [_said(outcomes.result(place), with_detail=False) for place in first_places.tolist()]
    endings = [plain[one] for one in which.tolist()]
    for place in outcomes.details:
        endings[place] = _said(outcomes.result(place), with_detail=True)
    return ",".join([f'{{"index":{index}{ending}' for index, ending in enumerate(endings, first)]).encode()


def _said(result: RowResult, *, with_detail: bool) -> str:
    told = result if with_detail else RowResult(result.outcome, result.reason)
    values = (told.outcome, told.reason, told.sentence)
    outcome, reason, detail = (to_json(value).decode() for value in values)
    return f',"outcome":{outcome},"reason":{reason},"detail":{detail}}}'


def refusals(outcomes: RowOutcomes, pointer: str, numbers: Sequence[int]) -> Iterator[FieldError]:
    """Name the refused rows by their numbers."""
    refused = np.flatnonzero(outcomes.outcome == OUTCOME_PLACES[ReadingOutcome.REJECTED])
    for place in refused.tolist():
        result = outcomes.result(place)
        yield FieldError(pointer.format(numbers[place]), f"{result.reason}: {result.sentence}")
