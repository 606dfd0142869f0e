"""How past forecasts turned out, in words a mechanic understands."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

from service.documents.presentation import Presentation
from service.engine.skill.backtest import ALL_HORIZONS, Scorecard
from service.engine.skill.due_dates import DateScorecard
from service.usecases.usage.show_accuracy import Accuracy
from service.web.catalogue import translate
from service.web.charts.models import CoverageAtHorizon, CoverageChart
from service.web.views.shown_chart import ShownChart, show_chart

OURS: Final = "service"
PROMISED: Final = 0.8
LEAST_DATES: Final = 30
"""Fewer say nothing of how often dates hold. Common practice, no source."""

Z_975: Final = 1.959963984540054
"""Standard normal quantile at 0.975 (ISO 16269-4 tables): chance stays within it 19 times of 20."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DateRow:
    """Dates of one horizon; shares are empty where there are too few dates."""

    horizon: str
    held: str
    early: str
    late: str
    error_days: str
    plain_error_days: str
    n: str
    n_open: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OdometerRow:
    """Odometers of one horizon: ours beside the best of the plain averages."""

    horizon: str
    held: str
    error_km: str
    error_days: str
    plain_error_km: str
    n: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AccuracyPage:
    """The whole page."""

    sentence: str
    n_vehicles: str
    dates: tuple[DateRow, ...]
    chart: ShownChart | None
    odometer_sentence: str
    odometers: tuple[OdometerRow, ...]


def accuracy_page(accuracy: Accuracy, presentation: Presentation) -> AccuracyPage:
    """Fill the page."""
    dates = [card for card in accuracy.dates if card.horizon_days != ALL_HORIZONS]
    enough = [card for card in dates if card.n_dates >= LEAST_DATES]
    ours = [card for card in accuracy.cards if card.method == OURS]
    by_horizon = sorted(
        (card for card in ours if card.horizon_days != ALL_HORIZONS), key=lambda card: card.horizon_days
    )
    overall = next((card for card in ours if card.horizon_days == ALL_HORIZONS), None)
    return AccuracyPage(
        sentence=_sentence(accuracy.dates, presentation),
        n_vehicles=translate("accuracy_vehicles", n=presentation.number(accuracy.n_vehicles)),
        dates=tuple(_date_row(card, presentation) for card in dates),
        chart=_chart(enough, presentation) if enough else None,
        odometer_sentence=""
        if overall is None
        else translate("accuracy_odometers_held", n=round(100 * overall.coverage_fraction)),
        odometers=tuple(_odometer_row(card, accuracy.cards, presentation) for card in by_horizon),
    )


def _sentence(cards: Sequence[DateScorecard], presentation: Presentation) -> str:
    overall = next((card for card in cards if card.horizon_days == ALL_HORIZONS), None)
    if overall is None or overall.n_dates == 0:
        return translate("accuracy_none")
    if overall.n_dates < LEAST_DATES:
        return translate("accuracy_few", n=presentation.number(overall.n_dates))
    held, early, late = _of_100(overall)
    return translate(
        "accuracy_held", promised=presentation.percent(PROMISED), held=held, early=early, late=late
    )


def _of_100(card: DateScorecard) -> tuple[int, int, int]:
    """Dates of a hundred that held, came earlier and came later; the last makes the hundred whole."""
    held, early = round(100 * card.held_fraction), round(100 * card.early_fraction)
    return held, early, 100 - held - early


def _date_row(card: DateScorecard, presentation: Presentation) -> DateRow:
    def days(value: float) -> str:
        return translate("accuracy_days", n=presentation.number(value, 1)) if is_enough else translate("none")

    is_enough = card.n_dates >= LEAST_DATES
    held, early, late = _of_100(card) if is_enough else (0, 0, 0)
    return DateRow(
        horizon=_horizon(card),
        held=translate("accuracy_of_100", n=held) if is_enough else translate("accuracy_too_few"),
        early=str(early) if is_enough else translate("none"),
        late=str(late) if is_enough else translate("none"),
        error_days=days(card.absolute_error_days),
        plain_error_days=days(card.plain_absolute_error_days),
        n=presentation.number(card.n_dates),
        n_open=presentation.number(card.n_open),
    )


def _odometer_row(card: Scorecard, cards: Sequence[Scorecard], presentation: Presentation) -> OdometerRow:
    plain = [
        other.absolute_error_km
        for other in cards
        if other.method != OURS and other.horizon_days == card.horizon_days
    ]
    return OdometerRow(
        horizon=_horizon(card),
        held=translate("accuracy_of_100", n=round(100 * card.coverage_fraction)),
        error_km=presentation.distance(card.absolute_error_km),
        error_days=translate("accuracy_days", n=presentation.number(card.absolute_error_days, 1)),
        plain_error_km=presentation.distance(min(plain, default=None)),
        n=presentation.number(card.n_exercises),
    )


def _horizon(card: Scorecard | DateScorecard) -> str:
    return translate("accuracy_weeks", n=round(card.horizon_days / 7.0))


def _chart(cards: Sequence[DateScorecard], presentation: Presentation) -> ShownChart:
    chart = CoverageChart(
        chart_id="coverage",
        nominal_fraction=PROMISED,
        horizons=tuple(
            CoverageAtHorizon(
                horizon=_horizon(card),
                n_forecasts=card.n_dates,
                covered_fraction=card.held_fraction,
                low_fraction=max(PROMISED - _chance(card), 0.0),
                high_fraction=min(PROMISED + _chance(card), 1.0),
            )
            for card in cards
        ),
    )
    return show_chart(chart, presentation)


def _chance(card: DateScorecard) -> float:
    """Half-width of what chance leaves open; dates of one vehicle depend on each other, so vehicles count."""
    return Z_975 * sqrt(PROMISED * (1.0 - PROMISED) / max(card.n_vehicles, 1))
