"""How an old fluid may look, as choices."""

from service.domain.fluid_kinds import FluidKind
from service.domain.visual_grades import grade_texts
from service.web.catalogue import tell, translate


def grade_options(kind: FluidKind) -> tuple[tuple[str, str], ...]:
    """Every grade with its mark, in the words of a kind, and first that nobody looked."""
    looks = ((str(grade), f"{text.mark}: {tell(text.look)}") for grade, text in grade_texts(kind).items())
    return (("", translate("job_not_looked")), *looks)
