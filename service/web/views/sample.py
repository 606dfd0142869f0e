"""The form for a sample."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from service.documents.presentation import Presentation
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import KIND_LABELS, FluidKind
from service.domain.laboratory import INSIDE_UNIT, PROPERTY_RULES, LaboratoryProperty, Quantity
from service.domain.visual_grades import colour_caution
from service.store.tables.vehicles import Compartment, Vehicle
from service.web.catalogue import tell, translate
from service.web.forms import FormState
from service.web.views.grades import grade_options

_P: Final = LaboratoryProperty
WITH_NEW: Final = frozenset(
    {
        _P.VISCOSITY_40C_MM2_PER_S,
        _P.VISCOSITY_100C_MM2_PER_S,
        _P.ACID_NUMBER_MG_KOH_PER_G,
        _P.BASE_NUMBER_MG_KOH_PER_G,
    }
)
"""Properties that say something only beside those of the new fluid."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredField:
    """One value of a laboratory report."""

    name: str
    label: str
    new_name: str
    """Field for the same of the new fluid; empty where it does not matter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SamplePage:
    """The whole form."""

    vehicle: str
    vehicle_id: str
    compartment: str
    """Id of the compartment that the form is for; empty where it is still to be chosen."""

    compartment_name: str
    others: tuple[tuple[str, str], ...]
    """Further compartments of the vehicle, id and name."""

    grades: tuple[tuple[str, str], ...]
    measured: tuple[MeasuredField, ...]
    is_measured: bool
    colour_caution: str
    unit: str
    now_local: str
    may_plan: bool
    form: FormState


def sample_page(
    owner: Vehicle,
    places: Sequence[Compartment],
    presentation: Presentation,
    now_local: str,
    form: FormState,
    *,
    may_plan: bool,
) -> SamplePage:
    """Fill the form in the words of the fluid's kind: a look at brake fluid says other things than one at oil."""
    chosen = _chosen(places, form)
    kind = None if chosen is None else FluidKind(chosen.kind)
    return SamplePage(
        vehicle=owner.reference,
        vehicle_id=format_id(IdKind.VEHICLE, owner.id),
        compartment="" if chosen is None else format_id(IdKind.COMPARTMENT, chosen.id),
        compartment_name=""
        if chosen is None or kind is None
        else translate("sample_of", compartment=chosen.reference, kind=tell(KIND_LABELS[kind])),
        others=tuple(
            (format_id(IdKind.COMPARTMENT, one.id), one.reference) for one in places if one is not chosen
        ),
        grades=() if kind is None else grade_options(kind),
        measured=tuple(_field(one) for one in LaboratoryProperty),
        is_measured=any(
            value and name.startswith(("lab-", "new-"))
            for fields in (form.values, form.errors)
            for name, value in fields.items()
        ),
        colour_caution="" if kind is None else presentation.sentence(tell(colour_caution(kind))),
        unit=owner.odometer_unit,
        now_local=now_local,
        may_plan=may_plan,
        form=form,
    )


def _chosen(places: Sequence[Compartment], form: FormState) -> Compartment | None:
    """The compartment that was asked for, or the only one; a form that named none keeps what was typed."""
    asked = form.value("compartment")
    named = next(
        (one for one in places if asked in {format_id(IdKind.COMPARTMENT, one.id), one.reference}), None
    )
    if named is None and places and (len(places) == 1 or form.values.keys() - {"compartment"}):
        return places[0]
    return named


def asked_unit(laboratory_property: LaboratoryProperty) -> str:
    """Unit in which the form asks for a property: shares in per cent, everything else as inside."""
    quantity = PROPERTY_RULES[laboratory_property].quantity
    return "%" if quantity is Quantity.FRACTION else INSIDE_UNIT[quantity]


def _field(one: LaboratoryProperty) -> MeasuredField:
    unit = asked_unit(one).replace("mm2", "mm²")
    name = translate(f"lab_{one}")
    return MeasuredField(
        name=f"lab-{one}",
        label=f"{name}, {unit}" if unit else name,
        new_name=f"new-{one}" if one in WITH_NEW else "",
    )
