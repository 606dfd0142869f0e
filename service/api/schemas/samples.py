"""Request and answer models of samples."""

from datetime import datetime, timedelta, timezone
from typing import Annotated, Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import (
    Body,
    EngineHours,
    Instant,
    Line40,
    Line80,
    Note,
    Odometer,
    VehicleName,
)
from service.api.schemas.services import Grade
from service.domain.external_ids import IdKind, format_id
from service.domain.laboratory import INSIDE_UNIT, PROPERTY_RULES, LaboratoryProperty
from service.domain.laboratory_report import GradeShown
from service.domain.limits import AlarmLevel, Basis
from service.domain.sourced import Flag
from service.domain.units_of_distance import DistanceUnit
from service.domain.visual_grades import VisualGrade
from service.store.tables.services import Sample
from service.usecases.fluids.follow_fluid import FluidPoint
from service.usecases.fluids.judge_sample import LimitReached, Rate, SampleFindings
from service.usecases.fluids.sample_entries import NewSample, SampleOutcome, SampleResult

SAMPLE_EXAMPLE: dict[str, Any] = {
    "vehicle": "VAN-07",
    "compartment": "gearbox",
    "taken_at": "2026-05-01T14:10:00+01:00",
    "odometer": 84210.4,
    "grade": "brown",
    "laboratory": {"viscosity_100c_mm2_per_s": 6.2, "iron_mg_per_kg": 96, "water_fraction": 0.05},
    "units": {"water_fraction": "%"},
    "new_values": {"viscosity_100c_mm2_per_s": 7.2},
    "reference": "report 5521",
}
Number = Annotated[float, Field(strict=True, ge=-1e9, le=1e9, allow_inf_nan=False)]
Values = Annotated[dict[Annotated[str, Field(max_length=40)], Number], Field(max_length=60)]


class SampleCreate(Body):
    """A sample to record."""

    model_config = ConfigDict(json_schema_extra={"examples": [SAMPLE_EXAMPLE]})

    vehicle: VehicleName | None = Field(default=None, description="Not needed with a compartment's id.")
    compartment: Line40 = Field(description="Its name on the vehicle, or its id.")
    taken_at: Instant
    odometer: Odometer | None = None
    unit: DistanceUnit | None = None
    engine_hours: EngineHours | None = None
    grade: Grade | None = None
    laboratory: Values = Field(default_factory=dict, description="Values by property.")
    units: dict[Annotated[str, Field(max_length=40)], Annotated[str, Field(max_length=20)]] = Field(
        default_factory=dict,
        max_length=60,
        description="Units by property, where they are not those of the name.",
    )
    new_values: Values = Field(default_factory=dict, description="The same of the new fluid, if told.")
    source: Line40 = "api"
    reference: Line80 | None = None
    note: Note | None = None

    def entry(self) -> NewSample:
        """Hand over to the use case."""
        return NewSample(**self.model_dump())


class LimitRead(BaseModel):
    """A limit that a value has reached."""

    property: LaboratoryProperty
    value: float
    unit: str
    level: AlarmLevel
    basis: Basis
    caution: float
    critical: float
    flag: Flag
    source: str

    @classmethod
    def of(cls, reached: LimitReached) -> Self:
        """Show a limit with where it comes from."""
        limit = reached.limit
        return cls(
            property=limit.laboratory_property,
            value=reached.value,
            unit=INSIDE_UNIT[PROPERTY_RULES[limit.laboratory_property].quantity],
            level=reached.level,
            basis=limit.basis,
            caution=limit.caution,
            critical=limit.critical,
            flag=limit.flag,
            source=limit.source,
        )


class RateRead(BaseModel):
    """How fast a value rose since the sample before, exchanges in between corrected for."""

    property: LaboratoryProperty
    rate: float
    rate_sd: float
    highest_rate: float | None
    per: str
    is_alarm: bool

    @classmethod
    def of(cls, rate: Rate) -> Self:
        """Show a rate."""
        return cls(
            property=rate.laboratory_property,
            rate=round(rate.rate, 6),
            rate_sd=round(rate.rate_sd, 6),
            highest_rate=None if rate.highest_rate is None else round(rate.highest_rate, 6),
            per=rate.per,
            is_alarm=rate.is_alarm,
        )


class GradeRead(BaseModel):
    """What measured values are called by an open standard."""

    standard: str
    grade: str
    meaning: str
    properties: list[LaboratoryProperty]
    source: str = Field(description="Where its table came to us from.")

    @classmethod
    def of(cls, shown: GradeShown) -> Self:
        """Show a grade."""
        return cls(
            standard=shown.standard,
            grade=shown.grade,
            meaning=shown.meaning,
            properties=list(shown.properties),
            source=shown.source,
        )


