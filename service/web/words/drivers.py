"""Links for drivers, and the page behind them."""

from typing import Final

WORDS: Final = {
    "links_title": "Readings by whoever drives",
    "links_text": "A link or a card with a square code for the dashboard. It takes readings of this vehicle and shows "
    "nothing else; nobody needs to sign in.",
    "link_facts": "In force until {ends}, last used: {used}",
    "link_unused": "never",
    "link_end": "End it",
    "link_end_of": "End the link {name}",
    "link_name": "Where it is kept",
    "link_name_hint": "To tell links apart.",
    "link_name_default": "Sun visor",
    "link_days": "In force for",
    "link_days_30": "a month",
    "link_days_90": "three months",
    "link_days_365": "a year",
    "link_make": "Make a link",
    "link_once_title": "Link for readings of {vehicle}",
    "link_once_text": "Print it or copy it now: it is never shown again. In force until {day}; the vehicle’s page ends "
    "it sooner.",
    "link_card": "Card to print (PDF)",
    "link_back": "To the vehicle",
    "told_link_ended": "The link is worthless from now on.",
    "nav_reading": "Reading",
    "own_title": "Send an odometer reading",
    "own_text": "With your login you send readings. To see vehicles or the list of the week, ask an owner of your "
    "organisation for another role.",
    "own_vehicle": "Number of the vehicle",
    "own_go": "Go on",
    "own_other": "Another vehicle",
    "driver_qr": "Link for readings",
    "driver_title": "Odometer of {vehicle}",
    "driver_odometer": "Odometer, {unit}",
    "driver_hours_hint": "Only if the vehicle counts them.",
    "driver_not_now": "Read at another time",
    "driver_at_hint": "The time on the wall; empty means just now.",
    "driver_send": "Save",
    "driver_caution": "Only while parked.",
    "told_driver_saved": "Saved. Thank you.",
    "told_driver_held": "Saved, but it does not fit the earlier readings. If a digit was wrong, send the right one.",
    "told_driver_twice": "This reading was there already.",
}
