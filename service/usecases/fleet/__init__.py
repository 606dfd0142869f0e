"""Vehicles, compartments and the settings of the organisation they belong to."""
