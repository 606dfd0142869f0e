"""Job sheets that were begun and not finished."""

from datetime import datetime

from sqlalchemy import Column, UniqueConstraint
from sqlmodel import JSON, Field, SQLModel

from service.store.types import UtcDateTime, belongs_to


class JobDraft(SQLModel, table=True):
    """What has been filled in of a vehicle's job sheet so far; a vehicle has one at most."""

    __tablename__ = "job_draft"
    __table_args__ = (
        UniqueConstraint("organisation_id", "vehicle_id"),
        belongs_to("vehicle", "vehicle_id", cascade=True),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int
    vehicle_id: int
    fields: dict[str, str] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))
    """Names and contents of the sheet's boxes, as they were typed."""

    begun_at: datetime = Field(sa_type=UtcDateTime)
    saved_at: datetime = Field(sa_type=UtcDateTime)
    saved_by: str = Field(max_length=80)
