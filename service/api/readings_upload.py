"""The body of POST /v1/readings: JSON in memory, a CSV file spooled to disk and answered row by row."""

import io
import tempfile
from collections.abc import AsyncIterator, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from itertools import islice
from typing import IO, Any, Final
from zoneinfo import ZoneInfo

from fastapi import Request, Response
from fastapi.responses import StreamingResponse

from service.api.reading_results import MAX_ERRORS, refusals, render_results, render_rows
from service.api.token_first import require_token
from service.api.units_of_work import (
    Credentials,
    asked_beside,
    authenticate,
    charge_rows,
    claim_key,
    get_database,
    get_now,
    operation_of,
    store_answer,
)
from service.domain.outcomes import ReadingOutcome
from service.domain.roles import Scope
from service.domain.zones import zone_named
from service.errors import FieldError, InvalidInputError
from service.usecases.readings.import_readings import import_readings, open_readings_file
from service.usecases.readings.record_readings import MAX_ROWS
from service.usecases.readings.row_outcomes import RowOutcomes

SPOOL_BYTES: Final = 1024 * 1024
SENT_BYTES: Final = 64 * 1024


def _spool() -> IO[bytes]:
    """A file that stays in memory while it is small; whoever holds it closes it."""
    return tempfile.SpooledTemporaryFile(max_size=SPOOL_BYTES)


@dataclass(slots=True)
class Upload:
    """A received body, and room for the answer to a long one."""

    is_csv: bool
    file: IO[bytes]
    scratch: IO[bytes]
    body_hash: str
    """Of a call that carries a key; else nobody asks for it."""

    def content(self) -> bytes:
        """Everything at once."""
        self.file.seek(0)
        return self.file.read()


async def receive_upload(request: Request) -> AsyncIterator[Upload]:
    """Receive the body of a caller with a token; what is longer than a mebibyte goes to disk.

    Raises
    ------
    AuthenticationRequiredError
        If the token is of no use.
    InvalidInputError
        If it is neither JSON nor CSV.
    """
    await require_token(request)
    kind = request.headers.get("content-type", "application/json").partition(";")[0].strip().lower()
    if kind not in {"application/json", "text/csv"}:
        raise InvalidInputError("Send application/json or text/csv.")
    has_key = "idempotency-key" in request.headers
    digest = sha256(asked_beside(request))
    with _spool() as file, _spool() as scratch:
        async for piece in request.stream():
            if has_key:
                digest.update(piece)
            file.write(piece)
        yield Upload(kind == "text/csv", file, scratch, digest.hexdigest() if has_key else "")


def record_file(
    request: Request, credentials: Credentials, upload: Upload, key: str | None, time_zone: str | None
) -> Response:
    """Store a CSV file in pieces and answer with the outcome of every row."""
    database, now = get_database(request), get_now(request)
    zone = None if time_zone is None else zone_named("query/time_zone", time_zone)
    with database.transaction() as session:
        caller = authenticate(request, session, credentials, now)
        caller.require(Scope.READINGS)
        claimed = (
            None
            if key is None
            else claim_key(session, caller, operation_of(request), key, upload.body_hash, now)
        )
        if claimed is not None:
            session.rollback()
    told = _Told(upload.scratch)

    def report(numbers: Sequence[int], outcomes: RowOutcomes) -> None:
        told.report(numbers, outcomes)
        charge_rows(request, caller, len(outcomes), get_now(request))

    counts = import_readings(
        database.transaction, caller, request.app.state.clock.now, _open(upload, zone), report
    )
    told.refuse_if_nothing_fits(counts)
    request.state.reading_counts = counts
    if key is not None:
        rows = told.pieces() if told.n_rows <= MAX_ROWS else []
        answer = b"".join(render_results(counts, rows)).decode()
        with database.transaction() as session:
            store_answer(session, caller, operation_of(request), key, upload.body_hash, now, answer)
    return StreamingResponse(render_results(counts, told.pieces()), media_type="application/json")


def _open(upload: Upload, zone: ZoneInfo | None) -> Any:
    upload.file.seek(0)
    text = io.TextIOWrapper(upload.file, encoding="utf-8-sig", errors="strict", newline="")
    return open_readings_file(text, zone)


@dataclass(slots=True)
class _Told:
    """Outcomes of a long file, kept on disk until they are sent."""

    file: IO[bytes]
    errors: list[FieldError] = field(default_factory=list)
    n_rows: int = 0

    def report(self, numbers: Sequence[int], outcomes: RowOutcomes) -> None:
        """Take the outcomes of a chunk."""
        self.file.write(b"," if self.n_rows else b"")
        self.file.write(render_rows(outcomes, self.n_rows))
        self.n_rows += len(outcomes)
        wanted = MAX_ERRORS - len(self.errors)
        self.errors += islice(refusals(outcomes, "row {}", numbers), wanted)

    def refuse_if_nothing_fits(self, counts: Mapping[str, int]) -> None:
        """Answer 422 when no row could be stored."""
        if not self.n_rows:
            raise InvalidInputError.at("row 2", "There is no row below the heading.")
        if self.n_rows == counts[ReadingOutcome.REJECTED]:
            raise InvalidInputError("No row of the file could be stored; see errors.", self.errors)

    def pieces(self) -> Iterator[bytes]:
        """Give the outcomes back piece by piece."""
        self.file.seek(0)
        while piece := self.file.read(SENT_BYTES):
            yield piece
