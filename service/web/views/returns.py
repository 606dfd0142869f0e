"""Plans to come back for more rounds."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.documents.presentation import Presentation
from service.domain.external_ids import IdKind, format_id
from service.store.tables.services import ReturnVisit
from service.usecases.plans.plan_exchange import PlannedExchange
from service.web.catalogue import translate
from service.web.views.actors import told_actor


@dataclass(frozen=True, slots=True, kw_only=True)
class ReturnForm:
    """What is planned for a compartment, and what is proposed."""

    planned: tuple[tuple[str, str], ...]
    """Id and words of every plan that is open."""

    proposed: Mapping[str, str]


def return_form(
    visits: Sequence[ReturnVisit], plan: PlannedExchange | None, presentation: Presentation
) -> ReturnForm:
    """Fill the form; where the plan has two steps, its second one is proposed."""
    proposed = {"rounds": "1", "after_km": "", "after_days": ""}
    if plan is not None and plan.two_steps is not None:
        plans, row = plan.two_steps.plans, plan.two_steps.row
        proposed = {
            "rounds": str(int(plans.second_rounds[row])),
            "after_km": f"{presentation.distance_value(float(plans.return_km[0])):.0f}",
            "after_days": f"{float(plans.return_days[0]):.0f}",
        }
    return ReturnForm(
        planned=tuple(
            (format_id(IdKind.RETURN_VISIT, visit.id), _words(visit, presentation)) for visit in visits
        ),
        proposed=proposed,
    )


def _words(visit: ReturnVisit, presentation: Presentation) -> str:
    parts = []
    if visit.due_on is not None:
        parts.append(translate("return_on", day=presentation.day(visit.due_on)))
    if visit.due_odometer_km is not None:
        parts.append(translate("return_at", odometer=presentation.distance(visit.due_odometer_km)))
    when = translate("return_or", one=parts[0], other=parts[1]) if len(parts) == 2 else parts[0]
    told = translate("return_planned", n=visit.n_rounds, when=when, who=told_actor(visit.accepted_by))
    return f"{told} {visit.note}" if visit.note else told
