"""Tokens as the outside sees them; the secret appears once, when it is made."""

from datetime import datetime
from typing import Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import Body, Instant, Line80, VehicleName
from service.domain.external_ids import IdKind, format_id
from service.domain.roles import Scope
from service.store.tables.access import Token


class TokenCreate(Body):
    """A token to make."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"name": "telematics", "scopes": ["readings"], "expires_at": None}]}
    )

    name: Line80
    scopes: list[Scope] = Field(min_length=1, max_length=len(Scope))
    expires_at: Instant | None = None
    vehicle: VehicleName | None = Field(
        default=None,
        description="Bind it to one vehicle: it then posts readings of this one only, and has the scope `readings` "
        "alone. With an end it is a driver's link as well: the form is at `/driver/{secret}`, the card to print at "
        "`/driver/{secret}/card.pdf`, both without a header.",
    )


class SecretRotate(Body):
    """When the old secret stops to work."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"old_valid_until": None}]})

    old_valid_until: Instant | None = Field(
        default=None, description="At most 30 days ahead; left out, the old one stops at once."
    )


class TokenRead(BaseModel):
    """A token without its secret."""

    id: str
    name: str
    scopes: list[Scope]
    vehicle_id: str | None
    created_at: datetime
    created_by: str
    expires_at: datetime | None
    last_used_at: datetime | None = Field(description="To the minute; stored a little later.")
    revoked_at: datetime | None
    old_valid_until: datetime | None = Field(
        description="Until then the secret before the last rotation works."
    )

    @classmethod
    def of(cls, token: Token) -> Self:
        """Show a token."""
        return cls(
            id=format_id(IdKind.TOKEN, token.id),
            vehicle_id=None if token.vehicle_id is None else format_id(IdKind.VEHICLE, token.vehicle_id),
            old_valid_until=token.previous_secret_until,
            **token.model_dump(
                include={
                    "name",
                    "scopes",
                    "created_at",
                    "created_by",
                    "expires_at",
                    "last_used_at",
                    "revoked_at",
                }
            ),
        )


class TokenSecret(TokenRead):
    """A token with the secret that nobody can read again."""

    secret: str | None = Field(description="Null when the answer to a repeated call is given again.")


class TokenList(BaseModel):
    """All tokens, the newest first."""

    tokens: list[TokenRead]
