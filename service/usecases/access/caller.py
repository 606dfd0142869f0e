"""Who is asking, and whether they may."""

from dataclasses import dataclass

from service.domain.roles import Scope
from service.errors import PermissionDeniedError


@dataclass(frozen=True, slots=True)
class Caller:
    """A token, person or job acting for one organisation."""

    organisation_id: int
    actor: str
    scopes: frozenset[Scope]
    request_id: str | None = None
    vehicle_id: int | None = None
    """Set for a driver's link: only this vehicle."""

    token_id: int | None = None
    """The token that was presented, if it was one."""

    def require(self, scope: Scope) -> None:
        """Refuse unless the caller has the scope.

        Raises
        ------
        PermissionDeniedError
            Naming the missing scope.
        """
        if scope not in self.scopes:
            raise PermissionDeniedError(f"This needs the scope “{scope}”, which {self.actor} does not have.")

    def require_vehicle(self, vehicle_id: int) -> None:
        """Refuse when the caller is bound to another vehicle."""
        if self.vehicle_id is not None and self.vehicle_id != vehicle_id:
            raise PermissionDeniedError("This link is for one vehicle only, and this is another one.")


def system_caller(organisation_id: int, job: str) -> Caller:
    """Let a job act with all rights of one organisation."""
    return Caller(organisation_id, f"job {job}", frozenset(Scope))
