"""One look for all charts: colours by name with a fallback for paper, type sizes, axes."""

import math
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, time
from itertools import pairwise
from typing import Any, Final

import altair as alt

from service.documents.presentation import Presentation
from service.web.charts.models import FanPoint
from service.web.charts.thinning import thinned_indices

WIDTH: Final = 420
HEIGHT: Final = 280
"""In CSS pixels; the style sheet lets a chart shrink to a phone and grow no wider than it stays legible."""

INK: Final = "var(--chart-ink,#1d2429)"
QUIET: Final = "var(--chart-quiet,#5a666e)"
GRID: Final = "var(--chart-grid,#dfe4e7)"
MAIN: Final = "var(--chart-main,#1f5f8b)"
BAND: Final = "var(--chart-band,#7fa9c6)"
LIMIT: Final = "var(--chart-limit,#9c3d1f)"
MARK: Final = "var(--chart-mark,#6b5a10)"
PAPER: Final = "var(--chart-paper,#ffffff)"

Key = tuple[tuple[str, str], ...]
"""Signs and what they mean."""

Rows = list[dict[str, Any]]

FONT_SIZE: Final = 13
_FONT: Final = "system-ui, sans-serif"
_MIN_Y_AXIS: Final = 52
_MAX_FAN_POINTS: Final = 40
_KEY_CHARACTERS: Final = 54
"""About as many as fit the width in the size of the key."""
_NAME_HEIGHT: Final = 0.12
"""Height of a name as a share of what is drawn, with room for the axis to round its ends."""

PER_CENT: Final = "format(100 * datum.value, '.0f') + '\u202f%'"
"""How an axis writes a fraction."""


def milliseconds(moment: date | datetime) -> float:
    """Place a day or moment on the time axis: milliseconds since 1970 in UTC."""
    if not isinstance(moment, datetime):
        moment = datetime.combine(moment, time(), tzinfo=UTC)
    return moment.timestamp() * 1000.0


def marks_of(name: str) -> alt.Chart:
    """Start a layer whose rows come under this name when the chart is drawn."""
    return alt.Chart(alt.NamedData(name=name))


def time_axis(title: str | None = None) -> alt.X:
    """Return a time axis in ISO months, which need no translation and no time zone."""
    return alt.X(
        "t:T",
        title=title,
        scale=alt.Scale(type="utc", nice=False, padding=4),
        axis=alt.Axis(format="%Y-%m", labelOverlap="greedy", labelSeparation=8, tickCount=5, grid=False),
    )


def percent_axis(title: str, field: str) -> alt.Y:
    """Return a vertical axis from zero that shows fractions as per cent."""
    axis = value_axis(title, ".0f", field, from_zero=True)
    axis["axis"]["labelExpr"] = PER_CENT
    return axis


def value_axis(title: str, number_format: str, field: str = "y:Q", *, from_zero: bool = False) -> alt.Y:
    """Return a vertical axis with room between its title and its numbers."""
    return alt.Y(
        field,
        title=title,
        scale=alt.Scale(zero=from_zero, nice=True),
        axis=alt.Axis(
            format=number_format, tickCount=5, titlePadding=10, minExtent=_MIN_Y_AXIS, labelOverlap="greedy"
        ),
    )


def today_layers() -> list[alt.Chart]:
    """Mark today by a dotted upright line with its name at the foot; rows: `today`."""
    base = marks_of("today").encode(x=time_axis())
    rule = base.mark_rule(color=QUIET, strokeDash=[2, 3])
    name = base.mark_text(color=QUIET, align="left", baseline="bottom", dx=4, fontSize=FONT_SIZE)
    return [rule, name.encode(y=alt.value("height"), text="label:N")]


def today_rows(today: date, word: str) -> Rows:
    """Give the one row of `today`."""
    return [{"t": milliseconds(today), "label": word}]


def fan_layers(y: alt.Y) -> list[alt.Chart]:
    """Draw a forecast as a band of 8 in 10 cases with the most likely course as a broken line; rows: `fan`."""
    base = marks_of("fan").encode(x=time_axis())
    return [
        base.mark_area(color=BAND, opacity=0.45).encode(y=y, y2="high:Q"),
        base.mark_line(color=MAIN, strokeDash=[6, 4], strokeWidth=2).encode(y="y:Q"),
    ]


