"""Everything that can go wrong on purpose.

ServiceError
├── InvalidInputError            what was sent cannot be right: says where and what to do
│   └── PayloadTooLargeError     more than one call may carry
├── AuthenticationRequiredError  no token, or one we do not know
├── PermissionDeniedError        a token that may not do this
├── NotFoundError                no such thing for this organisation
├── ConflictError                right in itself, but not now
│   ├── DuplicateError           it exists already
│   ├── StaleVersionError        somebody else changed it in the meantime
│   ├── StateTransitionError     the thing is not in a state that allows it
│   └── RequestInProgressError   the same Idempotency-Key is being worked on
├── InsufficientDataError        an estimate that nothing stored supports
├── RateLimitedError             too many calls
├── UnavailableError             the database is busy, full or away: try again
├── UpstreamError                somebody else's server failed us
│   ├── UpstreamTimeoutError     … by not answering in time
│   ├── UpstreamBusyError        … by asking us to come back later
│   └── ReceiverGoneError        … by saying that it wants nothing more
└── EngineError                  a computation failed: our fault
    ├── ConvergenceError         an iteration that did not settle
    └── NonFiniteResultError     a number that is none

An error knows its code and its facts, never an HTTP status: `api/problems.py` holds the only table of those,
`cli` maps codes to exit codes, and `jobs` stores the code in the run's row.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class FieldError:
    """One thing wrong in what was sent: a JSON pointer (RFC 6901) or a column, and what to do about it."""

    pointer: str
    detail: str


class ServiceError(Exception):
    """A refusal or failure that the caller can be told about in one sentence."""

    code: ClassVar[str] = "service-error"

    def __init__(self, detail: str, errors: Sequence[FieldError] = ()) -> None:
        super().__init__(detail)
        self.detail = detail
        self.errors = tuple(errors)


class InvalidInputError(ServiceError):
    """What was sent cannot be right."""

    code = "invalid-input"

    @classmethod
    def at(cls, pointer: str, detail: str) -> "InvalidInputError":
        """Blame one field."""
        return cls(detail, [FieldError(pointer, detail)])


class PayloadTooLargeError(InvalidInputError):
    """More than one call may carry."""

    code = "payload-too-large"


class AuthenticationRequiredError(ServiceError):
    """No token, or one that is unknown, expired or revoked."""

    code = "authentication-required"


class PermissionDeniedError(ServiceError):
    """The caller is known but may not do this."""

    code = "permission-denied"


class NotFoundError(ServiceError):
    """No such thing for this organisation."""

    code = "not-found"


class ConflictError(ServiceError):
    """Right in itself, but at odds with what is stored."""

    code = "conflict"


class DuplicateError(ConflictError):
    """It exists already."""

    code = "duplicate"


class StaleVersionError(ConflictError):
    """Somebody else changed it since the caller read it."""

    code = "stale-version"


class StateTransitionError(ConflictError):
    """The thing is not in a state that allows the step."""

    code = "state-transition"


class RequestInProgressError(ConflictError):
    """A call with the same Idempotency-Key is still being worked on."""

    code = "request-in-progress"


class InsufficientDataError(ServiceError):
    """An estimate that nothing stored supports."""

    code = "insufficient-data"


class RateLimitedError(ServiceError):
    """Too many calls; `retry_after_seconds` says when to come back."""

    code = "rate-limited"

    def __init__(self, detail: str, retry_after_seconds: int) -> None:
        super().__init__(detail)
        self.retry_after_seconds = retry_after_seconds


class UnavailableError(ServiceError):
    """The store is busy, full or away; nothing was changed, and the same call may be sent again."""

    code = "unavailable"

    def __init__(self, detail: str, retry_after_seconds: int = 5) -> None:
        super().__init__(detail)
        self.retry_after_seconds = retry_after_seconds


class UpstreamError(ServiceError):
    """Another server that we called failed."""

    code = "upstream"


class UpstreamTimeoutError(UpstreamError):
    """Another server that we called did not answer in time."""

    code = "upstream-timeout"


class UpstreamBusyError(UpstreamError):
    """Another server asks us to come back later; zero seconds if it does not say when."""

    code = "upstream-busy"

    def __init__(self, detail: str, retry_after_seconds: int) -> None:
        super().__init__(detail)
        self.retry_after_seconds = retry_after_seconds


class ReceiverGoneError(UpstreamError):
    """A receiver of messages says that it wants nothing more."""

    code = "receiver-gone"


class EngineError(ServiceError):
    """A computation failed though its input was accepted."""

    code = "engine"


class ConvergenceError(EngineError):
    """An iteration did not settle."""

    code = "no-convergence"


class NonFiniteResultError(EngineError):
    """A result is not a number, or not finite."""

    code = "non-finite-result"
