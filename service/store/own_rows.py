"""Rows by the ids that programs outside know them by: an organisation's own, or none."""

from typing import TypeVar

from sqlalchemy import inspect
from sqlmodel import Session, SQLModel, select

from service.domain.external_ids import IdKind, parse_id
from service.errors import NotFoundError

Row = TypeVar("Row", bound=SQLModel)


def get_own(
    session: Session, table: type[Row], organisation_id: int, kind: IdKind, reference: str, absent: str
) -> Row:
    """Row of an organisation by its id.

    Raises
    ------
    NotFoundError
        Saying `absent`, if the organisation has none, or the id is of another kind.
    """
    number = parse_id(kind, reference)
    columns = inspect(table).columns
    query = select(table).where(columns["organisation_id"] == organisation_id, columns["id"] == number)
    row = None if number is None else session.exec(query).first()
    if row is None:
        raise NotFoundError(absent)
    return row