def fan_rows(points: Sequence[FanPoint], in_unit: Callable[[float], float]) -> Rows:
    """Give the rows of `fan`, thinned, in the unit that is shown."""
    kept = thinned_indices([(milliseconds(point.on), point.p90) for point in points], _MAX_FAN_POINTS)
    return [
        {
            "t": milliseconds(points[index].on),
            "low": in_unit(points[index].p10),
            "y": in_unit(points[index].p50),
            "high": in_unit(points[index].p90),
        }
        for index in kept
    ]


def limit_layers() -> list[alt.Chart]:
    """Draw limits as lines from side to side with their names above; rows: `limits` and `names`.

    The style sheet paints the paper around a name before the name, so that lines pass behind it.
    """
    names = marks_of("names").mark_text(
        color=INK,
        stroke=PAPER,
        strokeWidth=3,
        align="left",
        baseline="bottom",
        dx=4,
        dy=-3,
        fontSize=FONT_SIZE,
    )
    return [
        marks_of("limits").mark_rule(color=LIMIT, strokeWidth=1.5).encode(y="y:Q"),
        names.encode(y="y:Q", x=alt.value(0), text="label:N"),
    ]


def limit_rows(limits: Sequence[tuple[float, str]], span: float) -> dict[str, Rows]:
    """Give the rows of limits and of their names, placed so that no line runs through a name and no two names meet.

    A name stands above its line; where the next line is too near, below it; where that is taken too, it goes up onto
    the names above the next line that has room. `span` is about what the vertical axis spans.
    """
    height = _NAME_HEIGHT * span
    names: Rows = []
    waiting: list[str] = []
    ordered = sorted(limits)
    taken = -math.inf
    for (y, label), (following, _) in pairwise([*ordered, (math.inf, "")]):
        if following - y >= height * (1 + len(waiting)):
            names.extend({"y": y + height * n, "label": one} for n, one in enumerate([label, *waiting]))
            taken, waiting = y + height * (1 + len(waiting)), []
            continue
        if y - height >= taken:
            names.append({"y": y - height, "label": label})
        else:
            waiting.append(label)
        taken = y
    return {"limits": [{"y": y} for y, _ in limits], "names": names}


def _key_lines(key: Key) -> list[str]:
    """Write sign and meaning one after the other, broken into lines that fit the width."""
    lines: list[str] = []
    for sign, meaning in key:
        entry = f"{sign}\u00a0{meaning}"
        if lines and len(lines[-1]) + len(entry) < _KEY_CHARACTERS:
            lines[-1] += f"\u2003{entry}"
        else:
            lines.append(entry)
    return lines


def dressed(layers: Sequence[alt.Chart], key: Key, *, height: int = HEIGHT) -> dict[str, Any]:
    """Lay the marks over each other, give them size, fonts and a key, and return the specification."""
    finished = (
        alt.layer(*layers)
        .properties(
            width=WIDTH,
            height=height,
            autosize=alt.AutoSizeParams(type="fit", contains="padding"),
            title=alt.TitleParams(
                text=_key_lines(key),
                anchor="start",
                frame="bounds",
                color=INK,
                fontSize=12,
                fontWeight="normal",
                offset=8,
            ),
        )
        .configure(aria=False, background="transparent", font=_FONT, padding=6)
        .configure_view(stroke=None)
        .configure_axis(
            labelColor=INK,
            titleColor=INK,
            gridColor=GRID,
            domainColor=QUIET,
            tickColor=QUIET,
            labelFontSize=FONT_SIZE,
            titleFontSize=FONT_SIZE,
            titleFontWeight="normal",
        )
    )
    specification: dict[str, Any] = finished.to_dict()
    return specification


def number_locale(presentation: Presentation) -> dict[str, Any]:
    """Describe the organisation's number style to the renderer."""
    return {
        "decimal": presentation.decimal_mark,
        "thousands": "\u202f",
        "grouping": [3],
        "currency": ["", ""],
    }
