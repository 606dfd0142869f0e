"""Two correlated limits: the probability that both normal scores stay below their bounds."""

from dataclasses import dataclass
from typing import Final, Self

import numpy as np
from numpy.typing import DTypeLike

from service.engine.arrays import Integers
from service.engine.due.precision import AnyFloats

# Correlations beyond this count as this: six nodes keep the error below 5e-6 up to here, and below 1e-8 up to .8
# (measured against Owen's T function).
CORRELATION_BOUND: Final = 0.95

# The weights are the same on both sides of the middle: the second half of the nodes mirrors the first.
_HALF: Final = 3
_NODES, _WEIGHTS = (
    np.concatenate([one[:_HALF], one[: _HALF - 1 : -1]]) for one in np.polynomial.legendre.leggauss(2 * _HALF)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Dependence:
    """The correlation of two scores in each of n columns, ready for repeated use.

    `sine` and `scale` have a row for each node, `node_weight` for half of them; the others have shape (n,).
    """

    correlation: AnyFloats
    weight: AnyFloats
    sine: AnyFloats
    scale: AnyFloats
    node_weight: AnyFloats

    @classmethod
    def of(cls, correlation: AnyFloats, dtype: DTypeLike = np.float64) -> Self:
        """Prepare correlations, shape (n,), within ±CORRELATION_BOUND, for bounds in the given precision."""
        bounded = np.clip(correlation.astype(dtype), -CORRELATION_BOUND, CORRELATION_BOUND)
        half_angle = np.arcsin(bounded) / 2.0
        sine = half_angle * (_NODES[:, np.newaxis] + 1.0).astype(dtype)
        np.sin(sine, out=sine)
        scale = sine * sine
        np.subtract(1.0, scale, out=scale)
        return cls(
            correlation=bounded,
            weight=half_angle / (2.0 * np.pi),
            sine=sine,
            scale=np.divide(1.0, scale, out=scale),
            node_weight=_WEIGHTS[:_HALF, np.newaxis].astype(dtype),
        )

    def of_columns(self, columns: Integers) -> "Dependence":
        """Pick columns."""
        return Dependence(
            correlation=self.correlation.take(columns),
            weight=self.weight.take(columns),
            sine=self.sine.take(columns, axis=1),
            scale=self.scale.take(columns, axis=1),
            node_weight=self.node_weight,
        )

    def of_first(self, n_columns: int) -> "Dependence":
        """Pick the first columns, as views."""
        return Dependence(
            correlation=self.correlation[:n_columns],
            weight=self.weight[:n_columns],
            sine=self.sine[:, :n_columns],
            scale=self.scale[:, :n_columns],
            node_weight=self.node_weight,
        )

    def excess(self, first: AnyFloats, second: AnyFloats) -> AnyFloats:
        """Give what correlation adds to the probability that both scores stay below their bounds.

        Parameters
        ----------
        first, second : ndarray, shape (n,)
            Bounds, finite, in the precision that was prepared for.

        Returns
        -------
        ndarray, shape (n,), of that precision
            Phi2(h, k; r) - Phi(h) Phi(k); the same for (-h, -k).

        Notes
        -----
        1/(2 pi) * integral over 0..asin r of exp(-(h² + k² - 2 h k sin a) / (2 cos² a)) da [1]_, by Gauss-Legendre
        quadrature. Costs six exponentials an element, a tenth of Owen's T function.

        References
        ----------
        .. [1] Drezner, Z. and Wesolowsky, G. O., "On the computation of the bivariate normal integral",
           J. Statist. Comput. Simul. 35, 1990.
        """
        product = first * second
        half_squares = first * first
        half_squares += second * second
        half_squares *= 0.5
        density = product * self.sine
        density -= half_squares
        density *= self.scale
        np.exp(density, out=density)
        half = density[:_HALF]
        half += density[_HALF:]
        half *= self.node_weight
        total: AnyFloats = np.add.reduce(half, axis=0)
        total *= self.weight
        return total
