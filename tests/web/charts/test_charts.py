"""Every chart as a file: well-formed, named, without style or script, small, the same each time.

The form follows SVG 2 section 5.8 (title and desc), WAI-ARIA's `img` role and a content policy without inline style.
"""

import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import pytest

from service.documents.presentation import Presentation
from service.domain.units_of_distance import DistanceUnit
from service.errors import InvalidInputError
from service.web.charts.accuracy import coverage_svg, coverage_table
from service.web.charts.life_used import life_used_svg, life_used_table
from service.web.charts.models import ChartTable, DistanceLimit, ServiceMark
from service.web.charts.odometer import odometer_svg, odometer_table
from service.web.charts.stock import stock_svg, stock_table
from tests.web.charts.factories import coverage_chart, life_used_chart, odometer_chart, stock_chart

SVG = "{http://www.w3.org/2000/svg}"
METRIC = Presentation()
DRAWN: dict[str, Callable[[], str]] = {
    "odometer": lambda: odometer_svg(odometer_chart(), METRIC),
    "life": lambda: life_used_svg(life_used_chart(), METRIC),
    "stock": lambda: stock_svg(stock_chart(), METRIC),
    "coverage": lambda: coverage_svg(coverage_chart(), METRIC),
}
EMPTY: dict[str, Callable[[], str]] = {
    "odometer": lambda: odometer_svg(odometer_chart(readings=(), fan=(), limits=()), METRIC),
    "life": lambda: life_used_svg(
        life_used_chart(history=(), services=(), samples=(), projection=()), METRIC
    ),
    "stock": lambda: stock_svg(stock_chart(weeks=()), METRIC),
    "coverage": lambda: coverage_svg(coverage_chart(horizons=()), METRIC),
}


def _parsed(drawing: str) -> ET.Element:
    return ET.fromstring(drawing)  # noqa: S314  drawn by this test


@pytest.mark.parametrize("name", DRAWN)
def test_chart_is_one_named_and_described_image(name: str) -> None:
    root = _parsed(DRAWN[name]())
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    ids = {element.get("id"): element for element in root.iter() if element.get("id")}
    labels = [ids[reference] for reference in root.get("aria-labelledby", "").split()]
    assert [element.tag for element in labels] == [f"{SVG}title", f"{SVG}desc"]
    assert all(len(element.text or "") > 10 for element in labels)
    assert root[0] is labels[0]


@pytest.mark.parametrize("name", DRAWN)
def test_chart_may_stand_under_a_strict_content_policy(name: str) -> None:
    root = _parsed(DRAWN[name]())
    tags = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert tags <= {"svg", "title", "desc", "g", "path", "line", "text", "tspan", "rect", "defs", "clipPath"}
    attributes = {attribute for element in root.iter() for attribute in element.attrib}
    assert not [a for a in attributes if a == "style" or a.startswith("on") or "href" in a]


@pytest.mark.parametrize("name", DRAWN)
def test_identifiers_are_the_chart_s_own(name: str) -> None:
    """Several charts stand in one page, so no identifier may be shared."""
    root = _parsed(DRAWN[name]())
    ids = [element.get("id", "") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    assert all(i.startswith(f"{name}-") for i in ids)
    used = re.findall(r"url\(#([^)]+)\)", ET.tostring(root, encoding="unicode"))
    assert set(used) <= set(ids)


@pytest.mark.parametrize("name", DRAWN)
def test_every_colour_is_a_variable_with_a_fallback(name: str) -> None:
    root = _parsed(DRAWN[name]())
    colours = {element.get(paint) for element in root.iter() for paint in ("fill", "stroke")} - {None}
    assert all(
        c in ("none", "transparent") or re.fullmatch(r"var\(--chart-\w+,#[0-9a-f]{6}\)", c or "")
        for c in colours
    )


@pytest.mark.parametrize("name", DRAWN)
def test_the_same_values_give_the_same_drawing(name: str) -> None:
    assert DRAWN[name]() == DRAWN[name]()


@pytest.mark.parametrize("name", EMPTY)
def test_a_chart_of_nothing_is_still_a_chart(name: str) -> None:
    root = _parsed(EMPTY[name]())
    assert root.get("role") == "img"
    assert "NaN" not in EMPTY[name]()


def test_long_histories_stay_below_40_kilobytes() -> None:
    services = tuple(ServiceMark(on=date(2020, 1, 1) + timedelta(days=9 * i), label="x") for i in range(200))
    drawings = (
        odometer_svg(odometer_chart(10_000), METRIC),
        life_used_svg(life_used_chart(10_000, services=services), METRIC),
        stock_svg(stock_chart(120), METRIC),
    )
    assert all(len(drawing.encode()) < 40_000 for drawing in drawings)


def _labels(drawing: str) -> list[str]:
    return [text for element in _parsed(drawing).iter(f"{SVG}text") if (text := "".join(element.itertext()))]


def test_a_distant_limit_and_a_mistyped_digit_do_not_press_the_course_flat() -> None:
    """A course of 44,000 km: a limit 300,000 km ahead and a reading of ten times as much are left to the tables."""
    chart = odometer_chart()
    near, far = DistanceLimit(label="near", odometer_km=90_000.0), DistanceLimit(label="far", odometer_km=4e5)
    mistyped = replace(chart.readings[-1], odometer_km=843_000.0)
    drawing = odometer_svg(replace(chart, limits=(near, far), readings=(*chart.readings, mistyped)), METRIC)
    labels = _labels(drawing)
    assert any(label.startswith("near") for label in labels)
    assert not any(label.startswith("far") for label in labels)
    assert not any(re.fullmatch(r"[2-9]00.000", label) for label in labels)
    assert any(
        "843" in cell
        for row in odometer_table(replace(chart, readings=(mistyped,)), METRIC).rows
        for cell in row
    )


def test_a_course_far_beyond_its_limit_ends_where_forecasts_do() -> None:
    chart = life_used_chart()
    late = replace(chart.history[-1], life_used_fraction=8.0)
    drawing = life_used_svg(replace(chart, history=(*chart.history, late), projection=()), METRIC)
    assert not any(re.fullmatch(r"[2-9]00.%", label) for label in _labels(drawing))
    assert any("150" in label for label in _labels(drawing))


def test_held_readings_differ_by_shape_and_not_only_by_colour() -> None:
    with_held = _parsed(DRAWN["odometer"]())
    believed = replace(
        odometer_chart(), readings=tuple(r for r in odometer_chart().readings if not r.is_held)
    )
    without = _parsed(odometer_svg(believed, METRIC))

    def shapes(root: ET.Element) -> set[str]:
        return {re.sub(r"[\d.,-]+", "", path.get("d", "")) for path in root.iter(f"{SVG}path")}

    assert shapes(with_held) - shapes(without)
    assert "2" in (with_held.find(f"{SVG}desc").text or "")  # type: ignore[union-attr]


@pytest.mark.parametrize(
    "name", ['<script>alert(1)</script>"', "a & b", "\x00\x0b", "卡车 😀", "]]>", "\ud800"]
)
def test_any_name_leaves_the_drawing_well_formed(name: str) -> None:
    limits = (DistanceLimit(label=name, odometer_km=90_000.0),)
    horizons = (replace(coverage_chart().horizons[0], horizon=name or "x"),)
    drawings = (
        odometer_svg(odometer_chart(vehicle=name, limits=limits), METRIC),
        coverage_svg(coverage_chart(horizons=horizons), METRIC),
        life_used_svg(life_used_chart(vehicle=name, compartment=name), METRIC),
        stock_svg(stock_chart(fluid=name), METRIC),
    )
    for drawing in drawings:
        drawing.encode("utf-8")
        root = _parsed(drawing)
        assert f"{SVG}script" not in {element.tag for element in root.iter()}


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), float("-inf")])
def test_a_value_that_is_no_number_draws_nothing_and_stops_nothing(bad: float) -> None:
    fan = list(odometer_chart().fan)
    fan[3] = replace(fan[3], p90=bad)
    drawing = odometer_svg(odometer_chart(fan=tuple(fan)), METRIC)
    assert "NaN" not in drawing
    assert "Infinity" not in drawing


