"""How an old fluid may look, as choices."""

from service.domain.fluid_kinds import FluidKind
from service.domain.visual_grades import GRADE_TEXTS, grade_texts
from service.web.catalogue import tell, translate


def grade_options(kind: FluidKind | None = None) -> tuple[tuple[str, str], ...]:
    """Every grade with its mark, in the words of a kind or in those of oils, and first that nobody looked."""
    texts = GRADE_TEXTS if kind is None else grade_texts(kind)
    looks = ((str(grade), f"{text.mark}: {tell(text.look)}") for grade, text in texts.items())
    return (("", translate("job_not_looked")), *looks)
