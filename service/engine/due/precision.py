"""How exactly the work between double-precision inputs and answers is done, where that costs time."""

from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

AnyFloats: TypeAlias = NDArray[np.floating[Any]]
"""Single or double precision."""

WORK: Final = np.dtype(np.float32)
"""Ageing, and several limits from their scores on, are computed with seven digits: half the time and half the memory.

It moves a date by less than a thousandth of a day, the probability of a week or of being overdue by less than 1e-5 and
that of a limit by less than 5e-5. Of a vehicle that hardly moves a date may move further, to a day on which the
probability is the same to 1e-5. All held by `tests/engine/due/test_precision.py`.
"""
