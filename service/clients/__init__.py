"""Outbound HTTP and mail."""
