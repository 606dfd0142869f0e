"""Re-fitting ageing rates from samples."""

import numpy as np
import pytest
import statsmodels.api as sm

from service.engine.evidence.learning import AgeingSamples, refit_rates
from service.errors import InvalidInputError


def samples_of(
    multipliers: list[float], n_each: list[int], rng: np.random.Generator, sd: float = 0.08
) -> AgeingSamples:
    group = np.repeat(np.arange(len(multipliers)), n_each)
    expected = rng.uniform(0.2, 0.8, group.size)
    observed = expected * np.array(multipliers)[group] + rng.normal(0.0, sd, group.size)
    return AgeingSamples(
        expected_growth=expected,
        observed_growth=observed,
        observed_growth_sd=np.full(group.size, sd),
        group_index=group,
    )


def test_a_groups_own_estimate_is_weighted_least_squares_through_the_origin() -> None:
    """Reference: statsmodels 0.15.0 `WLS` without constant."""
    samples = samples_of([1.4], [30], np.random.default_rng(3))
    reference = sm.WLS(
        samples.observed_growth, samples.expected_growth, weights=1.0 / samples.observed_growth_sd**2
    ).fit()
    refit = refit_rates(samples, np.ones(1))
    assert refit.multiplier_observed[0] == pytest.approx(reference.params[0], rel=1e-12)


def test_many_samples_win_few_borrow_and_none_takes_the_fleets() -> None:
    samples = samples_of([1.6, 1.6, 0.9, 1.0], [200, 1, 200, 0], np.random.default_rng(5))
    refit = refit_rates(samples, np.ones(4))
    np.testing.assert_array_equal(refit.n_samples, [200, 1, 200, 0])
    assert refit.multiplier_proposed[0] == pytest.approx(1.6, abs=0.05)
    assert refit.multiplier_proposed[2] == pytest.approx(0.9, abs=0.05)
    assert 0.9 < refit.multiplier_proposed[3] < 1.6
    assert np.isnan(refit.multiplier_observed[3])
    assert refit.own_weight[0] > refit.own_weight[1] > refit.own_weight[3] == 0.0
    assert refit.log_sd[0] < refit.log_sd[1] < refit.log_sd[3]


def test_no_samples_leave_the_defaults() -> None:
    empty = np.empty(0)
    refit = refit_rates(
        AgeingSamples(
            expected_growth=empty,
            observed_growth=empty,
            observed_growth_sd=empty,
            group_index=np.empty(0, dtype=np.int64),
        ),
        np.array([1.0, 1.3]),
    )
    np.testing.assert_allclose(refit.multiplier_proposed, 1.0)
    np.testing.assert_array_equal(refit.multiplier_before, [1.0, 1.3])


def test_fitting_again_from_the_accepted_rates_gives_the_same_proposal() -> None:
    """Shrinkage goes to the default, not to what was last accepted, so that accepting twice changes nothing."""
    first = samples_of([1.5, 0.8], [12, 15], np.random.default_rng(8))
    proposal = refit_rates(first, np.ones(2)).multiplier_proposed
    again = AgeingSamples(
        expected_growth=first.expected_growth * proposal[first.group_index],
        observed_growth=first.observed_growth,
        observed_growth_sd=first.observed_growth_sd,
        group_index=first.group_index,
    )
    repeated = refit_rates(again, proposal).multiplier_proposed
    np.testing.assert_allclose(repeated, proposal, rtol=1e-12)


def test_samples_that_scatter_beyond_their_error_weigh_less() -> None:
    rng = np.random.default_rng(9)
    calm = samples_of([1.5], [40], rng)
    wild = AgeingSamples(
        expected_growth=calm.expected_growth,
        observed_growth=calm.observed_growth + rng.normal(0.0, 0.4, 40),
        observed_growth_sd=calm.observed_growth_sd,
        group_index=calm.group_index,
    )
    prior = np.ones(1)
    assert refit_rates(wild, prior).own_weight[0] < refit_rates(calm, prior).own_weight[0]


@pytest.mark.slow
def test_shrunk_rates_are_closer_to_the_truth_than_either_extreme() -> None:
    """Over 400 simulated fleets: smaller squared error than the groups' own rates and than the defaults,
    and 90 % intervals that hold 86 to 94 % of the true rates.
    """
    rng = np.random.default_rng(21)
    errors, inside, total = np.zeros(3), 0, 0
    for _ in range(400):
        truth = np.exp(rng.normal(0.2, 0.25, 8))
        refit = refit_rates(
            samples_of(list(truth), list(rng.integers(1, 9, 8)), rng, sd=0.2),
            np.ones(8),
        )
        proposed = np.log(refit.multiplier_proposed / truth)
        errors += [
            np.square(proposed).sum(),
            np.square(np.log(np.maximum(refit.multiplier_observed, 0.1) / truth)).sum(),
            np.square(np.log(truth)).sum(),
        ]
        inside += int((np.abs(proposed) < 1.645 * refit.log_sd).sum())
        total += 8
    assert errors[0] < 0.8 * errors[1]
    assert errors[0] < 0.8 * errors[2]
    assert 0.86 <= inside / total <= 0.94


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("expected_growth", 0.0),
        ("observed_growth", np.nan),
        ("observed_growth_sd", 0.0),
        ("group_index", 1),
        ("group_index", -1),
    ],
)
def test_senseless_samples_are_refused(field: str, value: float) -> None:
    fields = {"expected_growth": 0.5, "observed_growth": 0.5, "observed_growth_sd": 0.1, "group_index": 0}
    fields[field] = value
    samples = AgeingSamples(**{name: np.array([entry]) for name, entry in fields.items()})
    with pytest.raises(InvalidInputError):
        refit_rates(samples, np.ones(1))
