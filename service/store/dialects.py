"""Which of the two databases a session works on, and what they share that SQLAlchemy keeps apart."""

from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session, SQLModel


def is_sqlite(session: Session) -> bool:
    """Whether it is SQLite; else it is PostgreSQL."""
    return session.get_bind().dialect.name == "sqlite"


def insert_into(session: Session, table: type[SQLModel]) -> sqlite.Insert | postgresql.Insert:
    """Begin an insert that can say what becomes of rows that are there already."""
    return sqlite.insert(table) if is_sqlite(session) else postgresql.insert(table)
