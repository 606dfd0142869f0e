"""The trace that a request belongs to, as its caller says by the W3C recommendation Trace Context, level 1."""

import re
from typing import Final

_TRACEPARENT: Final = re.compile(
    r"(?P<version>[0-9a-f]{2})-(?P<trace>[0-9a-f]{32})-(?P<parent>[0-9a-f]{16})-(?P<flags>[0-9a-f]{2})(?P<more>-.*)?"
)
_NO_TRACE: Final = "0" * 32
_NO_PARENT: Final = "0" * 16
FORBIDDEN_VERSION: Final = "ff"
PRESENT_VERSION: Final = "00"


def trace_of(traceparent: str) -> str | None:
    """Trace id in a header; none if there is no valid one, so that a caller cannot write anything else into a log."""
    match = _TRACEPARENT.fullmatch(traceparent) if len(traceparent) <= 512 else None
    if match is None or match["version"] == FORBIDDEN_VERSION:
        return None
    if match["trace"] == _NO_TRACE or match["parent"] == _NO_PARENT:
        return None
    is_longer = match["more"] is not None
    return None if is_longer and match["version"] == PRESENT_VERSION else match["trace"]
