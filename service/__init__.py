"""Sumpwise: fluid service planning for a fleet."""
