"""The style sheet: nothing foreign, and colours that stand out from their ground (WCAG 2.2, 1.4.3 and 1.4.11)."""

import re
from pathlib import Path

import pytest

SOURCE = (Path(__file__).parents[3] / "service/web/static/sumpwise.css").read_text()
LIGHT, DARK = (
    dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6})", block))
    for block in re.findall(r":root \{(.*?)\n *\}", SOURCE, re.S)[:2]
)
TEXT_ON_GROUND = [(text, ground) for text in ("ink", "quiet", "main") for ground in ("paper", "raised")] + [
    ("good", "good-soft"),
    ("warn", "warn-soft"),
    ("bad", "bad-soft"),
    ("main-ink", "main"),
    ("ink", "main-soft"),
    ("ink", "bad-soft"),
]
DRAWN = ("chart-main", "chart-limit", "chart-mark", "focus")


def _luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_measure_itself() -> None:
    """WCAG 2.2: black on white is 21 to 1."""
    assert _contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), TEXT_ON_GROUND)
def test_text_can_be_read(scheme: dict[str, str], text: str, ground: str) -> None:
    assert _contrast(scheme[text], scheme[ground]) >= 4.5


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("line", DRAWN)
def test_lines_and_marks_can_be_seen(scheme: dict[str, str], line: str) -> None:
    assert _contrast(scheme[line], scheme["raised"]) >= 3.0


def test_nothing_is_fetched() -> None:
    assert "url(" not in SOURCE
    assert "@import" not in SOURCE
    assert len(SOURCE.encode()) < 20_000


def test_chart_colours_are_those_the_charts_ask_for() -> None:
    theme = (Path(__file__).parents[3] / "service/web/charts/theme.py").read_text()
    asked = set(re.findall(r"var\(--([\w-]+)", theme))
    assert asked <= set(re.findall(r"--([\w-]+):", SOURCE))
