"""A JSON object that arrives outside of the framework's own parsing."""

import json
from typing import Any, NoReturn

from service.errors import InvalidInputError


def read_object(body: bytes) -> dict[str, Any]:
    """Read one object.

    Raises
    ------
    InvalidInputError
        If the body is something else.
    """
    try:
        content = json.loads(body, parse_constant=_refuse)
    except (ValueError, RecursionError):
        raise InvalidInputError("The body is not valid JSON in UTF-8.") from None
    if not isinstance(content, dict):
        raise InvalidInputError("The body must be a JSON object.")
    return content


def _refuse(_name: str) -> NoReturn:
    message = "NaN and infinities are no JSON"
    raise ValueError(message)
