"""How an old fluid may look, as choices."""

from service.domain.visual_grades import GRADE_TEXTS
from service.web.catalogue import tell, translate


def grade_options() -> tuple[tuple[str, str], ...]:
    """Every grade with its mark, and first that nobody looked."""
    looks = ((str(grade), f"{text.mark}: {tell(text.look)}") for grade, text in GRADE_TEXTS.items())
    return (("", translate("job_not_looked")), *looks)
