"""Croston, SBA and TSB against a textbook series and a reference library.

Sources: Hyndman & Athanasopoulos, "Forecasting: Principles and Practice", 2nd ed. 2018, section 12.2 (monthly
sales of a lubricant, series productC of the R package fpp2; Croston with 0.1: demand 2.750, interval 2.793,
forecast 0.985). The other values were computed with statsforecast 2.1.1 (CrostonClassic, CrostonSBA, TSB).
"""

import numpy as np
import pytest

from service.engine.demand.intermittent import IntermittentMethod, estimate_intermittent

# fmt: off
PRODUCT_C = np.array([
    0, 2, 0, 1, 0, 11, 0, 0, 0, 0, 2, 0,
    6, 3, 0, 0, 0, 0, 0, 7, 0, 0, 0, 0,
    0, 0, 0, 3, 1, 0, 0, 1, 0, 1, 0, 0,
], float)
SERIES = np.array([
    0, 0, 0, 4, 8, 0, 0, 6, 6, 0, 0, 6, 0, 0, 0, 0, 0, 0, 0, 2, 0, 4, 0, 7, 0, 0, 1, 0, 0, 5, 0, 8, 0, 0, 5, 0, 0,
    0, 1, 0, 0, 0, 4, 0, 0, 0, 0, 5, 6, 0, 5, 0, 0, 0, 0, 0, 0, 1, 0, 0,
], float)
# fmt: on
WHOLE = np.array([0, PRODUCT_C.size])


def test_croston_on_the_textbook_series():
    rates = estimate_intermittent(PRODUCT_C, WHOLE, IntermittentMethod.CROSTON, 0.1)
    assert round(rates.size[0], 3) == 2.750
    assert round(1.0 / rates.probability[0], 3) == 2.793
    assert round(rates.rate[0], 3) == 0.985


@pytest.mark.parametrize(
    ("method", "smoothing", "rate"),
    [
        (IntermittentMethod.CROSTON, 0.1, 0.98459652),
        (IntermittentMethod.SBA, 0.1, 0.93536670),
        (IntermittentMethod.TSB, 0.1, 0.80406510),
        (IntermittentMethod.TSB, 0.2, 0.75936061),
    ],
)
def test_textbook_series_in_the_reference_library(method: IntermittentMethod, smoothing: float, rate: float):
    assert estimate_intermittent(PRODUCT_C, WHOLE, method, smoothing).rate[0] == pytest.approx(rate, abs=5e-8)


@pytest.mark.parametrize(
    ("method", "smoothing", "rate"),
    [
        (IntermittentMethod.CROSTON, 0.1, 1.2123472833329503),
        (IntermittentMethod.SBA, 0.1, 1.1517299191663026),
        (IntermittentMethod.TSB, 0.1, 1.0029160882010382),
        (IntermittentMethod.TSB, 0.3, 0.6302230054880714),
    ],
)
def test_another_series_in_the_reference_library(method: IntermittentMethod, smoothing: float, rate: float):
    """The library works in single precision in places, hence the tolerance."""
    both = np.concatenate([PRODUCT_C, SERIES])
    offsets = np.array([0, PRODUCT_C.size, both.size])
    assert estimate_intermittent(both, offsets, method, smoothing).rate[1] == pytest.approx(rate, rel=1e-6)
