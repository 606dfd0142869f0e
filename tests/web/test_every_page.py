"""What holds of every page and every date that can be typed, by the application's own routes and pages."""

import re
from html.parser import HTMLParser

import pytest
from starlette.routing import compile_path

from tests.web.conftest import token_in
from tests.web.page_examples import EXAMPLES, PAGES
from tests.web.test_every_form import FORMS, names, rows

__all__ = ["names"]

OF_NOBODY = {"/due-lists/{week}", "/sign-in/{code}", "/driver/{code}"}
"""A week is everybody's, and codes are secrets with tests of their own."""

PAPERS = ("/vehicles/VAN-01/job-sheet.pdf", "/vehicles/veh_1/job-sheet.pdf")
DATED = {"/lines/{line}": {"do": "moved"}, "/vehicles/{vehicle}/job-sheet": {"do": "close"}}
"""What makes a form use its date, where its example does not."""

ABSURD = (
    "0001-01-01",
    "1900-02-30",
    "2026-02-30",
    "9999-12-31",
    "2026-13-01",
    "-2026-05-01",
    "soon",
    "٢٠٢٦-٠٥-٠١",
)


class Dates(HTMLParser):
    """Fields for dates and moments, by the address that their form is sent to."""

    def __init__(self) -> None:
        super().__init__()
        self.action = ""
        self.found: set[tuple[str, str, str]] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note the form, and every date in it."""
        given = dict(attrs)
        if tag == "form":
            self.action = (given.get("action") or "") if given.get("method") == "post" else ""
        if tag == "input" and self.action and given.get("type") in {"date", "datetime-local"}:
            self.found.add((self.action, given["name"] or "", given["type"] or ""))


def test_things_of_another_organisation_are_on_no_page(workshop, names, join):
    """[ASVS 5.0, 8.4.1]: their pages are not there, whether they are named by number or by id."""
    workshop.come_in("eve", organisation_id=join("Other Invented").organisation_id)
    theirs = [
        path
        for route, found in EXAMPLES.items()
        if "{" in route and route not in OF_NOBODY
        for path in found.values()
    ]
    assert len(theirs) > 10
    for path in (*theirs, *PAPERS):
        answer = workshop.get(path)
        assert answer.status_code == 404, (path, answer.text)
        assert "Red Seven" not in answer.text


@pytest.fixture
def dates(workshop, names):
    """Every date of every form, as (address, field, type)."""
    reader = Dates()
    for path in PAGES.values():
        if "{" not in path:
            reader.feed(workshop.get(path).text)
    return {one for one in reader.found if one[0] not in {"/sign-in", "/sign-out"}}


def test_absurd_dates_are_refused_in_every_field_and_change_nothing(workshop, names, dates, database):
    """Days that no calendar has, and days before the first and after the last that a record can have."""
    routes = [(route, compile_path(route)[0]) for route in FORMS]
    token = token_in(workshop.get("/password").text)
    forms = {
        (next(route for route, pattern in routes if pattern.fullmatch(action)), field, kind)
        for action, field, kind in dates
    }
    assert len({route for route, _, _ in forms}) >= 7
    before = rows(database)
    for route, field, kind in sorted(forms):
        path, fields = FORMS[route]
        fields = fields | DATED.get(route, {})
        for day in ABSURD:
            typed = fields | {field: f"{day}T06:00" if kind == "datetime-local" else day, "form_token": token}
            answer = workshop.send(path.format(**names), typed | {"form_id": f"{field}{day}"[:30]})
            assert answer.status_code == 422, (route, field, day, answer.status_code)
            assert re.search(r'aria-invalid="true"|role="alert"', answer.text), (route, field, day)
    assert rows(database) == before
