"""A chart on a page."""

from dataclasses import dataclass
from typing import Final

from service.documents.presentation import Presentation
from service.web.catalogue import chart_words
from service.web.charts.models import ChartTable, CoverageChart, LifeUsedChart, OdometerChart, StockChart

TABLE_ROWS: Final = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownChart:
    """A drawing with its table."""

    svg: str
    table: ChartTable


def show_chart(
    chart: OdometerChart | LifeUsedChart | StockChart | CoverageChart, presentation: Presentation
) -> ShownChart:
    """Draw a chart.

    The library that draws takes a second to load, which only a process that draws should spend: commands, workers and
    the first start of a server do without.
    """
    from service.web.charts.drawing import draw

    svg, table = draw(chart, presentation, chart_words())
    rows = table.rows[:TABLE_ROWS]
    return ShownChart(svg=svg, table=ChartTable(caption=table.caption, headings=table.headings, rows=rows))
