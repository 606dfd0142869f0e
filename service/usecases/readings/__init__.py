"""Readings as they come in: recorded, screened, decided."""
