"""Sources of machine data, and the terms of planning."""

from typing import Final

WORDS: Final = {
    "machines_title": "Machines that report",
    "machines_text": "A maker’s portal, a gateway or a box in the vehicles can send odometers and engine hours. What a "
    "source sends is judged by itself and counts only once you have said which vehicle each machine is.",
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
    "machine_offset": "Dashboard less source, {unit}",
    "machine_offset_hint": "What the dashboard showed less what the source said at the same time. Left empty, it is "
    "learned from readings of the dashboard.",
    "machine_offset_learned": "Learned from readings: {value} {unit}. Type a number to set another one.",
    "machine_unit_hours": "hours",
    "machine_pull_title": "Fetch documents from an address",
    "machine_pull_text": "For portals that hand out fleet documents by ISO 15143-3. A source that sends by itself "
    "needs no address.",
    "machine_address": "Address of the first page",
    "machine_address_hint": "Begins with https://. Empty: nothing is fetched. What stands behind a question mark is "
    "kept, but not shown again.",
    "machine_minutes": "Every … minutes",
    "machine_minutes_hint": "From 5 to 10080; usual: 60.",
    "machine_authorization": "Authorization",
    "machine_authorization_hint": "What the portal wants to see, for instance Bearer and a key. Optional; never "
    "shown again.",
    "machine_authorization_kept": "One is kept. Left empty, it stays while the address stays.",
    "machine_address_save": "Save the address",
    "told_machine_address": "Saved. If there is an address, it is fetched in the next minute.",
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
