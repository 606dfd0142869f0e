"""How past forecasts turned out."""

from typing import Final

WORDS: Final = {
    "nav_accuracy": "Accuracy",
    "accuracy_title": "Accuracy",
    "accuracy_held": "Of 100 dates that we gave as {promised} sure, {held} held, {early} came earlier and {late} "
    "later. Right would be 80, 10 and 10.",
    "accuracy_few": "Of our dates, {n} can be judged so far. That is too few to say how often they hold.",
    "accuracy_none": "There are not enough readings yet to say how good the dates are. Readings of past months can be "
    "loaded; without them this page fills by itself as new ones come.",
    "accuracy_text": "Every vehicle’s history was walked through again. On many past days we asked when a distance "
    "ahead would be reached, with the readings of then, and looked in later readings when it was. A date held if that "
    "day lay from the first to the last date that we gave (P10 to P90).",
    "accuracy_open_text": "Where a vehicle was not read up to the last date that we gave, nobody can know yet; these "
    "dates are left out, however they stand.",
    "accuracy_vehicles": "Vehicles looked at: {n}",
    "accuracy_dates_caption": "Dates, by how far ahead",
    "accuracy_horizon": "Ahead",
    "accuracy_date_held": "Held",
    "accuracy_early": "Came earlier",
    "accuracy_late": "Came later",
    "accuracy_error_days": "Usual error",
    "accuracy_plain_days": "Error of the plain average",
    "accuracy_dates": "Dates judged",
    "accuracy_open": "Not known yet",
    "accuracy_too_few": "too few",
    "accuracy_weeks": "{n} weeks",
    "accuracy_of_100": "{n} of 100",
    "accuracy_days": "{n} days",
    "accuracy_odometers": "Odometers",
    "accuracy_odometers_held": "Of 100 odometers that we gave a range of 8 in 10 for, {n} came to lie inside. Right "
    "would be 80.",
    "accuracy_caption": "Odometers, by how far ahead",
    "accuracy_inside": "Inside the range",
    "accuracy_error": "Usual error",
    "accuracy_days_of_use": "In days of use",
    "accuracy_plain": "Error of the best plain average",
    "accuracy_n": "Forecasts",
}
