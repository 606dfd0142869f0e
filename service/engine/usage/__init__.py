"""Odometer and daily distance of every vehicle, with their uncertainty."""
