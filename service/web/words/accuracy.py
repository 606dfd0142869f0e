"""How past forecasts turned out."""

from typing import Final

WORDS: Final = {
    "nav_accuracy": "Accuracy",
    "accuracy_title": "Accuracy",
    "accuracy_text": "Every vehicle’s history was walked through again: what would have been said then, with the "
    "readings of then, against what the odometer showed later.",
    "accuracy_held": "Of 100 odometers that we gave a range of 8 in 10 for, {n} came to lie inside. Right would be 80.",
    "accuracy_none": "There are not enough readings yet to say how good the forecasts are.",
    "accuracy_vehicles": "Vehicles looked at: {n}",
    "accuracy_caption": "By how far ahead",
    "accuracy_horizon": "Ahead",
    "accuracy_inside": "Inside the range",
    "accuracy_error": "Usual error",
    "accuracy_error_days": "In days of use",
    "accuracy_plain": "Error of the best plain average",
    "accuracy_n": "Forecasts",
    "accuracy_weeks": "{n} weeks",
    "accuracy_of_100": "{n} of 100",
    "accuracy_days": "{n} days",
}
