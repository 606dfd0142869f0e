"""Every fixed word of the documents and charts comes from a catalogue, so that it can be translated."""

import re
from pathlib import Path

import pytest

from service.documents.due_list import due_list_pdf
from service.documents.job_sheet import job_sheet_pdf
from service.documents.labels import ENGLISH
from service.documents.presentation import Presentation
from service.web.charts.labels import ENGLISH as CHART_ENGLISH
from tests.documents.factories import due_list, job_sheet
from tests.documents.pdf_reading import full_text

ROOT = Path(__file__).parents[2] / "service"
TEMPLATES = sorted((ROOT / "documents/templates").glob("*.typ"))


def _source(*patterns: str) -> str:
    return "\n".join(
        p.read_text()
        for pattern in patterns
        for p in ROOT.glob(pattern)
        if p.suffix in {".py", ".typ"} and p.stem != "labels"
    )


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: path.stem)
def test_layouts_ask_only_for_words_that_exist(template: Path) -> None:
    assert set(re.findall(r"\bwords\.(\w+)", template.read_text())) <= set(ENGLISH)


@pytest.mark.parametrize(
    ("patterns", "catalogue"),
    [(("documents/**/*.*", "usecases/*/render_*.py"), ENGLISH), (("web/charts/**/*.*",), CHART_ENGLISH)],
    ids=["documents", "charts"],
)
def test_no_word_of_a_catalogue_is_dead(patterns: tuple[str, ...], catalogue: dict[str, str]) -> None:
    source = _source(*patterns)
    by_value = {"new", "carried over", "moved", "state_open", "state_done", "state_dropped"}
    by_value |= {f"weekday_{n}" for n in range(1, 8)}
    unused = {key for key in catalogue if not re.search(rf"[\"'.]{re.escape(key)}\b", source)} - by_value
    assert unused == set()


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: path.stem)
def test_layouts_hold_no_words_of_their_own(template: Path) -> None:
    """Between square brackets, where a layout writes text, stand values and signs only."""
    text = re.sub(r"//.*|\"[^\"]*\"", "", template.read_text())
    written = [part for part in re.findall(r"\[([^\[\]#]*)\]", text) if re.search(r"[A-Za-z]{3,}", part)]
    assert written == []


def test_another_catalogue_changes_the_words_on_paper() -> None:
    other = Presentation(language="ru", labels={key: f"Ж{value}" for key, value in ENGLISH.items()})
    text = full_text(due_list_pdf(due_list(), other))
    for word in ("ЖDue list", "ЖMonday", "ЖTake off the shelf", "ЖPage 1", "Жnew", "ЖCaution"):
        assert word in text
    assert "ЖLevel check" in full_text(job_sheet_pdf(job_sheet(), other))
