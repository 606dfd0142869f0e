"""Pages in another language: with every word put into brackets, what stands outside them is not translatable.

This is pseudo-localisation, a common way to find texts that pass a catalogue by (W3C, Internationalization
Techniques: Developing specifications; practice of the trade).
"""

import re
from html import unescape

import pytest

from service.documents import presentation
from service.jobs.weekly_run import run_weekly
from service.web import catalogue
from service.web.sentences import tell_in
from tests.web.page_examples import PAGES, furnish
from tests.web.sentences import templates

DATA = re.compile(
    r"\b(?:olga|Olga Invented|Invented Haulage|Invented VII|VAN|TRUCK|Red Seven|North|South|gearbox|coolant|drain plug "
    r"washer|Box of vans|box|"
    r"person|token|job|node|system|set-up|test|Sun visor|km|mi|US gal|imp gal|en-[A-Z]{2}|[a-z]{2}-[A-Z]{2}|"
    r"read|readings|workshop|stock|planning|admin|W19|EUR|min|KOH|abs)\b"
)
"""What people typed, and signs that are the same in every language."""


NOT_SIGNED_IN = {"driver", "no-page", "sign-in", "sign-in-link"}
"""Pages for nobody in particular, whose head has no person."""


@pytest.fixture
def bracketed(monkeypatch):
    english = {key: f"«{text}»" for key, text in catalogue.ENGLISH.items()}
    sentences = {text: f"«{text}»" for text in templates()}
    monkeypatch.setattr(catalogue, "ENGLISH", english)
    monkeypatch.setattr(catalogue, "SENTENCES", sentences)
    labels = {key: f"«{text}»" for key, text in presentation.ENGLISH.items()}
    monkeypatch.setattr(presentation, "ENGLISH", labels)


def outside(html: str) -> set[str]:
    """Words of two letters and more that no catalogue wrote, without what people typed."""
    body = re.sub(r"<(script|style|svg|head|option)\b.*?</\1>", " ", html, flags=re.DOTALL)
    text = unescape(re.sub(r"<[^>]*>", " ", body))
    while True:
        shorter = re.sub(r"«[^«»]*»", " ", text)
        if shorter == text:
            break
        text = shorter
    return set(re.findall(r"[A-Za-z’']{3,}", DATA.sub(" ", text)))


@pytest.mark.parametrize("name", [name for name in PAGES if name not in NOT_SIGNED_IN])
def test_every_word_of_a_page_can_be_translated(workshop, fleet, database, clock, bracketed, name):
    furnish(workshop.operator)
    assert run_weekly(database, clock.now(), "node") == 1
    workshop.come_in()
    assert outside(workshop.get(PAGES[name]).text) == set()


def test_a_sentence_is_told_by_its_template_and_several_one_after_the_other():
    """A translation may name what varies in another order."""
    translation = {
        "The interval ends in about {0} {1}.": "In etwa {0} {1} endet das Intervall.",
        "Pinned to {0} by {1}.": "{1} hat {0} bestimmt.",
    }
    text = "The interval ends in about 420 km. Pinned to 2026-05-06 by olga."
    assert tell_in(translation, text) == "In etwa 420 km endet das Intervall. olga hat 2026-05-06 bestimmt."
    assert tell_in(translation, "Something else.") == "Something else."
    assert tell_in({}, text) == text
