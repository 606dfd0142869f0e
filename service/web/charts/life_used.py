"""Life used of one compartment: a sawtooth that each service cuts down, its limit and where it is going."""

from collections.abc import Mapping
from functools import lru_cache
from typing import Any, Final

from service.documents.presentation import Presentation
from service.domain.plausibility import LIFE_USED
from service.web.charts import theme
from service.web.charts.labels import ENGLISH
from service.web.charts.models import ChartTable, LifeUsedChart
from service.web.charts.svg import Layout, Naming, accessible_svg, compiled
from service.web.charts.thinning import thinned_indices

_MAX_POINTS: Final = 120
_HIGHEST_DRAWN: Final = LIFE_USED.maximum
"""Forecasts go no further, so the course does not either; the table below the chart has the figure."""

_MAX_MARKS: Final = 30
"""Only the latest services and samples carry a mark; the table below the chart has all."""


def life_used_svg(
    chart: LifeUsedChart, presentation: Presentation, words: Mapping[str, str] = ENGLISH
) -> str:
    """Draw the course as a line, services as upright marks, samples as squares with their range, and the limit."""
    key = (
        ("┅", words["most_likely"]),
        ("▒", words["range"]),
        ("▲", words["service"]),
        ("■", words["sample"]),
    )
    limit = f"{words['limit']} {presentation.percent(chart.limit_fraction)}"
    rows = {
        "fan": theme.fan_rows(chart.projection, float),
        "history": _history_rows(chart),
        "services": _service_rows(chart),
        "samples": _sample_rows(chart),
        **theme.limit_rows([(chart.limit_fraction, limit)], 1.0),
        "today": theme.today_rows(chart.today, words["today"]),
    }
    title = words["life_title"].format(compartment=chart.compartment, vehicle=chart.vehicle)
    naming = Naming(chart.chart_id, title, _description(chart, presentation, words))
    return accessible_svg(_layout(words["life_used"], key), rows, naming, presentation)


def life_used_table(
    chart: LifeUsedChart, presentation: Presentation, words: Mapping[str, str] = ENGLISH
) -> ChartTable:
    """List services, samples, the latest estimate and the projection by date, latest first."""
    percent = presentation.percent
    rows = [(mark.on, words["service"], "", mark.label, "") for mark in chart.services]
    rows += [
        (
            mark.on,
            " ".join(filter(None, (words["sample"], mark.label))),
            percent(mark.low_fraction),
            percent(mark.life_used_fraction),
            percent(mark.high_fraction),
        )
        for mark in chart.samples
    ]
    if chart.history:
        last = max(chart.history, key=lambda point: point.at)
        rows.append((last.at.date(), words["life_used"], "", percent(last.life_used_fraction), ""))
    rows += [
        (point.on, words["forecast"], percent(point.p10), percent(point.p50), percent(point.p90))
        for point in chart.projection
    ]
    rows.sort(key=lambda row: row[0], reverse=True)
    return ChartTable(
        caption=words["life_title"].format(compartment=chart.compartment, vehicle=chart.vehicle),
        headings=(words["date"], words["kind"], words["low"], words["middle"], words["high"]),
        rows=tuple((presentation.day(row[0]), *row[1:]) for row in rows),
    )


@lru_cache(maxsize=32)
def _layout(y_title: str, key: theme.Key) -> Layout:
    samples = theme.marks_of("samples").encode(x=theme.time_axis())
    square: dict[str, Any] = {
        "shape": "square",
        "fill": theme.PAPER,
        "stroke": theme.MARK,
        "strokeWidth": 2,
        "size": 55,
        "opacity": 1,
    }
    layers = [
        *theme.fan_layers(theme.percent_axis(y_title, "low:Q")),
        theme.marks_of("history")
        .mark_line(color=theme.MAIN, strokeWidth=2)
        .encode(x=theme.time_axis(), y="y:Q", order="order:Q"),
        theme.marks_of("services")
        .mark_point(shape="triangle-up", color=theme.MARK, filled=True, size=80, opacity=1, yOffset=-5)
        .encode(x=theme.time_axis(), y="y:Q"),
        samples.mark_rule(color=theme.MARK, strokeWidth=1.5).encode(y="low:Q", y2="high:Q"),
        samples.mark_point(**square).encode(y="y:Q"),
        *theme.limit_layers(),
        *theme.today_layers(),
    ]
    return compiled(layers, key)


def _history_rows(chart: LifeUsedChart) -> theme.Rows:
    points = [
        (theme.milliseconds(point.at), min(point.life_used_fraction, _HIGHEST_DRAWN))
        for point in chart.history
    ]
    return [{"t": points[i][0], "y": points[i][1], "order": i} for i in thinned_indices(points, _MAX_POINTS)]


def _service_rows(chart: LifeUsedChart) -> theme.Rows:
    latest = sorted(chart.services, key=lambda mark: mark.on)[-_MAX_MARKS:]
    return [{"t": theme.milliseconds(mark.on), "y": 0.0} for mark in latest]


def _sample_rows(chart: LifeUsedChart) -> theme.Rows:
    latest = sorted(chart.samples, key=lambda mark: mark.on)[-_MAX_MARKS:]
    return [
        {
            "t": theme.milliseconds(mark.on),
            "y": mark.life_used_fraction,
            "low": mark.low_fraction,
            "high": mark.high_fraction,
        }
        for mark in latest
    ]


def _description(chart: LifeUsedChart, presentation: Presentation, words: Mapping[str, str]) -> str:
    sentences = []
    if chart.history:
        last = max(chart.history, key=lambda point: point.at)
        sentences.append(
            words["life_now"].format(
                life=presentation.percent(last.life_used_fraction),
                date=presentation.day(last.at.date()),
                limit=presentation.percent(chart.limit_fraction),
            )
        )
    sentences.append(words["life_services"].format(n=len(chart.services), m=len(chart.samples)))
    if chart.projection:
        reached = [point.on for point in chart.projection if point.p50 >= chart.limit_fraction]
        key = "life_reached" if reached else "life_not_reached"
        day = min(reached) if reached else chart.projection[-1].on
        sentences.append(words[key].format(date=presentation.day(day)))
    return " ".join(sentences)
