"""Request and answer models of fitted ageing rates."""

from datetime import datetime
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import Body, RateMultiplier
from service.domain.duties import Duty
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.domain.vehicle_classes import VehicleClass
from service.store.tables.ageing_fits import AgeingFit
from service.usecases.fluids.fit_ageing import Proposal

GROUP_EXAMPLE: dict[str, Any] = {"kind": "automatic_transmission_car", "duty": "normal", "class": "van"}
DIGITS = 3


class ProposalRead(BaseModel):
    """How fast a group seems to age, by the default rate; nothing of it is in force yet."""

    model_config = ConfigDict(
        serialize_by_alias=True,
        json_schema_extra={
            "examples": [
                {
                    **GROUP_EXAMPLE,
                    "n_samples": 14,
                    "multiplier_before": 1.0,
                    "multiplier_observed": 1.41,
                    "multiplier_proposed": 1.28,
                    "log_sd": 0.09,
                    "own_weight": 0.78,
                    "sentence": "14 samples: ages 28% faster than now assumed; a life lasts 78% as long.",
                }
            ]
        },
    )

    kind: FluidKind
    duty: Duty
    vehicle_class: VehicleClass = Field(serialization_alias="class")
    n_samples: int
    multiplier_before: float
    multiplier_observed: float = Field(description="What the samples alone say.")
    multiplier_proposed: float = Field(description="The same, drawn towards the fleet and the default.")
    log_sd: float
    own_weight: float = Field(description="1 listens to this group's samples only, 0 to the others only.")
    sentence: str

    @classmethod
    def of(cls, proposal: Proposal) -> Self:
        """Show a proposal."""
        kind, duty, vehicle_class = proposal.group
        return cls(
            kind=FluidKind(kind),
            duty=Duty(duty),
            vehicle_class=VehicleClass(vehicle_class),
            n_samples=proposal.n_samples,
            multiplier_before=round(proposal.multiplier_before, DIGITS),
            multiplier_observed=round(proposal.multiplier_observed, DIGITS),
            multiplier_proposed=round(proposal.multiplier_proposed, DIGITS),
            log_sd=round(proposal.log_sd, 4),
            own_weight=round(proposal.own_weight, 4),
            sentence=_sentence(proposal),
        )


class ProposalList(BaseModel):
    """A proposal for every group that a laboratory has said something about."""

    proposals: list[ProposalRead]


class AgeingFitCreate(Body):
    """A proposal to put in force, as it was shown."""

    model_config = ConfigDict(json_schema_extra={"examples": [{**GROUP_EXAMPLE, "multiplier": 1.28}]})

    kind: FluidKind
    duty: Duty
    vehicle_class: VehicleClass = Field(alias="class")
    multiplier: RateMultiplier = Field(description="multiplier_proposed of the proposal.")


class AgeingFitRead(BaseModel):
    """A fit that was accepted."""

    model_config = ConfigDict(
        serialize_by_alias=True,
        json_schema_extra={
            "examples": [
                {
                    "id": "fit_2",
                    **GROUP_EXAMPLE,
                    "n_samples": 14,
                    "multiplier_before": 1.0,
                    "multiplier_after": 1.28,
                    "reverted_at": None,
                }
            ]
        },
    )

    id: str
    kind: FluidKind
    duty: Duty
    vehicle_class: VehicleClass = Field(serialization_alias="class")
    n_samples: int
    multiplier_before: float
    multiplier_after: float
    accepted_at: datetime
    accepted_by: str
    reverted_at: datetime | None

    @classmethod
    def of(cls, fit: AgeingFit) -> Self:
        """Show a row."""
        own = set(cls.model_fields) - {"id", "multiplier_before", "multiplier_after"}
        return cls(
            id=format_id(IdKind.AGEING_FIT, fit.id),
            multiplier_before=round(fit.multiplier_before, DIGITS),
            multiplier_after=round(fit.multiplier_after, DIGITS),
            **fit.model_dump(include=own),
        )


class AgeingFitList(BaseModel):
    """All fits, the latest first, reverted ones too."""

    ageing_fits: list[AgeingFitRead]


def _sentence(proposal: Proposal) -> str:
    change = proposal.multiplier_proposed / proposal.multiplier_before - 1.0
    samples = "1 sample" if proposal.n_samples == 1 else f"{proposal.n_samples} samples"
    way = "faster" if change >= 0.0 else "slower"
    return f"{samples}: ages {abs(change):.0%} {way} than now assumed; a life lasts {1.0 / (1.0 + change):.0%} as long."
