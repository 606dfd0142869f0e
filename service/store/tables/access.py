"""Who may do what: API tokens, people, page sessions, and the record of every change."""

from datetime import datetime
from typing import Any

from sqlalchemy import Column, Index, UniqueConstraint
from sqlmodel import JSON, Field, SQLModel

from service.domain.roles import Role
from service.store.types import LongKey, UtcDateTime, belongs_to, one_of


class Token(SQLModel, table=True):
    """A secret for programs: shown once, stored as its SHA-256."""

    __tablename__ = "token"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        UniqueConstraint("secret_hash"),
        UniqueConstraint("previous_secret_hash"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    name: str = Field(max_length=80)
    secret_hash: str = Field(max_length=64)
    previous_secret_hash: str | None = Field(default=None, max_length=64)
    previous_secret_until: datetime | None = Field(default=None, sa_type=UtcDateTime)
    """After a rotation the secret before it works until then."""

    scopes: list[str] = Field(sa_column=Column(JSON, nullable=False))
    vehicle_id: int | None = None
    """A driver's link: this token may only post readings of this vehicle."""

    created_at: datetime = Field(sa_type=UtcDateTime)
    created_by: str = Field(max_length=80)
    expires_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    last_used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class Person(SQLModel, table=True):
    """Somebody who signs in to the pages."""

    __tablename__ = "person"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        UniqueConstraint("login"),
        one_of("role", Role, "role"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    login: str = Field(max_length=120)
    name: str = Field(max_length=80)
    role: str = Field(max_length=16)
    password_hash: str = Field(max_length=200)
    created_at: datetime = Field(sa_type=UtcDateTime)
    disabled_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class PageSession(SQLModel, table=True):
    """A signed-in browser."""

    __tablename__ = "page_session"
    __table_args__ = (UniqueConstraint("secret_hash"), belongs_to("person", "person_id", cascade=True))

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int
    person_id: int
    secret_hash: str = Field(max_length=64)
    created_at: datetime = Field(sa_type=UtcDateTime)
    last_seen_at: datetime = Field(sa_type=UtcDateTime)
    expires_at: datetime = Field(sa_type=UtcDateTime)


class SignInCode(SQLModel, table=True):
    """A secret that opens the pages once for one person: for a first visit, a lost password, a demonstration."""

    __tablename__ = "sign_in_code"
    __table_args__ = (UniqueConstraint("secret_hash"), belongs_to("person", "person_id", cascade=True))

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int
    person_id: int
    secret_hash: str = Field(max_length=64)
    created_at: datetime = Field(sa_type=UtcDateTime)
    expires_at: datetime = Field(sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class AuditEntry(SQLModel, table=True):
    """A change: who, when, what, before and after."""

    __tablename__ = "audit_entry"
    __table_args__ = (
        Index("ix_audit_entry_time", "organisation_id", "id"),
        Index("ix_audit_entry_object", "organisation_id", "object_type", "object_id", "id"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    at: datetime = Field(sa_type=UtcDateTime)
    actor: str = Field(max_length=80)
    action: str = Field(max_length=40)
    object_type: str = Field(max_length=40)
    object_id: int | None = Field(default=None, sa_type=LongKey)
    detail: dict[str, Any] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))
    request_id: str | None = Field(default=None, max_length=64)
