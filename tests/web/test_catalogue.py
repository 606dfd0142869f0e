"""Every word on a page comes from the catalogue, and every word of the catalogue is on a page."""

import re
from pathlib import Path

import service.web
from service.web.catalogue import ENGLISH

ROOM = Path(service.web.__file__).parent
TEMPLATES = sorted((ROOM / "templates").glob("*.html"))
SOURCES = [path for path in ROOM.rglob("*.py") if path.parent.name not in {"words", "charts"}]
BUILT = (
    "told_",
    "nav_",
    "problem_",
    "file_",
    "kept_",
    "column_",
    "event_",
    "state_",
    "limit_",
    "change_",
    "share_",
)
BUILT += (
    "movement_",
    "order_",
    "exchange_",
    "stock_",
    "seals_",
    "used_",
    "role_",
    "scope_",
    "unit_",
    "token_",
)
BUILT += (
    "start_field_",
    "accuracy_",
    "history_",
    "person_",
    "lab_",
    "day_",
    "pinned_",
    "torque_",
    "chart_",
    "action_",
    "sample_level_",
    "sample_basis_",
    "stream_",
)
"""Beginnings of keys that are put together; the rest of such a key is a word of the domain."""


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
    named = set(re.findall(r"""["']([a-z_0-9]+)["']""", text))
    unused = {key for key in ENGLISH if key not in named and not key.startswith(BUILT)}
    assert unused == set()
