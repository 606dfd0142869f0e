"""ASTM D341, short form, seen quoted in public code; constants and other viscosities derived by hand from it."""

import pytest

from service.domain.grades.viscosity_temperature import ViscosityLine


# Derived from the published form.
@pytest.mark.parametrize(
    ("at_40", "at_100", "a", "b", "others"),
    [
        (35.0, 7.2, 7.99271, 3.12596, {20: 80.29, 80: 10.95, 120: 5.09}),
        (46.0, 6.8, 9.41799, 3.68444, {20: 133.84, 80: 11.10}),
    ],
)
def test_a_line_through_two_points(
    at_40: float, at_100: float, a: float, b: float, others: dict[float, float]
) -> None:
    line = ViscosityLine.through(40, at_40, 100, at_100)
    assert line.a == pytest.approx(a, abs=5e-6)
    assert line.b == pytest.approx(b, abs=5e-6)
    for celsius, viscosity in others.items():
        assert line.viscosity_mm2_per_s(celsius) == pytest.approx(viscosity, abs=0.005)


def test_the_line_returns_the_points_that_made_it() -> None:
    line = ViscosityLine.through(100, 6.8, 40, 46.0)
    assert line.viscosity_mm2_per_s(40) == pytest.approx(46.0, rel=1e-12)
    assert line.viscosity_mm2_per_s(100) == pytest.approx(6.8, rel=1e-12)
