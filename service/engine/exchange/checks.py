"""Refuse arrays that cannot be what their name says, before they reach a formula."""

from typing import Final

import numpy as np

from service.engine.arrays import Floats, Numbers
from service.errors import InvalidInputError

"""One number for the whole fleet, or one for each compartment."""

LARGEST_FINITE: Final = float(np.finfo(np.float64).max)


def require_within(name: str, values: Numbers, lowest: float, highest: float = LARGEST_FINITE) -> Floats:
    """Return the values as float64 if every one lies in [lowest, highest].

    Parameters
    ----------
    name : str
        The argument's name, for the message.
    values : float or ndarray of float64, any shape
        Not modified; not copied when it is float64 already.
    lowest, highest : float
        Both ends belong to the range. Infinity is refused unless `highest` is infinite; NaN always is.

    Returns
    -------
    ndarray of float64

    Raises
    ------
    InvalidInputError
        If a value is outside, or not a number.

    Notes
    -----
    Two reading passes and no temporary array, O(n).
    """
    array = np.asarray(values, dtype=np.float64)
    if array.size == 0:
        return array
    smallest, largest = float(array.min()), float(array.max())
    if not (smallest >= lowest and largest <= highest):
        span = f"at least {lowest:g}" if highest >= LARGEST_FINITE else f"between {lowest:g} and {highest:g}"
        raise InvalidInputError.at(f"/{name}", f"{name} must be {span}; received {smallest:g} to {largest:g}")
    return array
