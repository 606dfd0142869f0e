"""Answer models of projections."""

from datetime import date, datetime
from typing import Any, Self

import numpy as np
from pydantic import BaseModel, ConfigDict, Field
from scipy.special import ndtri

from service.domain.due_reasons import Limit
from service.domain.exchange_methods import ExchangeMethod
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.domain.units_of_distance import DistanceUnit
from service.usecases.due.project_due import DUE_PROBABILITIES
from service.usecases.due.show_projection import VehicleProjection

BAND_EXAMPLE = {"p10": 84310.0, "p50": 84540.2, "p90": 84905.1}
PROJECTION_EXAMPLE: dict[str, Any] = {
    "vehicle": "VAN-07",
    "as_of": "2026-05-04T08:00:00Z",
    "odometer_km": BAND_EXAMPLE,
    "km_per_day": {"p10": 38.1, "p50": 61.0, "p90": 92.4},
    "basis": "30 accepted readings",
    "compartments": [
        {
            "id": "cmp_31",
            "compartment": "gearbox",
            "kind": "automatic_transmission_car",
            "life_used": {"p10": 0.48, "p50": 0.66, "p90": 0.85},
            "fresh_share": 0.57,
            "due": {"p10": "2026-06-02", "p50": "2026-07-19", "p90": "2026-09-30"},
            "limit": "condition",
            "probability_by_limit": {"distance": 0.31, "condition": 0.69},
            "overdue_probability": 0.02,
            "week_probability": {"2026-W19": 0.02},
            "recommended": {
                "method": "drain_and_fill",
                "rounds": 3,
                "litres": 10.5,
                "fresh_share_after": 0.77,
                "labour_minutes": 150,
            },
        }
    ],
}


class Band(BaseModel):
    """Three quantiles of a number."""

    p10: float
    p50: float
    p90: float

    @classmethod
    def of(cls, values: Any, digits: int = 3) -> Self:
        """Show three numbers in order."""
        low, middle, high = (round(float(value), digits) for value in values)
        return cls(p10=low, p50=middle, p90=high)


class DueBand(BaseModel):
    """Three quantiles of a date; null beyond the horizon of three years."""

    p10: date | None
    p50: date | None
    p90: date | None


class Recommended(BaseModel):
    """How to change the fluid next."""

    method: ExchangeMethod
    rounds: int
    litres: float
    fresh_share_after: float
    labour_minutes: int = Field(description="Of the work alone, without setting up the visit.")


class CompartmentProjection(BaseModel):
    """One compartment's fluid and when it is due."""

    id: str
    compartment: str
    kind: FluidKind
    life_used: Band
    fresh_share: float
    due: DueBand
    limit: Limit | None
    probability_by_limit: dict[str, float]
    overdue_probability: float
    week_probability: dict[str, float]
    recommended: Recommended


class ProjectionRead(BaseModel):
    """One vehicle's use and fluids."""

    model_config = ConfigDict(json_schema_extra={"examples": [PROJECTION_EXAMPLE]})

    vehicle: str
    as_of: datetime
    odometer_unit: DistanceUnit
    odometer_km: Band | None
    km_per_day: Band
    basis: str
    compartments: list[CompartmentProjection]

    @classmethod
    def of(cls, projection: VehicleProjection) -> Self:
        """Show a projection."""
        n_readings = int(projection.usage.odometer.n_readings[0])
        return cls(
            vehicle=projection.vehicle.reference,
            as_of=projection.fluids.now,
            odometer_unit=DistanceUnit(projection.vehicle.odometer_unit),
            odometer_km=None if projection.odometer_km is None else Band.of(projection.odometer_km, 1),
            km_per_day=Band.of(projection.km_per_day, 2),
            basis=_basis(n_readings),
            compartments=[_compartment(projection, place) for place in range(len(projection.fluids))],
        )


def _basis(n_readings: int) -> str:
    if n_readings == 0:
        return "no reading: what vehicles of its class usually do"
    if n_readings == 1:
        return "one accepted reading; the distance a day is what vehicles of its class usually do"
    return f"{n_readings} accepted readings"


def _compartment(projection: VehicleProjection, place: int) -> CompartmentProjection:
    fluids, recommended = projection.fluids, projection.recommended
    columns = fluids.compartments
    mean = float(fluids.fluid_now.life_used[place])
    spread = float(np.sqrt(fluids.fluid_now.life_used_variance[place]))
    low, middle, high = (column[place] for column in fluids.due_dates)
    return CompartmentProjection(
        id=format_id(IdKind.COMPARTMENT, columns["id"][place]),
        compartment=columns["reference"][place],
        kind=FluidKind(columns["kind"][place]),
        life_used=Band.of(np.maximum(mean + spread * ndtri(np.array(DUE_PROBABILITIES)), 0.0)),
        fresh_share=round(columns["fresh_fraction"][place], 4),
        due=DueBand(p10=low, p50=middle, p90=high),
        limit=fluids.limit_of(place),
        probability_by_limit={
            name: round(value, 4) for name, value in fluids.limit_probabilities(place).items()
        },
        overdue_probability=round(float(fluids.due.overdue_probability[place]), 4),
        week_probability={
            str(week): round(float(value), 4)
            for week, value in zip(fluids.weeks, fluids.due.week_probability[place], strict=True)
        },
        recommended=Recommended(
            method=recommended.method[place],
            rounds=int(recommended.n_rounds[place]),
            litres=round(float(recommended.litres[place]), 2),
            fresh_share_after=round(float(recommended.fresh_fraction_after[place]), 4),
            labour_minutes=round(float(recommended.labour_minutes[place])),
        ),
    )
