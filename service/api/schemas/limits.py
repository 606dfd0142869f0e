"""Request and answer models of the limits for laboratory values."""

from datetime import datetime
from typing import Annotated, Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import Body, Line400
from service.domain.fluid_kinds import FluidKind
from service.domain.laboratory import INSIDE_UNIT, PROPERTY_RULES, LaboratoryProperty
from service.domain.limits import IN_PROPERTY_UNIT, AlarmLimit, Basis
from service.domain.sourced import Flag
from service.usecases.fluids.alarm_limits import ShownLimit

PUT_EXAMPLE: dict[str, Any] = {
    "caution": 120,
    "critical": 180,
    "source": "90th and 98th percentile of our own vans, 2024 to 2026",
}
LIMIT_EXAMPLE: dict[str, Any] = {
    "kind": "automatic_transmission_car",
    "property": "iron_mg_per_kg",
    "basis": "value",
    "unit": "mg/kg",
    **PUT_EXAMPLE,
    "flag": "own data",
}
Level = Annotated[
    float,
    Field(
        strict=True,
        ge=-1e9,
        le=1e9,
        allow_inf_nan=False,
        description="In the property's own unit; a share where the basis is one.",
    ),
]


class LimitPut(Body):
    """A pair of limits, and where it comes from."""

    model_config = ConfigDict(json_schema_extra={"examples": [PUT_EXAMPLE]})

    basis: Basis | None = Field(
        default=None,
        description="What is compared; that of the property's default unless said, else the value.",
    )
    caution: Level
    critical: Level
    source: Line400 = Field(description="Where the limit comes from: a manual, a percentile of own samples.")


class DefaultLimitRead(BaseModel):
    """The limit that holds if the own one is deleted."""

    caution: float
    critical: float
    flag: Flag
    source: str

    @classmethod
    def of(cls, limit: AlarmLimit | None) -> Self | None:
        """Show a default, if there is one."""
        if limit is None:
            return None
        return cls(caution=limit.caution, critical=limit.critical, flag=limit.flag, source=limit.source)


class AlarmLimitRead(BaseModel):
    """A limit in force, with how far it can be trusted."""

    model_config = ConfigDict(
        serialize_by_alias=True,
        json_schema_extra={
            "examples": [
                {
                    **LIMIT_EXAMPLE,
                    "default": {
                        "caution": 150,
                        "critical": 250,
                        "flag": "from memory",
                        "source": "from memory, not verified against the document",
                    },
                    "set_by": "token workshop",
                    "set_at": "2026-05-04T08:00:00Z",
                }
            ]
        },
    )

    kind: FluidKind
    laboratory_property: LaboratoryProperty = Field(serialization_alias="property")
    basis: Basis
    unit: str = Field(description="Of both levels.")
    caution: float
    critical: float
    flag: Flag
    source: str
    default: DefaultLimitRead | None = Field(description="Null if nothing holds without the own limit.")
    set_by: str | None
    set_at: datetime | None

    @classmethod
    def of(cls, shown: ShownLimit) -> Self:
        """Show a limit."""
        limit, own = shown.limit, shown.own
        name = limit.laboratory_property
        is_in_unit = limit.basis in IN_PROPERTY_UNIT
        return cls(
            kind=limit.kind,
            laboratory_property=name,
            basis=limit.basis,
            unit=INSIDE_UNIT[PROPERTY_RULES[name].quantity] if is_in_unit else "fraction",
            caution=limit.caution,
            critical=limit.critical,
            flag=limit.flag,
            source=limit.source,
            default=DefaultLimitRead.of(shown.default),
            set_by=None if own is None else own.set_by,
            set_at=None if own is None else own.set_at,
        )


class AlarmLimitList(BaseModel):
    """Limits in force: the defaults, and over them the organisation's own."""

    limits: list[AlarmLimitRead]
