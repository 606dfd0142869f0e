"""How our dates turned out: how often the range held, and where in the range the truth fell."""

from collections.abc import Mapping
from functools import lru_cache
from typing import Final

import altair as alt

from service.documents.presentation import Presentation
from service.web.charts import theme
from service.web.charts.labels import ENGLISH
from service.web.charts.models import ChartTable, CoverageAtHorizon, CoverageChart
from service.web.charts.svg import Layout, Naming, accessible_svg, compiled

_HEIGHT: Final = 260


def coverage_svg(chart: CoverageChart, presentation: Presentation, words: Mapping[str, str] = ENGLISH) -> str:
    """Draw the share that held as a dot with the play of chance as a bar, against the promised share."""
    rows: dict[str, theme.Rows] = {
        "horizons": [
            {
                "x": point.horizon,
                "low": point.low_fraction,
                "y": point.covered_fraction,
                "high": point.high_fraction,
            }
            for point in chart.horizons
        ],
        "promised": [{"y": chart.nominal_fraction}],
    }
    promised = presentation.percent(chart.nominal_fraction)
    key = (("●", words["coverage"]), ("▒", words["chance"]), ("┅", f"{words['promised']} {promised}"))
    description = " ".join(_sentence(point, presentation, words) for point in chart.horizons)
    naming = Naming(chart.chart_id, words["coverage_title"], description)
    return accessible_svg(
        _coverage_layout(words["horizon"], words["coverage"], key), rows, naming, presentation
    )


@lru_cache(maxsize=32)
def _coverage_layout(x_title: str, y_title: str, key: theme.Key) -> Layout:
    axis = alt.Axis(labelExpr="split(datum.label, ' ')", labelAngle=0, grid=False, titlePadding=8)
    base = theme.marks_of("horizons").encode(x=alt.X("x:O", title=x_title, sort=None, axis=axis))
    layers = [
        base.mark_rule(color=theme.BAND, strokeWidth=8).encode(
            y=theme.percent_axis(y_title, "low:Q"), y2="high:Q"
        ),
        base.mark_point(color=theme.MAIN, filled=True, size=80, opacity=1).encode(y="y:Q"),
        _broken_line("promised"),
    ]
    return compiled(layers, key, height=_HEIGHT)


def _broken_line(name: str) -> alt.Chart:
    line = theme.marks_of(name).mark_rule(color=theme.LIMIT, strokeDash=[6, 4], strokeWidth=1.5)
    placed: alt.Chart = line.encode(y="y:Q")
    return placed


def coverage_table(
    chart: CoverageChart, presentation: Presentation, words: Mapping[str, str] = ENGLISH
) -> ChartTable:
    """List every horizon with how many forecasts there were and how many held."""
    percent = presentation.percent
    return ChartTable(
        caption=words["coverage_title"],
        headings=(
            words["horizon"],
            words["n"],
            words["coverage"],
            words["chance"].capitalize(),
            words["promised"].capitalize(),
        ),
        rows=tuple(
            (
                point.horizon,
                presentation.number(point.n_forecasts),
                percent(point.covered_fraction),
                f"{percent(point.low_fraction)} – {percent(point.high_fraction)}",
                percent(chart.nominal_fraction),
            )
            for point in chart.horizons
        ),
    )


def _sentence(point: CoverageAtHorizon, presentation: Presentation, words: Mapping[str, str]) -> str:
    covered = presentation.number(point.covered_fraction * point.n_forecasts)
    n = presentation.number(point.n_forecasts)
    return words["coverage_point"].format(horizon=point.horizon, covered=covered, n=n)
