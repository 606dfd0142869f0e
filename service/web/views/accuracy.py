"""How past forecasts turned out, in words a mechanic understands."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

from service.documents.presentation import Presentation
from service.engine.skill.backtest import ALL_HORIZONS, Scorecard
from service.usecases.usage.show_accuracy import Accuracy
from service.web.catalogue import translate
from service.web.charts.models import CoverageAtHorizon, CoverageChart
from service.web.views.shown_chart import ShownChart, show_chart

OURS: Final = "service"
PROMISED: Final = 0.8
Z_975: Final = 1.959963984540054
"""Standard normal quantile at 0.975 (ISO 16269-4 tables): chance stays within it 19 times of 20."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HorizonRow:
    """One horizon: ours beside the best of the plain averages."""

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
    rows: tuple[HorizonRow, ...]
    chart: ShownChart | None


def accuracy_page(accuracy: Accuracy, presentation: Presentation) -> AccuracyPage:
    """Fill the page."""
    ours = [card for card in accuracy.cards if card.method == OURS]
    by_horizon = sorted(
        (card for card in ours if card.horizon_days != ALL_HORIZONS), key=lambda card: card.horizon_days
    )
    overall = next((card for card in ours if card.horizon_days == ALL_HORIZONS), None)
    return AccuracyPage(
        sentence=translate("accuracy_none")
        if overall is None
        else translate("accuracy_held", n=round(100 * overall.coverage_fraction)),
        n_vehicles=translate("accuracy_vehicles", n=presentation.number(accuracy.n_vehicles)),
        rows=tuple(_row(card, accuracy.cards, presentation) for card in by_horizon),
        chart=_chart(by_horizon, presentation) if by_horizon else None,
    )


def _row(card: Scorecard, cards: Sequence[Scorecard], presentation: Presentation) -> HorizonRow:
    plain = [
        other.absolute_error_km
        for other in cards
        if other.method != OURS and other.horizon_days == card.horizon_days
    ]
    return HorizonRow(
        horizon=_horizon(card),
        held=translate("accuracy_of_100", n=round(100 * card.coverage_fraction)),
        error_km=presentation.distance(card.absolute_error_km),
        error_days=translate("accuracy_days", n=presentation.number(card.absolute_error_days, 1)),
        plain_error_km=presentation.distance(min(plain, default=None)),
        n=presentation.number(card.n_exercises),
    )


def _horizon(card: Scorecard) -> str:
    return translate("accuracy_weeks", n=round(card.horizon_days / 7.0))


def _chart(cards: Sequence[Scorecard], presentation: Presentation) -> ShownChart:
    chart = CoverageChart(
        chart_id="coverage",
        nominal_fraction=PROMISED,
        horizons=tuple(
            CoverageAtHorizon(
                horizon=_horizon(card),
                n_forecasts=card.n_exercises,
                covered_fraction=card.coverage_fraction,
                low_fraction=max(PROMISED - _chance(card), 0.0),
                high_fraction=min(PROMISED + _chance(card), 1.0),
            )
            for card in cards
        ),
    )
    return show_chart(chart, presentation)


def _chance(card: Scorecard) -> float:
    """Half-width of what chance leaves open; forecasts of one vehicle depend on each other, so vehicles count."""
    return Z_975 * sqrt(PROMISED * (1.0 - PROMISED) / max(card.n_vehicles, 1))
