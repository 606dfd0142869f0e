"""Thermal expansion and setting the level."""
