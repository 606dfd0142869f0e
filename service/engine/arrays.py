"""What an array of the engine holds: one name for each, and the wider ones that callers may pass."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Integers: TypeAlias = NDArray[np.int64]
Booleans: TypeAlias = NDArray[np.bool_]
Codes: TypeAlias = NDArray[np.int8]
"""Members of a small enum, or marks packed into bits."""

Numbers: TypeAlias = float | Floats
"""One for all rows, or one a row."""
