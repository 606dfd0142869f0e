"""The job sheet of one vehicle on paper: plan, order of work, boxes to fill in, and the way back to the record."""

from service.documents.models import JobCompartment, JobSheet, RoundPlan
from service.documents.pdf import Json, render_pdf
from service.documents.presentation import Presentation
from service.documents.qr_code import qr_svg
from service.documents.tables import parts_in_words


def job_sheet_pdf(sheet: JobSheet, presentation: Presentation) -> bytes:
    """Typeset the sheet on upright paper, one part a compartment."""
    words = presentation.labels
    title = f"{words['job_sheet']} {sheet.vehicle}"
    day = presentation.day(sheet.visit_on) if sheet.visit_on else words["no_visit"]
    return render_pdf(
        "job_sheet",
        {
            "title": title,
            "language": presentation.language,
            "paper": presentation.paper,
            "words": words,
            "footer": " · ".join(
                filter(
                    None,
                    (
                        sheet.organisation,
                        title,
                        f"{words['printed']} {presentation.moment(sheet.printed_at)}",
                    ),
                )
            ),
            "facts": [
                (words["vehicle"], sheet.vehicle),
                (words["visit_day"], day),
                (words["odometer"], presentation.distance(sheet.odometer_km)),
                *_optional_facts(sheet, presentation),
                *sheet.facts,
            ],
            "cautions": sheet.cautions,
            "compartments": [_compartment(part, presentation) for part in sheet.compartments],
            "record_url": sheet.record_url,
            "qr": qr_svg(sheet.record_url, words["record"]),
            "has_hours": sheet.engine_hours is not None,
        },
    )


def _optional_facts(sheet: JobSheet, presentation: Presentation) -> list[tuple[str, str]]:
    words = presentation.labels
    hours = "" if sheet.engine_hours is None else f"{presentation.number(sheet.engine_hours)} h"
    pairs = [
        (words["engine_hours"], hours),
        (words["depot"], sheet.depot),
    ]
    return [pair for pair in pairs if pair[1]]


def _compartment(part: JobCompartment, presentation: Presentation) -> Json:
    return {
        "compartment": part.compartment,
        "reason": presentation.sentence(part.reason),
        "specification_required": part.specification_required,
        "fluid": part.fluid,
        "fluid_meets": part.fluid_meets,
        "method": part.method,
        "quantities": _quantities(part, presentation),
        "amounts": _amounts(part, presentation),
        "rounds": [_round(index, plan, presentation) for index, plan in enumerate(part.rounds, start=1)]
        or [["", "–", presentation.volume(part.litres), "–"]],
        "steps": [{"text": step.text, "why": step.why, "caution": step.caution} for step in part.steps],
        "cautions": part.cautions,
        "has_level_check": part.has_level_check,
        "window": _window(part, presentation),
        "excess": _excess(part, presentation),
        "volume_unit": presentation.volume_unit,
        "parts": parts_in_words(part.parts),
        "maker_notes": part.maker_notes.splitlines(),
        "torques": part.torques,
        "has_fluid_counter": part.has_fluid_counter,
        "grades": part.grades,
        "grades_caution": presentation.sentence(part.grades_caution),
    }


def _quantities(part: JobCompartment, presentation: Presentation) -> list[tuple[str, str]]:
    words = presentation.labels
    return [
        (words["method"], part.method),
        (words["total"], presentation.volume(part.total_litres)),
        (words["drainable"], presentation.volume(part.drainable_litres)),
        (words["life_used"], presentation.percent(part.life_used_before_fraction)),
    ]


def _amounts(part: JobCompartment, presentation: Presentation) -> str:
    """Say at which temperature either amount is meant: warm fluid takes more room than cold."""
    words = presentation.labels
    if not part.rounds or part.drained_celsius is None or part.filled_celsius is None:
        return words["amounts"]
    drained, filled = presentation.celsius(part.drained_celsius), presentation.celsius(part.filled_celsius)
    return f"{words['amounts']}, {words['drained_at']} {drained}, {words['filled_at']} {filled}"


def _round(number: int, plan: RoundPlan, presentation: Presentation) -> list[str]:
    return [
        str(number),
        presentation.volume(plan.drain_litres),
        presentation.volume(plan.fill_litres),
        presentation.percent(plan.fresh_share_after_fraction),
    ]


def _window(part: JobCompartment, presentation: Presentation) -> str:
    if part.level_low_celsius is None or part.level_high_celsius is None:
        return presentation.labels["maker_data"]
    return f"{presentation.celsius(part.level_low_celsius)} – {presentation.celsius(part.level_high_celsius)}"


def _excess(part: JobCompartment, presentation: Presentation) -> str:
    if part.excess_expected_litres is None or part.drained_celsius is None or part.filled_celsius is None:
        return ""
    words = presentation.labels
    drained, filled = presentation.celsius(part.drained_celsius), presentation.celsius(part.filled_celsius)
    expected = presentation.volume(part.excess_expected_litres)
    return (
        f"{words['excess_filled']} {filled} {words['excess_drained']} {drained}: {words['about']} {expected}"
    )
