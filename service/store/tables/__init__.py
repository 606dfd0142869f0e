"""SQLModel tables, one file an aggregate."""
