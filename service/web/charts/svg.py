"""From a chart's specification to an accessible SVG that may stand in a page under a strict content policy."""

import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import altair as alt
import vl_convert

from service.documents.presentation import Presentation
from service.documents.text import one_line
from service.errors import InvalidInputError
from service.web.charts.theme import HEIGHT, Key, Rows, dressed, number_locale

_NAMESPACE: Final = "http://www.w3.org/2000/svg"
_CHART_ID: Final = re.compile(r"[A-Za-z][A-Za-z0-9-]{0,63}")
_LONG_DECIMAL: Final = re.compile(r"-?\d+\.\d{2,}(?:e-?\d+)?")
_REFERENCE: Final = re.compile(r"url\(#([^)]+)\)")
_NUMERIC: Final = ("d", "transform", "x", "y", "x1", "y1", "x2", "y2", "width", "height")
_DROPPED: Final = ("class", "role", "pointer-events", "version", "style")

Layout = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Naming:
    """A chart's identifier in its page, and what a screen reader says of it."""

    chart_id: str
    title: str
    description: str


ET.register_namespace("", _NAMESPACE)


def compiled(layers: Sequence[alt.Chart], key: Key, *, height: int = HEIGHT) -> Layout:
    """Work out once what is the same for all charts of a kind: everything but the rows."""
    layout: Layout = vl_convert.vegalite_to_vega(dressed(layers, key, height=height))
    return layout


def accessible_svg(
    layout: Layout, rows: Mapping[str, Rows], naming: Naming, presentation: Presentation
) -> str:
    """Draw the rows by the layout and give the drawing a name, a description and identifiers of its own.

    The parts inside are dropped from the accessibility tree (the picture is one image with a description and a
    table beside it), coordinates are cut to tenths of a pixel, and no style, script or link remains.
    """
    chart_id = naming.chart_id
    if not _CHART_ID.fullmatch(chart_id):
        raise InvalidInputError("A chart's identifier is made of letters, digits and hyphens.")
    data = [
        {**source, "values": _drawable(rows[source["name"]])} if source["name"] in rows else source
        for source in layout["data"]
    ]
    drawn = vl_convert.vega_to_svg({**layout, "data": data}, format_locale=number_locale(presentation))
    root = ET.fromstring(drawn)  # noqa: S314  written by the renderer in this process
    _simplify(root)
    for element in root.iter():
        _clean_attributes(element, chart_id)
    root.attrib.update(
        {
            "class": "chart",
            "role": "img",
            "aria-labelledby": f"{chart_id}-title {chart_id}-desc",
            "focusable": "false",
        }
    )
    named = [
        _text_element("title", chart_id, naming.title),
        _text_element("desc", chart_id, naming.description),
    ]
    for index, element in enumerate(named):
        root.insert(index, element)
    return ET.tostring(root, encoding="unicode")


def _drawable(rows: Rows) -> Rows:
    """Clean the texts, and leave out single values that are no number: they draw nothing."""
    return [{name: _drawable_value(value) for name, value in row.items()} for row in rows]


def _drawable_value(value: Any) -> Any:
    if isinstance(value, str):
        return one_line(value)
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _text_element(tag: str, chart_id: str, text: str) -> ET.Element:
    element = ET.Element(f"{{{_NAMESPACE}}}{tag}", {"id": f"{chart_id}-{tag}"})
    element.text = one_line(text)
    return element


def _simplify(parent: ET.Element) -> None:
    """Remove what draws nothing: hidden labels and paths, then groups that have become empty."""
    for child in list(parent):
        _simplify(child)
        tag = child.tag.rpartition("}")[2]
        is_empty_group = tag == "g" and len(child) == 0
        is_hidden = child.get("opacity") == "0"
        if is_hidden or is_empty_group or (tag == "path" and _draws_nothing(child)):
            parent.remove(child)


def _draws_nothing(path: ET.Element) -> bool:
    is_unpainted = not {"fill", "stroke"} & set(path.attrib)
    is_frame = path.get("class") in {"background", "foreground"}
    return path.get("display") == "none" or not path.get("d") or (is_frame and is_unpainted)


def _clean_attributes(element: ET.Element, chart_id: str) -> None:
    for name in list(element.attrib):
        if name in _DROPPED or name.startswith("aria-") or (name, element.get(name)) == ("opacity", "1"):
            del element.attrib[name]
    for name, value in _numeric_attributes(element):
        element.set(name, _LONG_DECIMAL.sub(lambda match: _tenths(match.group()), value))
    if "id" in element.attrib:
        element.set("id", f"{chart_id}-{element.get('id')}")
    for name, value in list(element.attrib.items()):
        if "url(#" in value:
            element.set(name, _REFERENCE.sub(lambda match: f"url(#{chart_id}-{match.group(1)})", value))


def _numeric_attributes(element: ET.Element) -> Iterator[tuple[str, str]]:
    for name in _NUMERIC:
        value = element.get(name)
        if value is not None:
            yield name, value


def _tenths(number: str) -> str:
    text = f"{float(number):.1f}"
    return text.removesuffix(".0") if text != "-0.0" else "0"
