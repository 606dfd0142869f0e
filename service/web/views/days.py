"""What is asked of a vehicle's next visit."""

from dataclasses import dataclass
from datetime import date

from service.documents.presentation import Presentation
from service.domain.external_ids import IdKind, format_id
from service.store.tables.vehicles import Vehicle
from service.store.tables.visits import VisitPin
from service.web.catalogue import translate
from service.web.forms import FormState
from service.web.views.actors import told_actor


@dataclass(frozen=True, slots=True, kw_only=True)
class DayPage:
    """The whole page."""

    vehicle: str
    vehicle_id: str
    week: str
    back: str
    pin_id: str
    """Empty where nothing is asked."""

    pinned: str
    kinds: tuple[tuple[str, str], ...]
    kind: str
    day: str
    first_day: str
    form: FormState


def day_page(
    vehicle: Vehicle,
    pin: VisitPin | None,
    week: str,
    today: date,
    presentation: Presentation,
    form: FormState,
) -> DayPage:
    """Fill the page."""
    key = format_id(IdKind.VEHICLE, vehicle.id)
    return DayPage(
        vehicle=vehicle.reference,
        vehicle_id=key,
        week=week,
        back=f"/due-lists/{week}" if week else f"/vehicles/{key}",
        pin_id="" if pin is None else format_id(IdKind.VISIT_PIN, pin.id),
        pinned="" if pin is None else pin_words(pin, presentation),
        kinds=tuple((kind, translate(f"day_{kind}")) for kind in ("on", "not_before")),
        kind="on" if pin is None else pin.kind,
        day="" if pin is None else pin.day.isoformat(),
        first_day=today.isoformat(),
        form=form,
    )


def pin_words(pin: VisitPin, presentation: Presentation) -> str:
    """Say what is asked, and who asked it."""
    day = f"{presentation.weekday(pin.day)} {presentation.day(pin.day)}"
    told = translate(f"pinned_{pin.kind}", day=day, who=told_actor(pin.by))
    return f"{told}: {pin.note}" if pin.note else told
