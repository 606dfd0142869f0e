"""The terms of planning as fields: money in the currency, shares in per cent."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from service.documents.presentation import Presentation
from service.domain.money import minor_per_major
from service.domain.planning_terms import PLANNING_TERMS
from service.store.tables.organisation import Organisation
from service.web.catalogue import tell, translate
from service.web.forms import FormState

PER_CENT: Final = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class TermField:
    """One term."""

    name: str
    label: str
    hint: str
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanningPage:
    """The whole page."""

    terms: tuple[TermField, ...]
    may_set: bool
    """Whether the person finds the other settings too."""

    form: FormState


def planning_page(
    organisation: Organisation, presentation: Presentation, form: FormState, *, may_set: bool
) -> PlanningPage:
    """Fill the page."""
    currency = organisation.currency
    shown = shown_terms(organisation.planning, currency)
    fields = []
    for name, term in PLANNING_TERMS.items():
        usual = _usual(name, term.default.value, presentation, currency)
        unit = _unit(name, currency)
        hint = translate("terms_usual", usual=usual, unit=unit).strip()
        fields.append(
            TermField(name=name, label=tell(term.meaning).removesuffix("."), hint=hint, value=shown[name])
        )
    return PlanningPage(terms=tuple(fields), may_set=may_set, form=form)


def shown_terms(planning: Mapping[str, float], currency: str) -> dict[str, str]:
    """What the fields show; empty where nobody set anything."""
    return {
        name: f"{planning[name] / units_in_one(name, currency):.10g}" if name in planning else ""
        for name in PLANNING_TERMS
    }


def units_in_one(name: str, currency: str) -> float:
    """How much of the stored unit is in one of the field's: cents in a euro, wholes in a per cent."""
    if "_minor" in name:
        return minor_per_major(currency)
    return PER_CENT if "share" in name or "probability" in name else 1.0


def _usual(name: str, value: float, presentation: Presentation, currency: str) -> str:
    if "_minor" in name:
        return presentation.money(value, currency)
    return presentation.sentence(f"{value / units_in_one(name, currency):.6g}")


def _unit(name: str, currency: str) -> str:
    if "_minor" in name:
        return currency
    return "%" if units_in_one(name, currency) == PER_CENT else ""
