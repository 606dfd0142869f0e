"""Visits: which jobs of a vehicle are done together, on which days, and what is planned already."""
