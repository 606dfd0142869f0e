"""Demand in the figures that a page shows: mean and quantiles, week by week and in all."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Floats
from service.engine.demand.lattice import (
    LatticeDistributions,
    distribution_mean,
    distribution_quantile,
    select_distributions,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Mean and quantiles week by week, each of shape (weeks,)."""

    mean: Floats
    q10: Floats
    q50: Floats
    q90: Floats

    @classmethod
    def of(cls, distributions: LatticeDistributions) -> "Band":
        """Summarise one distribution a week."""
        return cls(
            mean=distribution_mean(distributions),
            q10=distribution_quantile(distributions, 0.1),
            q50=distribution_quantile(distributions, 0.5),
            q90=distribution_quantile(distributions, 0.9),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """What a stream or a part comes to, week by week and over all weeks."""

    weekly: Band
    total: Band
    """Of shape (1,): the weeks are not independent, so their quantiles do not add up."""

    @classmethod
    def of(cls, weekly: LatticeDistributions, cumulative: LatticeDistributions) -> "Need":
        """Summarise the demand of each week and of all weeks up to each."""
        last = np.array([cumulative.first_quantity.size - 1], np.int64)
        return cls(weekly=Band.of(weekly), total=Band.of(select_distributions(cumulative, last)))


@dataclass(frozen=True, slots=True, kw_only=True)
class NamelessNeed:
    """What compartments that name no fluid will take: it is in no product's demand and in no order."""

    n_compartments: int
    litres: float
    """Expected over all weeks."""
