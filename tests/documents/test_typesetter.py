"""The typesetter under strange input and long use."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.documents.due_list import due_list_pdf
from service.documents.job_sheet import job_sheet_pdf
from service.documents.pdf import render_pdf
from service.documents.presentation import Presentation
from service.errors import EngineError
from tests.documents.factories import due_line, due_list, job_compartment, job_sheet
from tests.documents.pdf_reading import claims_pdf_ua

ANY_TEXT = st.text(alphabet=st.characters(exclude_categories=()), max_size=60)
PRESENTATION = Presentation()


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(texts=st.lists(ANY_TEXT, min_size=6, max_size=6))
def test_any_text_gives_an_accessible_document(texts: list[str]) -> None:
    vehicle, fluid, reason, caution, depot, note = texts
    line = due_line(vehicle=vehicle, fluid=fluid, reason=reason, caution=caution, depot=depot)
    assert claims_pdf_ua(due_list_pdf(due_list((line,), organisation=vehicle, notes=(note,)), PRESENTATION))
    part = job_compartment(fluid=fluid, reason=reason, maker_notes=note)
    sheet = job_sheet(vehicle=vehicle, facts=((depot, note),), cautions=(caution,), compartments=(part,))
    assert claims_pdf_ua(job_sheet_pdf(sheet, PRESENTATION))


def test_long_use_does_not_fill_the_memory() -> None:
    """Without letting go, twelve lists of 150 lines leave about 300 MB behind (measured)."""

    def resident_megabytes() -> float:
        return int(Path("/proc/self/statm").read_text().split()[1]) * 4096 / 1e6

    due_list_pdf(due_list(tuple(due_line(i) for i in range(150))), PRESENTATION)
    before = resident_megabytes()
    for turn in range(12):
        lines = tuple(due_line(i, reason=f"Reason {turn} of line {i}.") for i in range(150))
        due_list_pdf(due_list(lines), PRESENTATION)
    assert resident_megabytes() - before < 100


def test_a_layout_that_fails_is_our_error_and_names_no_path() -> None:
    with pytest.raises(EngineError) as failure:
        render_pdf("due_list", {"title": "incomplete"})
    assert "/" not in failure.value.detail
