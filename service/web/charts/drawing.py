"""Every kind of chart as a drawing and a table. Importing this loads the drawing library."""

from collections.abc import Mapping
from functools import singledispatch

from service.documents.presentation import Presentation
from service.web.charts.accuracy import coverage_svg, coverage_table
from service.web.charts.life_used import life_used_svg, life_used_table
from service.web.charts.models import ChartTable, CoverageChart, LifeUsedChart, OdometerChart, StockChart
from service.web.charts.odometer import odometer_svg, odometer_table
from service.web.charts.stock import stock_svg, stock_table

Drawn = tuple[str, ChartTable]


@singledispatch
def draw(chart: object, presentation: Presentation, words: Mapping[str, str]) -> Drawn:
    """Draw a chart and list what it shows."""
    raise TypeError(f"{type(chart)} is no chart.")


@draw.register
def _(chart: OdometerChart, presentation: Presentation, words: Mapping[str, str]) -> Drawn:
    return odometer_svg(chart, presentation, words), odometer_table(chart, presentation, words)


@draw.register
def _(chart: LifeUsedChart, presentation: Presentation, words: Mapping[str, str]) -> Drawn:
    return life_used_svg(chart, presentation, words), life_used_table(chart, presentation, words)


@draw.register
def _(chart: StockChart, presentation: Presentation, words: Mapping[str, str]) -> Drawn:
    return stock_svg(chart, presentation, words), stock_table(chart, presentation, words)


@draw.register
def _(chart: CoverageChart, presentation: Presentation, words: Mapping[str, str]) -> Drawn:
    return coverage_svg(chart, presentation, words), coverage_table(chart, presentation, words)
