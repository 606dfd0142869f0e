"""What programs and people may do."""

from enum import StrEnum
from types import MappingProxyType
from typing import Final


class Scope(StrEnum):
    """A right that a token or a role carries."""

    READ = "read"
    READINGS = "readings"
    """Post readings."""

    WORKSHOP = "workshop"
    """Record services and samples, tick lines off."""

    STOCK = "stock"
    """Record movements, place and receive orders."""

    PLANNING = "planning"
    """Register vehicles and compartments, decide on held readings, pin visits, publish."""

    ADMIN = "admin"
    """Tokens, people, settings, export."""


class Role(StrEnum):
    """What a person is in the workshop."""

    OWNER = "owner"
    PLANNER = "planner"
    MECHANIC = "mechanic"
    DRIVER = "driver"
    VIEWER = "viewer"


SCOPES_BY_ROLE: Final = MappingProxyType(
    {
        Role.OWNER: frozenset(Scope),
        Role.PLANNER: frozenset(Scope) - {Scope.ADMIN},
        Role.MECHANIC: frozenset({Scope.READ, Scope.READINGS, Scope.WORKSHOP, Scope.STOCK}),
        Role.DRIVER: frozenset({Scope.READINGS}),
        Role.VIEWER: frozenset({Scope.READ}),
    }
)
