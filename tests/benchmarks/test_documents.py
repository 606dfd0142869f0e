"""How long documents and charts take: a list of 500 lines in each format, a job sheet, a chart of a long history.

Every round gets other texts, since the typesetter remembers what it has set before.
"""

from collections.abc import Callable
from itertools import count

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from service.documents.calendar_file import due_list_calendar
from service.documents.due_list import due_list_csv, due_list_pdf, due_list_xlsx
from service.documents.job_sheet import job_sheet_pdf
from service.documents.models import DueList
from service.documents.presentation import Presentation
from service.web.charts.odometer import odometer_svg
from tests.documents.factories import due_line, due_list, job_sheet
from tests.web.charts.factories import odometer_chart

pytestmark = pytest.mark.bench

PRESENTATION = Presentation()
ROUND = count()


def _fresh(name: str) -> tuple[tuple[DueList, Presentation], dict[str, object]]:
    turn = next(ROUND)
    lines = tuple(
        due_line(i, vehicle=f"{name}-{turn}-{i}", reason=f"{turn} km of {i} km driven.") for i in range(500)
    )
    return (due_list(lines), PRESENTATION), {}


@pytest.mark.parametrize("write", [due_list_csv, due_list_xlsx, due_list_calendar, due_list_pdf])
def test_list_of_500_lines(benchmark: BenchmarkFixture, write: Callable[..., bytes]) -> None:
    assert benchmark.pedantic(write, setup=lambda: _fresh("VAN"), rounds=5)


def test_list_of_500_names_that_no_font_here_may_have(benchmark: BenchmarkFixture) -> None:
    assert benchmark.pedantic(due_list_pdf, setup=lambda: _fresh("卡车"), rounds=5)


def test_job_sheet(benchmark: BenchmarkFixture) -> None:
    assert benchmark.pedantic(job_sheet_pdf, args=(job_sheet(), PRESENTATION), rounds=5, warmup_rounds=1)


def test_odometer_of_10_000_readings(benchmark: BenchmarkFixture) -> None:
    chart = odometer_chart(10_000)
    assert benchmark.pedantic(odometer_svg, args=(chart, PRESENTATION), rounds=5, warmup_rounds=1)
