"""Answer models of the stock forecast."""

from collections.abc import Mapping
from datetime import date
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

from service.api.schemas.stock import tidy
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.domain.used_fluid import WasteStream
from service.domain.weeks import IsoWeek
from service.engine.orders.projection import StockProjection
from service.usecases.forecast.demand_bands import Band
from service.usecases.forecast.forecast_stock import FluidForecast, ItemForecast, StockForecast

DEMAND_EXAMPLE = {"mean": 21.4, "p10": 10.5, "p50": 21.0, "p90": 31.5}
FLUID_WEEK_EXAMPLE: dict[str, Any] = {
    "week": "2026-W19",
    "demand": DEMAND_EXAMPLE,
    "stock_litres": {"p10": 28.5, "p50": 39.0, "p90": 49.5},
    "run_out_probability": 0.0004,
    "used_fluid_litres": 20.9,
    "seals": {"drain plug washer": 2.1},
}
FORECAST_EXAMPLE: dict[str, Any] = {
    "today": "2026-05-04",
    "weeks": ["2026-W19"],
    "fluids": [
        {
            "id": "fld_3",
            "fluid": "ATF-A",
            "kind": "automatic_transmission_car",
            "stock_litres": 60.0,
            "on_order_litres": 20.0,
            "total": DEMAND_EXAMPLE,
            "weeks": [FLUID_WEEK_EXAMPLE],
            "warnings": [],
        }
    ],
    "parts": [
        {
            "id": "prt_3",
            "part": "drain plug washer",
            "stock_pieces": 85,
            "on_order_pieces": 50,
            "total": DEMAND_EXAMPLE,
            "weeks": [
                {
                    "week": "2026-W19",
                    "demand": DEMAND_EXAMPLE,
                    "stock_pieces": {"p10": 53.0, "p50": 64.0, "p90": 74.0},
                    "run_out_probability": 0.0,
                }
            ],
            "warnings": [],
        }
    ],
    "used_fluid": [
        {
            "stream": "lubricating_oil",
            "total": DEMAND_EXAMPLE,
            "weeks": [{"week": "2026-W19", "demand": DEMAND_EXAMPLE}],
        }
    ],
    "seals": [
        {
            "part": "drain plug washer",
            "total": DEMAND_EXAMPLE,
            "weeks": [{"week": "2026-W19", "demand": DEMAND_EXAMPLE}],
        }
    ],
    "without_fluid": [{"kind": "axle", "compartments": 2, "litres": 4.6}],
}


class Spread(BaseModel):
    """Three quantiles of litres or pieces."""

    p10: float
    p50: float
    p90: float

    @classmethod
    def of_stock(cls, stock: StockProjection, week: int) -> Self:
        """Show what will be on the shelf at the end of a week."""
        return cls(
            p10=tidy(float(stock.stock_q10[week])),
            p50=tidy(float(stock.stock_q50[week])),
            p90=tidy(float(stock.stock_q90[week])),
        )


class Demand(Spread):
    """What is needed in a week: litres, or pieces."""

    mean: float

    @classmethod
    def of(cls, band: Band, week: int) -> Self:
        """Show one week of a band."""
        return cls(
            mean=tidy(float(band.mean[week])),
            p10=tidy(float(band.q10[week])),
            p50=tidy(float(band.q50[week])),
            p90=tidy(float(band.q90[week])),
        )


class FluidWeek(BaseModel):
    """One fluid in one week."""

    week: str
    demand: Demand
    stock_litres: Spread = Field(
        description="At the week's end, if nothing more is ordered; below 0: work that waits."
    )
    run_out_probability: float = Field(description="Of running out by the end of the week.")
    used_fluid_litres: float = Field(description="Expected to be collected from this fluid's jobs.")
    seals: dict[str, float] = Field(description="Pieces expected to be used, by part.")


class FluidForecastRead(BaseModel):
    """One fluid over the weeks."""

    id: str
    fluid: str
    kind: FluidKind
    stock_litres: float
    on_order_litres: float
    total: Demand = Field(description="Over all weeks; quantiles of weeks do not add up.")
    weeks: list[FluidWeek]
    warnings: list[str]

    @classmethod
    def of(cls, one: FluidForecast, weeks: tuple[IsoWeek, ...]) -> Self:
        """Show one fluid."""
        return cls(
            id=format_id(IdKind.FLUID, one.line.fluid.id),
            fluid=one.line.fluid.reference,
            kind=FluidKind(one.line.fluid.kind),
            stock_litres=tidy(one.line.shelf.quantity),
            on_order_litres=tidy(one.line.on_order_quantity),
            total=Demand.of(one.total, 0),
            weeks=[
                FluidWeek(
                    week=str(week),
                    demand=Demand.of(one.weekly, place),
                    stock_litres=Spread.of_stock(one.stock, place),
                    run_out_probability=round(float(one.stock.run_out_probability[place]), 4),
                    used_fluid_litres=tidy(float(one.used_litres[place])),
                    seals=_pieces(one.seals, place),
                )
                for place, week in enumerate(weeks)
            ],
            warnings=list(one.line.warnings),
        )


