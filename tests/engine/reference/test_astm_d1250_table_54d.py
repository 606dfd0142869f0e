"""Volume correction of lubricating oils against ASTM D1250-04 (API MPMS 11.1), Table 54D.

Form and constants are published, quoted second-hand; no printed cell of the table was at hand, so its values
are derived from them and checked against the 60 °F edition of the same standard.
"""

import numpy as np
import pytest

from service.engine.level.expansion import volume_correction_factor
from service.engine.level.setting import excess_millilitres

CELSIUS = np.array([-20.0, 0.0, 20.0, 40.0, 55.0, 80.0, 100.0, 120.0])
FACTORS = {
    850.0: [1.025639, 1.011041, 0.996303, 0.981437, 0.970211, 0.951370, 0.936194, 0.920937],
    870.0: [1.025055, 1.010788, 0.996388, 0.981866, 0.970901, 0.952501, 0.937680, 0.922783],
}


@pytest.mark.parametrize("density", [850.0, 870.0])
def test_volume_correction_table(density: float) -> None:
    """Table 54D form, α = 0.6278/ρ₁₅ (ASTM D1250-04, published, second-hand); values derived from it."""
    np.testing.assert_allclose(volume_correction_factor(CELSIUS, density), FACTORS[density], atol=5.1e-7)


@pytest.mark.parametrize("density", [850.0, 870.0, 1000.0])
def test_the_sixty_fahrenheit_edition_of_the_table_agrees(density: float) -> None:
    """Reference: API MPMS 11.1 at 60 °F, α = 0.34878/ρ₆₀ (published, second-hand), moved to 15 °C.

    The two editions agree to 1.2e-5 between −20 and 100 °C, the temperatures of level checks.
    """

    def factor_60f(celsius: np.ndarray | float, density_60f: float) -> np.ndarray:
        grown = 0.34878 / density_60f * (np.asarray(celsius) * 1.8 + 32.0 - 60.0)
        return np.exp(-grown * (1.0 + 0.8 * grown))

    density_60f = density
    for _ in range(20):
        density_60f = density / float(factor_60f(15.0, density_60f))
    moved = factor_60f(CELSIUS[:-1], density_60f) / factor_60f(15.0, density_60f)
    np.testing.assert_allclose(volume_correction_factor(CELSIUS[:-1], density), moved, rtol=0.0, atol=1.2e-5)


@pytest.mark.parametrize(
    ("litres", "cold", "warm", "at_850", "at_870"),
    [
        (7, 20, 55, 188.3, 183.8),
        (4, 20, 80, 188.9, 184.3),
        (7, 20, 80, 330.6, 322.5),
        (8, 15, 90, 476.4, 464.7),
        (9, 35, 45, 68.7, 67.1),
        (9, 40, 80, 284.4, 277.5),
    ],
)
def test_what_a_charge_grows_by(
    litres: float, cold: float, warm: float, at_850: float, at_870: float
) -> None:
    """Millilitres for two densities; derived from Table 54D. A charge full when cold runs over when warm."""
    for density, expected in ((850.0, at_850), (870.0, at_870)):
        before, after = (volume_correction_factor(t, density) for t in (cold, warm))
        assert 1000 * litres * (before / after - 1.0) == pytest.approx(expected, abs=0.051)
        excess = excess_millilitres(
            volume_15c_litres=litres * before,
            level_litres=litres,
            check_celsius=warm,
            density_15c_kg_per_m3=density,
        )
        assert excess == pytest.approx(expected, abs=0.051)


def test_seven_litres_from_20_to_55_grow_by_2_689_percent() -> None:
    """Derived from Table 54D, density 850."""
    before, after = (volume_correction_factor(t, 850.0) for t in (20.0, 55.0))
    assert before / after - 1.0 == pytest.approx(0.02689, abs=5e-6)
