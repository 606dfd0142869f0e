"""Server-rendered pages."""