class BandWeek(BaseModel):
    """One week of a stream or a part."""

    week: str
    demand: Demand


class StreamForecast(BaseModel):
    """Used fluid of one stream, litres a week; streams are never mixed."""

    stream: WasteStream
    total: Demand
    weeks: list[BandWeek]


class SealForecast(BaseModel):
    """A part that is used once a service, pieces a week."""

    part: str
    total: Demand
    weeks: list[BandWeek]


class PartWeek(BaseModel):
    """One part in one week."""

    week: str
    demand: Demand
    stock_pieces: Spread = Field(description="At the week's end, if nothing more is ordered.")
    run_out_probability: float = Field(description="Of running out by the end of the week.")


class PartForecastRead(BaseModel):
    """One part that is kept on the shelf, over the weeks."""

    id: str
    part: str
    stock_pieces: int
    on_order_pieces: int
    total: Demand
    weeks: list[PartWeek]
    warnings: list[str]

    @classmethod
    def of(cls, one: ItemForecast, weeks: tuple[IsoWeek, ...]) -> Self:
        """Show one part."""
        return cls(
            id=format_id(IdKind.PART, one.line.item.id),
            part=one.line.item.reference,
            stock_pieces=round(one.line.shelf.quantity),
            on_order_pieces=round(one.line.on_order_quantity),
            total=Demand.of(one.total, 0),
            weeks=[
                PartWeek(
                    week=str(week),
                    demand=Demand.of(one.weekly, place),
                    stock_pieces=Spread.of_stock(one.stock, place),
                    run_out_probability=round(float(one.stock.run_out_probability[place]), 4),
                )
                for place, week in enumerate(weeks)
            ],
            warnings=list(one.line.warnings),
        )


class NamelessLitres(BaseModel):
    """What compartments that name no fluid will take over all weeks; it is in no fluid's demand and in no order."""

    kind: FluidKind
    compartments: int = Field(description="How many of this kind name no fluid.")
    litres: float


class StockForecastRead(BaseModel):
    """What the fleet will take week by week, and how long the shelf lasts."""

    model_config = ConfigDict(json_schema_extra={"examples": [FORECAST_EXAMPLE]})

    today: date
    weeks: list[str]
    fluids: list[FluidForecastRead]
    parts: list[PartForecastRead]
    used_fluid: list[StreamForecast]
    seals: list[SealForecast]
    without_fluid: list[NamelessLitres]

    @classmethod
    def of(cls, forecast: StockForecast) -> Self:
        """Show the forecast."""
        return cls(
            today=forecast.today,
            weeks=[str(week) for week in forecast.weeks],
            fluids=[FluidForecastRead.of(one, forecast.weeks) for one in forecast.fluids],
            parts=[PartForecastRead.of(one, forecast.weeks) for one in forecast.parts],
            used_fluid=[
                StreamForecast(
                    stream=stream,
                    total=Demand.of(need.total, 0),
                    weeks=_band_weeks(need.weekly, forecast.weeks),
                )
                for stream, need in forecast.used_fluid.items()
            ],
            seals=[
                SealForecast(
                    part=part,
                    total=Demand.of(need.total, 0),
                    weeks=_band_weeks(need.weekly, forecast.weeks),
                )
                for part, need in forecast.seals.items()
            ],
            without_fluid=[
                NamelessLitres(
                    kind=FluidKind(kind), compartments=need.n_compartments, litres=tidy(need.litres)
                )
                for kind, need in forecast.without_fluid.items()
            ],
        )


def _band_weeks(band: Band, weeks: tuple[IsoWeek, ...]) -> list[BandWeek]:
    return [BandWeek(week=str(week), demand=Demand.of(band, place)) for place, week in enumerate(weeks)]


def _pieces(seals: Mapping[str, NDArray[np.float64]], place: int) -> dict[str, float]:
    return {part: round(float(pieces[place]), 2) for part, pieces in sorted(seals.items())}
