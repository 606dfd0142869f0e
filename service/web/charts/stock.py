"""The stock of one fluid week by week: what is likely to be on the shelf, what comes in, by when to order."""

from collections.abc import Mapping
from functools import lru_cache
from typing import Any, Final

import altair as alt

from service.documents.presentation import Presentation
from service.web.charts import theme
from service.web.charts.labels import ENGLISH
from service.web.charts.models import ChartTable, StockChart, StockWeek
from service.web.charts.svg import Layout, Naming, accessible_svg, compiled

_MAX_WEEKS: Final = 53
_WEEK_LABEL: Final = (
    "datum.index === 0 || slice(datum.value, -3) === 'W01'"
    " ? [slice(datum.value, 5), slice(datum.value, 0, 4)] : slice(datum.value, 5)"
)
"""The year stands below, and only where it begins."""

_NUMBERS: Final = ",f"
"""As many decimals as tell the axis' steps apart, for a few decilitres as for a drum."""


def stock_svg(chart: StockChart, presentation: Presentation, words: Mapping[str, str] = ENGLISH) -> str:
    """Draw the likely stock as a stepped line in its band; receipts, order-by weeks and shortages have own marks."""
    key = (
        ("━", words["most_likely"]),
        ("▒", words["range"]),
        ("▲", words["receipt"]),
        ("◆", words["order_by"]),
        ("✕", words["running_out"]),
    )
    weeks = chart.weeks[:_MAX_WEEKS]
    rows = {
        "zero": [{"y": 0.0}],
        "weeks": [_row(week, presentation) for week in weeks],
        "receipts": [_row(week, presentation) for week in weeks if week.receipt_litres > 0],
        "orders": [_row(week, presentation) for week in weeks if week.is_order_by],
        "shortages": [_row(week, presentation) for week in weeks if week.is_running_out],
    }
    title = words["stock_title"].format(fluid=chart.fluid)
    naming = Naming(chart.chart_id, title, _description(chart, presentation, words))
    return accessible_svg(
        _layout(f"{words['stock']} [{presentation.volume_unit}]", key), rows, naming, presentation
    )


def stock_table(
    chart: StockChart, presentation: Presentation, words: Mapping[str, str] = ENGLISH
) -> ChartTable:
    """List every week with its band, receipts, order-by mark and chance of running out."""
    return ChartTable(
        caption=words["stock_title"].format(fluid=chart.fluid),
        headings=(
            words["week"],
            words["low"],
            words["middle"],
            words["high"],
            words["receipt"].capitalize(),
            words["order_by"].capitalize(),
            words["run_out_probability"],
        ),
        rows=tuple(_table_row(week, presentation, words) for week in chart.weeks),
    )


def _table_row(week: StockWeek, presentation: Presentation, words: Mapping[str, str]) -> tuple[str, ...]:
    chance = presentation.chance(week.run_out_probability)
    return (
        week.iso_week,
        presentation.volume(week.p10_litres),
        presentation.volume(week.p50_litres),
        presentation.volume(week.p90_litres),
        presentation.volume(week.receipt_litres) if week.receipt_litres else "",
        words["yes"] if week.is_order_by else "",
        f"{chance}, {words['running_out']}" if week.is_running_out else chance,
    )


def _row(week: StockWeek, presentation: Presentation) -> dict[str, Any]:
    return {
        "week": week.iso_week,
        "low": round(presentation.volume_value(week.p10_litres), 2),
        "y": round(presentation.volume_value(week.p50_litres), 2),
        "high": round(presentation.volume_value(week.p90_litres), 2),
    }


@lru_cache(maxsize=32)
def _layout(y_title: str, key: theme.Key) -> Layout:
    x = alt.X(
        "week:O",
        title=None,
        sort=None,
        scale=alt.Scale(paddingInner=0, paddingOuter=0.3),
        axis=alt.Axis(
            labelExpr=_WEEK_LABEL, labelAngle=0, labelOverlap="greedy", labelSeparation=6, grid=False
        ),
    )
    weeks = theme.marks_of("weeks").encode(x=x)
    band = theme.value_axis(y_title, _NUMBERS, "low:Q", from_zero=True)
    sign: dict[str, Any] = {"filled": True, "size": 90, "opacity": 1}
    layers = [
        weeks.mark_bar(color=theme.BAND, opacity=0.45).encode(y=band, y2="high:Q"),
        weeks.mark_bar(fill=theme.MAIN, stroke=theme.MAIN, strokeWidth=3).encode(y="y:Q", y2="y"),
        theme.marks_of("zero").mark_rule(color=theme.QUIET).encode(y="y:Q"),
        theme.marks_of("receipts")
        .mark_point(shape="triangle-up", color=theme.MAIN, yOffset=-10, **sign)
        .encode(x=x, y="high:Q"),
        theme.marks_of("orders")
        .mark_point(shape="diamond", color=theme.MARK, **sign)
        .encode(x=x, y=alt.value(6)),
        theme.marks_of("shortages")
        .mark_point(shape="cross", color=theme.LIMIT, angle=45, **sign)
        .encode(x=x, y=alt.datum(0)),
    ]
    return compiled(layers, key)


def _description(chart: StockChart, presentation: Presentation, words: Mapping[str, str]) -> str:
    if not chart.weeks:
        return words["stock_enough"]
    first, last = chart.weeks[0], chart.weeks[-1]
    short = [week.iso_week for week in chart.weeks if week.is_running_out]
    outlook = words["stock_short"].format(weeks=", ".join(short)) if short else words["stock_enough"]
    span = words["stock_span"].format(
        first=first.iso_week,
        last=last.iso_week,
        start=presentation.volume(first.p50_litres),
        end=presentation.volume(last.p50_litres),
    )
    return f"{span} {outlook}"
