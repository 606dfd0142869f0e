"""All queries, one file an aggregate."""