@pytest.mark.parametrize("chart_id", ["", "1a", 'x"><script>', "a b", "x" * 65])
def test_an_identifier_that_could_break_the_page_is_refused(chart_id: str) -> None:
    with pytest.raises(InvalidInputError):
        coverage_svg(coverage_chart(chart_id=chart_id), METRIC)


def test_units_follow_the_organisation() -> None:
    miles = Presentation(distance_unit=DistanceUnit.MI, volume_unit="US gal")
    drawing = odometer_svg(odometer_chart(), miles)
    assert "[mi]" in drawing
    assert "62\u202f137\u00a0mi" in drawing  # 100 000 km / 1.609344, yard and pound agreement of 1959
    assert "[US gal]" in stock_svg(stock_chart(), miles)


@pytest.mark.parametrize(
    ("litres", "numbers"),
    [(0.8, {"0.0", "\u22120.2", "\u22120.8"}), (400.0, {"0", "\u2212100", "\u2212400"})],
)
def test_a_small_stock_has_decimals_on_its_axis_and_no_number_twice(litres: float, numbers: set[str]) -> None:
    week = replace(stock_chart().weeks[0], p10_litres=-litres, p50_litres=-litres / 2, p90_litres=0.0)
    drawing = stock_svg(stock_chart(weeks=(week,)), METRIC)
    shown = re.findall(r">([\u2212\d][\d.]*)</text>", drawing)
    assert numbers <= set(shown)
    assert len(set(shown)) == len(shown)


def test_an_axis_with_decimals_has_the_organisations_mark() -> None:
    week = replace(stock_chart().weeks[0], p10_litres=-0.8, p50_litres=-0.4, p90_litres=0.0)
    assert ">\u22120,2</text>" in stock_svg(stock_chart(weeks=(week,)), Presentation(decimal_mark=","))


def _widths(table: ChartTable) -> set[int]:
    return {len(row) for row in table.rows} | {len(table.headings)}


def test_every_chart_has_its_table() -> None:
    odometer, life, stock = odometer_chart(), life_used_chart(), stock_chart()
    tables = {
        "odometer": (odometer_table(odometer, METRIC), len(odometer.readings) + len(odometer.fan)),
        "life": (
            life_used_table(life, METRIC),
            len(life.services) + len(life.samples) + len(life.projection) + 1,
        ),
        "stock": (stock_table(stock, METRIC), 12),
        "coverage": (coverage_table(coverage_chart(), METRIC), 6),
    }
    for table, n_rows in tables.values():
        assert len(table.rows) == n_rows
        assert len(_widths(table)) == 1
        assert table.caption


def test_description_says_what_the_picture_shows() -> None:
    odometer, stock = DRAWN["odometer"](), DRAWN["stock"]()
    assert "most likely on 2026-09-17, 8 in 10 times between 2026-08-27 and 2026-10-15" in odometer
    assert "Running short in 2026-W25, 2026-W26." in stock
    assert "The most likely course reaches the limit on" in DRAWN["life"]()
    assert "1 weeks: 332 of 400 held." in DRAWN["coverage"]()
