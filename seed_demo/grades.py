"""How old fluid looks: the visual grade that a mechanic writes down for a true share of life used."""

from typing import Final

import numpy as np

from service.domain.visual_grades import GRADE_TEXTS, VisualGrade

EYE_SD: Final = 0.08
"""How far two mechanics differ, in life used; invented."""

_MEANS: Final = {
    grade: text.life_used.value for grade, text in GRADE_TEXTS.items() if text.life_used is not None
}


def grade_of(life_used: float, rng: np.random.Generator) -> VisualGrade:
    """Grade a fluid as somebody with good but not perfect eyes would."""
    seen = life_used + EYE_SD * float(rng.standard_normal())
    return min(_MEANS, key=lambda grade: abs(_MEANS[grade] - seen))
