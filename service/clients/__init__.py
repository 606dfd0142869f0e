"""Outbound calls: which addresses may be reached, webhooks, mail."""
