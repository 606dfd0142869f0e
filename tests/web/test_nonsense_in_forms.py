"""Nonsense in every field of every form: refused or taken as text, never a failure, and every page still stands."""

import re
from collections.abc import Iterator
from html.parser import HTMLParser

import pytest
from starlette.routing import compile_path

from tests.web.conftest import token_in
from tests.web.page_examples import PAGES
from tests.web.test_every_form import FORMS, names

__all__ = ["names"]

NONSENSE = (
    "NaN",
    "1e400",
    "9" * 400,
    "A\0B",
    "\u200b",
    "A\r\nBcc: x@example.org",
    "x" * 100_000,
    "<b onmouseover=x>&\"'{{7*7}}",
)
A_FIELD = 3
"""So many of them a field, the next ones in turn: all of them come to every larger form."""

ENDS_THE_SESSION = {"/password", "/sign-out", "/sign-in"}


class Fields(HTMLParser):
    """Fields of the forms of a page that change something, with what stands in them, by the form's address."""

    def __init__(self) -> None:
        super().__init__()
        self.action = ""
        self.found: dict[str, dict[str, str]] = {}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a form, or a field of it."""
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.action = given.get("action", "") if given.get("method") == "post" else ""
        elif self.action and tag in {"input", "select", "textarea", "button"} and given.get("name"):
            self.found.setdefault(self.action, {}).setdefault(given["name"], given.get("value", ""))


def cases(workshop, names) -> Iterator[tuple[str, dict[str, str], str]]:
    """Every form by its address, what stands in it, and one of its fields."""
    reader = Fields()
    for path in PAGES.values():
        if "{" not in path:
            reader.feed(workshop.get(path).text)
    examples = [
        (compile_path(route)[0], path.format(**names), fields) for route, (path, fields) in FORMS.items()
    ]
    for action, drawn in reader.found.items():
        example = next((fields for pattern, _, fields in examples if pattern.fullmatch(action)), {})
        if action.split("?")[0] not in ENDS_THE_SESSION:
            for field in sorted({*drawn, *example} - {"form_token", "form_id"}):
                yield action, drawn | example, field
    for _, path, fields in examples:
        if path not in reader.found and path not in ENDS_THE_SESSION:
            for field in fields:
                yield path, fields, field


def leads_to_its_first_mark(html: str) -> bool:
    """Whether the link of a refused form leads to the field that it means."""
    found = re.search(r'href="#([^"]*)">To the first mark', html)
    return found is None or f'id="{found[1]}"' in html


@pytest.mark.slow
def test_no_field_of_a_form_fails_or_breaks_a_page(workshop, names):
    token = token_in(workshop.get("/password").text)
    wrong, n_cases = [], 0
    for action, fields, field in list(cases(workshop, names)):
        first = n_cases % len(NONSENSE)
        for nonsense in (NONSENSE * 2)[first : first + A_FIELD]:
            n_cases += 1
            typed = fields | {field: nonsense, "form_token": token, "form_id": f"nonsense-{n_cases}"}
            answer = workshop.send(action, typed)
            if answer.status_code >= 500 or answer.status_code in {401, 403}:
                wrong.append((action, field, nonsense[:20], answer.status_code))
            if "<b " in answer.text:
                wrong.append((action, field, "markup"))
            if not leads_to_its_first_mark(answer.text):
                wrong.append((action, field, nonsense[:20], "the first mark is not on the page"))
    for path in PAGES.values():
        if "{" not in path:
            answer = workshop.get(path)
            if answer.status_code >= 500 or "<b " in answer.text:
                wrong.append((path, answer.status_code))
    assert wrong == []
    assert n_cases > 400
