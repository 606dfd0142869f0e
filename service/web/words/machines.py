"""Sources of machine data, and the terms of planning."""

from typing import Final

WORDS: Final = {
    "machines_title": "Machines that report",
    "machines_text": "A maker’s portal, a gateway or a box in the vehicles can send odometers and engine hours. What a "
    "source sends is judged by itself and counts only once you have said which vehicle each machine is. An address to "
    "fetch from is set through the interface for programs.",
    "machine_over": "ended",
    "machine_heard": "Last heard of",
    "machine_fetched": "Last fetched",
    "machine_look": "Machines …",
    "machine_new": "A new source",
    "machine_name_hint": "It stands as the source of the readings.",
    "machine_make": "Make it",
    "machine_link_text": "What a machine sends counts for a vehicle once it was compared with the dashboard.",
    "machine_seen": "Last heard of {when}",
    "machine_vehicle": "It is the vehicle",
    "machine_vehicle_hint": "Its number; empty: none of ours.",
    "machine_link": "Save",
    "machine_none": "Nothing has been heard of any machine yet.",
    "machine_more": "More machines",
    "machine_steps": "The source",
    "machine_end_text": "An ended source is not listened to any more; what it sent stays.",
    "machine_pull": "Fetch now",
    "machine_end": "End the source",
    "machine_back": "All sources",
    "machine_hours": "{n} engine hours",
    "machine_meter": "{value}, {state}.",
    "machine_counts": "compared with the dashboard",
    "machine_waits": "not yet compared with the dashboard",
    "machine_held": "Held: {n}.",
    "told_machine_pull": "It is fetched in the next minute.",
    "told_machine_ended": "The source has ended.",
    "told_machine_linked": "Saved. What had waited counts now, where its offset is known.",
    "terms_title": "What the plan reckons with",
    "terms_text": "Costs and risks that decide about visits, orders and exchanges. A field that is left empty has its "
    "usual value.",
    "terms_usual": "usual: {usual} {unit}",
}
