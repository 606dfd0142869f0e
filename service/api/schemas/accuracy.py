"""Answer models of accuracy."""

import math
from datetime import datetime
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.engine.skill.backtest import ALL_HORIZONS, Scorecard
from service.engine.skill.due_dates import DateScorecard
from service.usecases.usage.show_accuracy import Accuracy

SCORE_EXAMPLE: dict[str, Any] = {
    "method": "service",
    "horizon_days": 90,
    "n_vehicles": 60,
    "n_projections": 512,
    "absolute_error_km": 402.1,
    "absolute_error_days": 8.4,
    "pinball_km": 141.0,
    "coverage_p10_p90": 0.81,
}

DATE_EXAMPLE: dict[str, Any] = {
    "horizon_days": 90,
    "n_vehicles": 58,
    "n_dates": 486,
    "n_open": 26,
    "n_late_still": 3,
    "held_p10_p90": 0.79,
    "before_p10": 0.1,
    "after_p90": 0.11,
    "absolute_error_days": 9.7,
    "plain_absolute_error_days": 11.2,
}


class Score(BaseModel):
    """How one method did at one horizon; means over vehicles, so that each weighs the same."""

    method: str = Field(description="`service`, or a plain average that it is compared with.")
    horizon_days: float | None = Field(description="Null: all horizons together.")
    n_vehicles: int
    n_projections: int
    absolute_error_km: float
    absolute_error_days: float = Field(description="In days of the vehicle's own use.")
    pinball_km: float = Field(description="Mean pinball loss of P10, P50 and P90; smaller is better.")
    crps_km: float | None
    coverage_p10_p90: float = Field(description="Share that came to lie between P10 and P90; 0.80 is right.")
    below_p10: float
    above_p90: float
    pit: list[float] = Field(description="Share of outcomes in each tenth of the stated distribution.")

    @classmethod
    def of(cls, card: Scorecard) -> Self:
        """Show a scorecard."""
        return cls(
            method=card.method,
            horizon_days=None if card.horizon_days == ALL_HORIZONS else card.horizon_days,
            n_vehicles=card.n_vehicles,
            n_projections=card.n_exercises,
            absolute_error_km=round(card.absolute_error_km, 1),
            absolute_error_days=round(card.absolute_error_days, 2),
            pinball_km=round(card.pinball_km, 2),
            crps_km=None if math.isnan(card.crps_km) else round(card.crps_km, 2),
            coverage_p10_p90=round(card.coverage_fraction, 4),
            below_p10=round(card.below_fraction, 4),
            above_p90=round(card.above_fraction, 4),
            pit=[round(share, 4) for share in card.pit_fraction if not math.isnan(share)],
        )


class DateScore(BaseModel):
    """How the dates given for distances ahead held; means over vehicles, so that each weighs the same."""

    horizon_days: float | None = Field(description="Null: all horizons together.")
    n_vehicles: int
    n_dates: int = Field(description="Dates of vehicles that were read up to their P90 or longer.")
    n_open: int = Field(
        description="Dates whose P90 lies after the vehicle's last reading: left out, however they stand."
    )
    n_late_still: int = Field(
        description="Of `n_dates`, those not reached by the last reading: late, by at least what is known."
    )
    held_p10_p90: float | None = Field(description="Share reached from P10 to P90; 0.80 is right.")
    before_p10: float | None
    after_p90: float | None
    absolute_error_days: float | None = Field(description="Mean distance from P50 to the date reached.")
    plain_absolute_error_days: float | None = Field(
        description="The same for dates by the vehicle's average distance a day up to then."
    )

    @classmethod
    def of(cls, card: DateScorecard) -> Self:
        """Show a scorecard."""
        return cls(
            horizon_days=None if card.horizon_days == ALL_HORIZONS else card.horizon_days,
            n_vehicles=card.n_vehicles,
            n_dates=card.n_dates,
            n_open=card.n_open,
            n_late_still=card.n_late_still,
            held_p10_p90=_number(card.held_fraction, 4),
            before_p10=_number(card.early_fraction, 4),
            after_p90=_number(card.late_fraction, 4),
            absolute_error_days=_number(card.absolute_error_days, 2),
            plain_absolute_error_days=_number(card.plain_absolute_error_days, 2),
        )


def _number(value: float, digits: int) -> float | None:
    """Round a mean; none of nothing."""
    return None if math.isnan(value) else round(value, digits)


class AccuracyRead(BaseModel):
    """How projections along the stored histories would have turned out."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "as_of": "2026-05-04T08:00:00Z",
                    "n_vehicles": 60,
                    "scores": [SCORE_EXAMPLE],
                    "dates": [DATE_EXAMPLE],
                }
            ]
        }
    )

    as_of: datetime
    n_vehicles: int
    basis: str = "rolling origins along every stored history; only readings up to each origin were known"
    scores: list[Score] = Field(description="Odometers at given dates.")
    dates: list[DateScore] = Field(
        description="Dates at which given distances would be reached: about as far ahead as each horizon."
    )

    @classmethod
    def of(cls, accuracy: Accuracy) -> Self:
        """Show scores."""
        return cls(
            as_of=accuracy.as_of,
            n_vehicles=accuracy.n_vehicles,
            scores=[Score.of(card) for card in accuracy.cards],
            dates=[DateScore.of(card) for card in accuracy.dates],
        )
