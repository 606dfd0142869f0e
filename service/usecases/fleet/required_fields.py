"""Fields of a record that a change may replace and never take away."""

from collections.abc import Container, Mapping
from typing import Any

from service.errors import InvalidInputError


def refuse_nothing(changes: Mapping[str, Any], may_be_nothing: Container[str]) -> None:
    """Refuse None for everything but what may be left open.

    Raises
    ------
    InvalidInputError
        Naming the field.
    """
    for name, value in changes.items():
        if value is None and name not in may_be_nothing:
            raise InvalidInputError.at(f"/{name}", "Cannot be nothing; leave it out to keep it.")
