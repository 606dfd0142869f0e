"""The form for a sample."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from service.domain.external_ids import IdKind, format_id
from service.domain.laboratory import INSIDE_UNIT, PROPERTY_RULES, LaboratoryProperty, Quantity
from service.domain.visual_grades import COLOUR_CAUTION
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
    compartments: tuple[tuple[str, str], ...]
    grades: tuple[tuple[str, str], ...]
    measured: tuple[MeasuredField, ...]
    is_measured: bool
    colour_caution: str
    unit: str
    now_local: str
    form: FormState


def sample_page(owner: Vehicle, places: Sequence[Compartment], now_local: str, form: FormState) -> SamplePage:
    """Fill the form."""
    return SamplePage(
        vehicle=owner.reference,
        vehicle_id=format_id(IdKind.VEHICLE, owner.id),
        compartments=tuple((format_id(IdKind.COMPARTMENT, one.id), one.reference) for one in places),
        grades=grade_options(),
        measured=tuple(_field(one) for one in LaboratoryProperty),
        is_measured=any(
            value and name.startswith(("lab-", "new-"))
            for fields in (form.values, form.errors)
            for name, value in fields.items()
        ),
        colour_caution=tell(COLOUR_CAUTION),
        unit=owner.odometer_unit,
        now_local=now_local,
        form=form,
    )


def asked_unit(laboratory_property: LaboratoryProperty) -> str:
    """Unit in which the form asks for a property: shares in per cent, everything else as inside."""
    quantity = PROPERTY_RULES[laboratory_property].quantity
    return "%" if quantity is Quantity.FRACTION else INSIDE_UNIT[quantity]


def _field(one: LaboratoryProperty) -> MeasuredField:
    unit = asked_unit(one)
    name = translate(f"lab_{one}")
    return MeasuredField(
        name=f"lab-{one}",
        label=f"{name}, {unit}" if unit else name,
        new_name=f"new-{one}" if one in WITH_NEW else "",
    )
