"""Whose secrets are remembered."""

from fastapi import Request

from service.api import known_callers
from service.api.known_callers import KnownCallers


def test_who_was_not_seen_for_longest_is_forgotten_first(monkeypatch):
    monkeypatch.setattr(known_callers, "MOST_KNOWN", 2)
    known = KnownCallers()
    for secret in ("busy", "idle", "busy", "new"):
        known.note(secret, 1)
    requests = [
        Request({"type": "http", "headers": [(b"authorization", b"Bearer " + secret)]})
        for secret in (b"busy", b"idle", b"new")
    ]
    assert [known.organisation_of(request) for request in requests] == [1, None, 1]
