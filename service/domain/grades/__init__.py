"""Grades and curves of the open standards for fluids."""
