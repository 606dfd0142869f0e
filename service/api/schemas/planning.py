"""Request and answer models of the terms that an organisation plans with."""

from typing import Annotated, Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import Body
from service.domain.planning_terms import PLANNING_TERMS, PlanningTerm, planned_with
from service.store.tables.organisation import Organisation

TERM_EXAMPLE: dict[str, Any] = {
    "name": "order_cost_minor",
    "meaning": "Placing and taking in one order.",
    "value": 2500.0,
    "is_own": False,
    "default": 2500.0,
    "minimum": 0.0,
    "maximum": 1_000_000_000.0,
    "source": "common practice, no source",
}
TermName = Annotated[str, Field(strict=True, min_length=1, max_length=40)]
TermValue = Annotated[float, Field(strict=True, allow_inf_nan=False)]


class PlanningTermRead(BaseModel):
    """One term: its value, and what it can be."""

    model_config = ConfigDict(json_schema_extra={"examples": [TERM_EXAMPLE]})

    name: str
    meaning: str
    value: float
    is_own: bool = Field(description="The organisation has said so itself.")
    default: float
    minimum: float
    maximum: float
    source: str = Field(description="Where the default comes from.")

    @classmethod
    def of(cls, name: str, term: PlanningTerm, planning: dict[str, float]) -> Self:
        """Show a term as it is in force."""
        return cls(
            name=name,
            meaning=term.meaning,
            value=planned_with(planning, name),
            is_own=name in planning and term.allows(planning[name]),
            default=term.default.value,
            minimum=term.minimum,
            maximum=term.maximum,
            source=term.default.source,
        )


class PlanningRead(BaseModel):
    """All terms; money in the smallest unit of the currency."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"currency": "EUR", "terms": [TERM_EXAMPLE]}]})

    currency: str
    terms: list[PlanningTermRead]

    @classmethod
    def of(cls, organisation: Organisation) -> Self:
        """Show the terms of an organisation."""
        return cls(
            currency=organisation.currency,
            terms=[
                PlanningTermRead.of(name, term, organisation.planning)
                for name, term in PLANNING_TERMS.items()
            ],
        )


class PlanningUpdate(Body):
    """Terms to set; null goes back to the default, what is not named stays."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"terms": {"order_cost_minor": 3000, "visit_minor": None}}]}
    )

    terms: dict[TermName, TermValue | None] = Field(min_length=1, max_length=40)
