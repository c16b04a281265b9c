"""The ensemble smoother against the exact posterior of a linear model with normal errors."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from heapwright.errors import InputError
from heapwright.inference.smoother import Readings, smooth, update

Floats = NDArray[np.float64]
RNG = np.random.default_rng(11)
P, N_READ = 4, 12
MODEL = RNG.normal(0.0, 1.0, (N_READ, P))
PRIOR_MEAN = np.array([1.0, -0.5, 0.0, 2.0])
PRIOR_COV = np.diag([1.0, 0.25, 2.0, 0.5])
#: errors of a heap: one of its own a reading, and one that lasts
DAYS = np.arange(N_READ, dtype=np.float64)
ERRORS = 0.3 * np.eye(N_READ) + 0.5 * np.exp(-np.abs(DAYS[:, None] - DAYS) / 4.0)
TRUTH = np.array([1.8, -0.2, -1.0, 1.4])
OBSERVED = MODEL @ TRUTH + np.linalg.cholesky(ERRORS) @ RNG.normal(0.0, 1.0, N_READ)


def exact() -> tuple[Floats, Floats]:
    """Posterior mean and covariance by the rule for normal variables."""
    gain = PRIOR_COV @ MODEL.T @ np.linalg.inv(MODEL @ PRIOR_COV @ MODEL.T + ERRORS)
    mean = PRIOR_MEAN + gain @ (OBSERVED - MODEL @ PRIOR_MEAN)
    return mean, PRIOR_COV - gain @ MODEL @ PRIOR_COV


def drawn(members: int, seed: int) -> Floats:
    rng = np.random.default_rng(seed)
    return PRIOR_MEAN[:, None] + np.linalg.cholesky(PRIOR_COV) @ rng.normal(0, 1, (P, members))


def fitted(members: int, repeats: int, passes: int) -> tuple[Floats, Floats]:
    """Means (repeats, P) and covariances (repeats, P, P) of so many fits."""
    readings = Readings(OBSERVED, ERRORS)
    made = [
        smooth(drawn(members, seed), respond, readings, passes=passes, seed=seed)
        for seed in range(repeats)
    ]
    return np.array([m.mean(axis=1) for m in made]), np.array([np.cov(m) for m in made])


def respond(parameters: Floats) -> Floats:
    return MODEL @ parameters


@pytest.mark.reference(
    source="conditional normal distribution (computed beside it)",
    where="4 parameters, 12 readings with errors that last",
)
@pytest.mark.parametrize("passes", [1, 3])
def test_a_linear_model_gives_the_exact_posterior(passes: int) -> None:
    """Ten ensembles of 20,000: their means within four standard errors of the exact one."""
    mean, cov = exact()
    means, covs = fitted(20_000, 10, passes)
    error = means.std(axis=0, ddof=1) / np.sqrt(len(means))
    assert np.all(np.abs(means.mean(axis=0) - mean) < 4 * error)
    scale = np.sqrt(np.outer(np.diag(cov), np.diag(cov)))
    assert np.all(np.abs(covs.mean(axis=0) - cov) / scale < 0.02)


def test_as_few_members_as_a_fit_has_are_off_by_less_than_they_scatter() -> None:
    """With 100 members the mean is drawn towards the prior (order 1/N) and the spread too small."""
    mean, cov = exact()
    means, covs = fitted(100, 60, 3)
    sd = np.sqrt(np.diag(cov))
    assert np.all(np.abs(means.mean(axis=0) - mean) < 0.25 * sd)
    assert np.all(means.std(axis=0) < 0.25 * sd)
    shrunk = np.sqrt(np.diagonal(covs, axis1=1, axis2=2).mean(axis=0)) / sd
    assert np.all((shrunk > 0.8) & (shrunk < 1.05))


def test_a_fit_taken_up_again_gives_the_same() -> None:
    first = drawn(50, 1)
    kept: dict[int, Floats] = {}
    readings = Readings(OBSERVED, ERRORS)
    whole = smooth(first, respond, readings, passes=4, seed=9, on_pass=kept.__setitem__)
    again = smooth(kept[2], respond, readings, passes=4, seed=9, done=2)
    assert sorted(kept) == [1, 2, 3, 4]
    assert np.array_equal(whole, again)


def test_a_parameter_out_of_reach_stays_as_drawn() -> None:
    first = drawn(50, 1)
    reach = np.ones((P, N_READ))
    reach[2] = 0.0
    moved = update(first, respond(first), Readings(OBSERVED, ERRORS), reach=reach)
    assert np.array_equal(moved[2], first[2])
    assert not np.allclose(moved[0], first[0])


def test_what_does_not_fit_together_is_refused() -> None:
    first = drawn(20, 1)
    with pytest.raises(InputError, match="covariance"):
        Readings(OBSERVED, ERRORS[:3])
    with pytest.raises(InputError, match="observed"):
        Readings(np.full(N_READ, np.nan), ERRORS)
    with pytest.raises(InputError, match="responses"):
        update(first, respond(first)[:, :5], Readings(OBSERVED, ERRORS))
    with pytest.raises(InputError, match="responses"):
        update(first, respond(first) * np.nan, Readings(OBSERVED, ERRORS))