class LifeUsed(BaseModel):
    """An estimate with its standard deviation."""

    mean: float
    sd: float

    @classmethod
    def of(cls, point: FluidPoint | None) -> Self | None:
        """Show the life used at a point."""
        if point is None:
            return None
        variance = float(point.fluid.life_used_variance[0])
        return cls(mean=round(float(point.fluid.life_used[0]), 4), sd=round(variance**0.5, 4))


class SampleRow(BaseModel):
    """A recorded sample; laboratory values in the units of their names."""

    id: str
    compartment_id: str
    vehicle: str
    compartment: str
    taken_at: datetime
    odometer_km: float | None
    engine_hours: float | None
    grade: VisualGrade | None
    laboratory: dict[str, float]
    new_values: dict[str, float]
    is_contaminated: bool
    source: str
    reference: str | None
    note: str | None
    recorded_at: datetime
    recorded_by: str
    voided_at: datetime | None

    @staticmethod
    def fields_of(sample: Sample, vehicle: str, compartment: str) -> dict[str, Any]:
        """Collect what a row shows, its time with the offset it came with."""
        zone = timezone(timedelta(minutes=sample.utc_offset_minutes))
        own = {"id", "compartment_id", "vehicle", "compartment", "taken_at"}
        return {
            "id": format_id(IdKind.SAMPLE, sample.id),
            "compartment_id": format_id(IdKind.COMPARTMENT, sample.compartment_id),
            "vehicle": vehicle,
            "compartment": compartment,
            "taken_at": sample.taken_at.astimezone(zone),
            **sample.model_dump(include=set(SampleRow.model_fields) - own),
        }


class SampleRead(SampleRow):
    """A sample with what it says."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "id": "smp_12",
                    "compartment_id": "cmp_31",
                    **{
                        name: SAMPLE_EXAMPLE[name] for name in ("vehicle", "compartment", "taken_at", "grade")
                    },
                    "laboratory": {
                        "viscosity_100c_mm2_per_s": 6.2,
                        "iron_mg_per_kg": 96,
                        "water_fraction": 0.0005,
                    },
                    "is_contaminated": False,
                    "limits": [],
                    "rates": [],
                    "grades": [],
                    "life_used_before": {"mean": 0.62, "sd": 0.21},
                    "life_used_after": {"mean": 0.57, "sd": 0.07},
                    "cautions": [],
                }
            ]
        }
    )

    limits: list[LimitRead] = Field(description="Limits at caution or critical.")
    rates: list[RateRead]
    grades: list[GradeRead] = Field(description="The values in the words of open standards.")
    life_used_before: LifeUsed | None
    life_used_after: LifeUsed | None
    cautions: list[str]

    @classmethod
    def of(cls, findings: SampleFindings, vehicle: str) -> Self:
        """Show findings."""
        return cls(
            **cls.fields_of(findings.sample, vehicle, findings.compartment.reference),
            limits=[LimitRead.of(reached) for reached in findings.limits],
            rates=[RateRead.of(rate) for rate in findings.rates],
            grades=[GradeRead.of(shown) for shown in findings.grades],
            life_used_before=LifeUsed.of(findings.before),
            life_used_after=LifeUsed.of(findings.after),
            cautions=findings.cautions,
        )


class SamplePage(BaseModel):
    """Some samples in the order they were recorded; the Link header leads to the next ones."""

    samples: list[SampleRow]


class SampleRowResult(BaseModel):
    """What became of one row of a file."""

    index: int
    outcome: SampleOutcome
    id: str | None = None
    field: str | None = None
    detail: str | None = Field(default=None, description="Why, and what to do.")
    is_contaminated: bool = Field(default=False, description="The compartment is due now.")

    @classmethod
    def of(cls, index: int, result: SampleResult) -> Self:
        """Show a result."""
        fields = () if result.error is None else result.error.errors
        sample = result.sample
        return cls(
            index=index,
            outcome=result.outcome,
            id=None if sample is None else format_id(IdKind.SAMPLE, sample.id),
            field=fields[0].pointer.lstrip("/") if fields else None,
            detail=None if result.error is None else result.error.detail,
            is_contaminated=sample is not None and sample.is_contaminated,
        )


class SampleResults(BaseModel):
    """What became of every row of a file, in its order."""

    accepted: int
    duplicate: int
    rejected: int
    results: list[SampleRowResult]
