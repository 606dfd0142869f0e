"""Tell the subscribers of a published list: one message each in the outbox, in the publishing transaction."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final

from sqlmodel import Session

from service.domain.events import Event
from service.store.repositories import outbox, subscriptions
from service.store.tables.due_lists import DueList
from service.usecases.week.describe_line import ListedLine

MAX_FLUIDS: Final = 50
"""Fluids named in a message; a webhook's body stays well under 20 kB, and the list itself is a link away."""


def announce_list(session: Session, now: datetime, due_list: DueList, lines: Sequence[ListedLine]) -> int:
    """Put one message for each subscription into the outbox; returns how many."""
    event = Event.DUE_LIST_PUBLISHED
    receivers = subscriptions.list_active(session, due_list.organisation_id, event)
    payload = summarise(due_list, lines) if receivers else {}
    for receiver in receivers:
        values = {
            "organisation_id": due_list.organisation_id,
            "subscription_id": receiver.id,
            "event": str(event),
            "channel": receiver.channel,
            "message_key": f"due-list/{due_list.organisation_id}/{due_list.iso_week}/{receiver.id}",
            "target": receiver.target,
            "payload": payload,
            "state": "waiting",
            "n_tries": 0,
            "next_try_at": now,
            "created_at": now,
        }
        outbox.add_message(session, values)
    return len(receivers)


def summarise(due_list: DueList, lines: Sequence[ListedLine]) -> dict[str, Any]:
    """What a receiver is told of a list: how much of what, and where to read it."""
    litres: dict[str, float] = {}
    changes = {"new": 0, "carried_over": 0, "moved": 0}
    for line in lines:
        name = line.fluid or line.kind
        litres[name] = litres.get(name, 0.0) + line.litres
        changes[line.change] += 1
    most = sorted(litres.items(), key=lambda item: (-item[1], item[0]))[:MAX_FLUIDS]
    return {
        "iso_week": due_list.iso_week,
        "published_at": due_list.published_at.isoformat(),
        "n_lines": due_list.n_lines,
        "n_vehicles": len({line.vehicle_id for line in lines}),
        "changes": changes,
        "litres_by_fluid": {name: round(value, 2) for name, value in most},
        "labour_minutes": sum(line.labour_minutes for line in lines),
    }
