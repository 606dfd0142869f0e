"""Every word on a page comes from the catalogue, and every word of the catalogue is on a page."""

import re
from pathlib import Path

import service.web
from service.web.catalogue import ENGLISH

ROOM = Path(service.web.__file__).parent
TEMPLATES = sorted((ROOM / "templates").glob("*.html"))
SOURCES = [path for path in ROOM.rglob("*.py") if path.parent.name not in {"words", "charts"}]
HOUSE = [
    path for path in ROOM.parent.rglob("*.py") if path.parent.name != "words" and path.name != "labels.py"
]
BUILT = (
    "told_",
    "told_machine_",
    "nav_",
    "file_",
    "kept_",
    "kept_torque_",
    "column_",
    "event_",
    "event_voided_",
    "state_",
    "limit_",
    "change_",
    "movement_",
    "order_",
    "exchange_",
    "stock_",
    "stock_plan_",
    "role_",
    "scope_",
    "unit_",
    "start_field_",
    "accuracy_",
    "lab_",
    "day_",
    "pinned_",
    "torque_",
    "sample_level_",
    "sample_basis_",
    "stream_",
    "source_",
    "readings_",
    "chart_",
)
"""Beginnings of keys that are put together with a word that stands in a template, in a page or in a rule."""

OPEN = ("problem_", "action_")
"""Beginnings that statuses and the record of changes go on from."""

ENDED = "_early"
"""An ending that is put to a key."""


def test_templates_hold_no_words_of_their_own() -> None:
    assert len(TEMPLATES) > 10
    found = {}
    for path in TEMPLATES:
        bare = re.sub(r"\{%.*?%\}|\{\{.*?\}\}|\{#.*?#\}|<[^>]*>", " ", path.read_text(), flags=re.DOTALL)
        bare = re.sub(r"aria-[a-z]+=|-hint|-error|\btrue\b", " ", bare)
        words = re.findall(r"[^\W\d_]{2,}", bare)
        labels = re.findall(r'(?:aria-label|title|placeholder|alt)="([^"{]+)"', path.read_text())
        if words or labels:
            found[path.name] = words + labels
    assert found == {}


def test_every_key_that_is_asked_for_exists_and_every_other_is_gone() -> None:
    text = "".join(path.read_text() for path in [*TEMPLATES, *SOURCES])
    asked = set(re.findall(r"""(?:\bt|translate)\(\s*["']([a-z_0-9]+)["']\s*[,)]""", text))
    assert asked - set(ENGLISH) == set()
    named = quoted(text) | {f"told_{word}" for word in re.findall(r"told=([a-z_]+)", text)}
    words = quoted("".join(path.read_text() for path in [*TEMPLATES, *HOUSE]))
    built = {beginning + word for beginning in BUILT for word in words}
    known = named | built | {key + ENDED for key in built}
    assert {key for key in ENGLISH if key not in known and not key.startswith(OPEN)} == set()


def quoted(text: str) -> set[str]:
    """Words that stand in quotation marks by themselves, or between hyphens as the names of fields do."""
    return set(re.findall(r"""["'-]([a-z_0-9]+)(?=["'-])""", text))


def test_every_style_is_that_of_something_on_a_page() -> None:
    rules = re.sub(r"/\*.*?\*/", "", (ROOM / "static" / "sumpwise.css").read_text(), flags=re.DOTALL)
    selectors = re.sub(r"{[^{}]*}", " ", rules)
    styled = set(re.findall(r"\.([a-z][a-z-]*)", selectors))
    assert len(styled) > 20
    text = " ".join(path.read_text() for path in [*TEMPLATES, *SOURCES])
    assert {name for name in styled if re.search(rf"(?<![\w-]){name}(?![\w-])", text) is None} == set()
