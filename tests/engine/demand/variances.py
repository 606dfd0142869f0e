"""The variance of lattice distributions, from their points one by one."""

import numpy as np

from service.engine.demand.lattice import LatticeDistributions


def distribution_variance(distributions: LatticeDistributions) -> np.ndarray:
    """Variance of each distribution, in the squared unit of the quantities."""
    variances = []
    masses = np.split(distributions.probability, distributions.offsets[1:-1])
    for first, step, mass in zip(
        distributions.first_quantity, distributions.step_quantity, masses, strict=True
    ):
        quantity = first + step * np.arange(mass.size)
        variances.append(np.sum(mass * (quantity - np.sum(mass * quantity)) ** 2))
    return np.array(variances)
