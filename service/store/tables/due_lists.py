"""Published due lists: written once, never changed; what happens to a line is written beside it."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import CheckConstraint, Column, Index, UniqueConstraint
from sqlmodel import JSON, Field, SQLModel

from service.store.types import UtcDateTime, belongs_to, one_of

CHANGES = ("new", "carried_over", "moved")


class DueList(SQLModel, table=True):
    """The list of one organisation for one ISO week."""

    __tablename__ = "due_list"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        UniqueConstraint("organisation_id", "iso_week"),
        CheckConstraint("length(iso_week) = 8", name="iso_week"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    iso_week: str = Field(max_length=8)
    """ISO 8601 week in the organisation's time zone, for instance `2026-W48`."""

    due_at: datetime = Field(sa_type=UtcDateTime)
    """Instant at which it was to be published."""

    published_at: datetime = Field(sa_type=UtcDateTime)
    n_lines: int
    since_last: dict[str, Any] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))
    """What left since the list before: lines done, and lines whose date moved."""

    content_hash: str = Field(max_length=64)
    """SHA-256 of the content."""

    n_events: int = 0
    """How much has happened to its lines since: with the hash it tells what a reader has seen."""


class DueListLine(SQLModel, table=True):
    """One compartment on a list, with everything that was known when it was published."""

    __tablename__ = "due_list_line"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        UniqueConstraint("organisation_id", "due_list_id", "compartment_id"),
        belongs_to("due_list", "due_list_id"),
        Index("ix_due_list_line_compartment", "organisation_id", "compartment_id", "id"),
        one_of("change", CHANGES, "change"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int
    due_list_id: int
    position: int
    vehicle_id: int
    """No foreign key: a published line outlives the vehicle."""

    compartment_id: int
    vehicle: str = Field(max_length=40)
    compartment: str = Field(max_length=40)
    depot: str = Field(max_length=40)
    kind: str = Field(max_length=40)
    fluid: str | None = Field(default=None, max_length=40)
    reason: str = Field(max_length=400)
    limit_reached: str = Field(max_length=16)
    due_q10_on: date | None = None
    due_q50_on: date | None = None
    due_q90_on: date | None = None
    overdue_probability: float = 0.0
    planned_on: date | None = None
    method: str = Field(max_length=24)
    n_rounds: int
    litres: float
    labour_minutes: int
    change: str = Field(max_length=16)
    first_listed_week: str = Field(max_length=8)
    detail: dict[str, Any] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))
    """Further figures: probabilities by limit, life used, seals, cautions."""


class LineEvent(SQLModel, table=True):
    """What happened to a published line afterwards: done, moved, dropped."""

    __tablename__ = "line_event"
    __table_args__ = (
        belongs_to("due_list_line", "line_id"),
        Index("ix_line_event_line", "organisation_id", "line_id"),
        one_of("kind", ("done", "moved", "dropped", "reopened"), "kind"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int
    line_id: int
    kind: str = Field(max_length=12)
    service_id: int | None = None
    moved_to_on: date | None = None
    note: str | None = Field(default=None, max_length=400)
    at: datetime = Field(sa_type=UtcDateTime)
    by: str = Field(max_length=80)
