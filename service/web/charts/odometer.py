"""The odometer of a vehicle: what was read, and the fan of where it is going."""

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any, Final

import altair as alt

from service.documents.presentation import Presentation
from service.web.charts import theme
from service.web.charts.labels import ENGLISH
from service.web.charts.models import ChartTable, DistanceLimit, OdometerChart, OdometerReading
from service.web.charts.svg import Layout, Naming, accessible_svg, compiled
from service.web.charts.thinning import thinned_indices

_MAX_READINGS: Final = 90
_MAX_HELD: Final = 30
_LEAST_ROOM_KM: Final = 1000.0


def odometer_svg(chart: OdometerChart, presentation: Presentation, words: Mapping[str, str] = ENGLISH) -> str:
    """Draw believed readings as a line with dots, held ones as crosses, the fan, and the limits with due dates."""
    key = (
        ("●", words["reading"]),
        ("✕", words["held"]),
        ("┅", words["most_likely"]),
        ("▒", words["range"]),
        ("◆", words["due"]),
    )
    rows = {
        "fan": theme.fan_rows(chart.fan, presentation.distance_value),
        **_reading_rows(chart, presentation),
        **_limit_rows(chart, presentation),
        "today": theme.today_rows(chart.today, words["today"]),
    }
    title = words["odometer_title"].format(vehicle=chart.vehicle)
    naming = Naming(chart.chart_id, title, _description(chart, presentation, words))
    return accessible_svg(
        _layout(f"{words['odometer']} [{presentation.distance_unit}]", key), rows, naming, presentation
    )


def odometer_table(
    chart: OdometerChart, presentation: Presentation, words: Mapping[str, str] = ENGLISH
) -> ChartTable:
    """List every reading and the forecast, newest first, as the chart shows them."""
    readings = sorted(chart.readings, key=lambda reading: reading.taken_at, reverse=True)
    rows = [
        (
            presentation.day(reading.taken_at.date()),
            words["held"] if reading.is_held else words["reading"],
            "",
            presentation.distance(reading.odometer_km),
            "",
        )
        for reading in readings
    ]
    forecasts = [
        (
            presentation.day(point.on),
            words["forecast"],
            presentation.distance(point.p10),
            presentation.distance(point.p50),
            presentation.distance(point.p90),
        )
        for point in reversed(chart.fan)
    ]
    return ChartTable(
        caption=words["odometer_title"].format(vehicle=chart.vehicle),
        headings=(words["date"], words["kind"], words["low"], words["middle"], words["high"]),
        rows=(*forecasts, *rows),
    )


@lru_cache(maxsize=32)
def _layout(y_title: str, key: theme.Key) -> Layout:
    believed = theme.marks_of("believed").encode(x=theme.time_axis(), y="y:Q")
    held = theme.marks_of("held").encode(x=theme.time_axis(), y="y:Q")
    due = theme.marks_of("due").encode(y="y:Q")
    layers = [
        *theme.fan_layers(theme.value_axis(y_title, ",.0f", "low:Q")),
        believed.mark_line(color=theme.MAIN, strokeWidth=2),
        believed.mark_point(color=theme.MAIN, filled=True, size=14, opacity=1),
        held.mark_point(shape="cross", color=theme.LIMIT, filled=True, size=70, angle=45, opacity=1),
        *theme.limit_layers(),
        due.mark_rule(color=theme.LIMIT, strokeWidth=7, opacity=0.45).encode(x=alt.X("early:T"), x2="late:T"),
        due.mark_point(shape="diamond", color=theme.LIMIT, filled=True, size=90, opacity=1).encode(
            x=theme.time_axis()
        ),
        *theme.today_layers(),
    ]
    return compiled(layers, key)


def _reading_rows(chart: OdometerChart, presentation: Presentation) -> dict[str, theme.Rows]:
    ordered = sorted(chart.readings, key=lambda reading: reading.taken_at)
    believed = [_reading_row(reading, presentation) for reading in ordered if not reading.is_held]
    kept = thinned_indices([(row["t"], row["y"]) for row in believed], _MAX_READINGS)
    near = _near(chart)
    held = [
        _reading_row(reading, presentation)
        for reading in ordered
        if reading.is_held and near(reading.odometer_km)
    ]
    return {"believed": [believed[index] for index in kept], "held": held[-_MAX_HELD:]}


def _reading_row(reading: OdometerReading, presentation: Presentation) -> dict[str, Any]:
    return {
        "t": theme.milliseconds(reading.taken_at),
        "y": round(presentation.distance_value(reading.odometer_km), 1),
    }


def _limit_rows(chart: OdometerChart, presentation: Presentation) -> dict[str, theme.Rows]:
    near = _near(chart)
    limits = [one for one in chart.limits if near(one.odometer_km)]
    named = [(presentation.distance_value(one.odometer_km), _name(one, presentation)) for one in limits]
    heights = [presentation.distance_value(reading.odometer_km) for reading in chart.readings]
    heights += [height for height, _ in named]
    span = max(heights, default=0.0) - min(heights, default=0.0)
    due = [_due_row(limit, presentation) for limit in limits if limit.due_p50_on is not None]
    return {**theme.limit_rows(named, span), "due": due}


def _near(chart: OdometerChart) -> Callable[[float], bool]:
    """Say what is near enough to the course to be drawn beside it.

    A mistyped digit or a distant limit would press the course flat, and stands in the tables.
    """
    course = [reading.odometer_km for reading in chart.readings if not reading.is_held]
    course += [height for point in chart.fan for height in (point.p10, point.p90)]
    if not course:
        return lambda _: True
    low, high = min(course), max(course)
    room = max(high - low, _LEAST_ROOM_KM)
    return lambda km: low - room <= km <= high + room


def _name(limit: DistanceLimit, presentation: Presentation) -> str:
    return f"{limit.label} {presentation.distance(limit.odometer_km)}"


def _due_row(limit: DistanceLimit, presentation: Presentation) -> dict[str, Any]:
    middle = limit.due_p50_on or limit.due_p10_on
    assert middle is not None  # noqa: S101 - only limits with a date are asked for
    return {
        "y": presentation.distance_value(limit.odometer_km),
        "t": theme.milliseconds(middle),
        "early": theme.milliseconds(limit.due_p10_on or middle),
        "late": theme.milliseconds(limit.due_p90_on or middle),
    }


def _description(chart: OdometerChart, presentation: Presentation, words: Mapping[str, str]) -> str:
    believed = [reading for reading in chart.readings if not reading.is_held]
    sentences = [words["no_readings"]]
    if believed:
        last = max(believed, key=lambda reading: reading.taken_at)
        shown = presentation.distance(last.odometer_km)
        sentences = [
            words["odometer_last"].format(odometer=shown, date=presentation.day(last.taken_at.date()))
        ]
    n_held = len(chart.readings) - len(believed)
    if n_held:
        sentences.append(words["odometer_held"].format(n=n_held))
    sentences.extend(_due_sentence(limit, presentation, words) for limit in chart.limits if limit.due_p50_on)
    return " ".join(sentences)


def _due_sentence(limit: DistanceLimit, presentation: Presentation, words: Mapping[str, str]) -> str:
    span = ""
    if limit.due_p10_on and limit.due_p90_on:
        early, late = presentation.day(limit.due_p10_on), presentation.day(limit.due_p90_on)
        span = words["between"].format(early=early, late=late)
    shown = presentation.distance(limit.odometer_km)
    return words["odometer_due"].format(
        label=limit.label, odometer=shown, date=presentation.day(limit.due_p50_on), range=span
    )
