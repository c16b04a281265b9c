"""An ensemble smoother: numbers that were drawn before the readings, moved until they fit them.

Shapes: parameters (P, N) and responses (n, N), N members; observed (n,); covariance (n, n) of all
that a reading differs by from what a member says. Conventions: parameters are normal before the
readings (transformed where they are not). The readings are taken in over several passes, each with
the covariance times the number of passes, which for a linear model is the same as once. A pass is a
function of its input and of (seed, number): one that is done again gives the same. Readings are
turned into ones with independent errors of 1 before the library sees them: its version 1.2 draws
errors with the wrong covariance where they hang together.
Source: Emerick and Reynolds 2013, Computers & Geosciences 55:3-15.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from iterative_ensemble_smoother import LocalizedESMDA
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from heapwright.errors import InputError

__all__ = ["Readings", "smooth", "update"]

Floats = NDArray[np.float64]
#: Share of the singular values of the responses that is kept; all of them, there are few.
_KEPT = 1.0
#: Sets the errors drawn here apart from all else that is drawn from the same seed.
_STREAM = 71


@dataclass(frozen=True, slots=True)
class Readings:
    """What was read: observed (n,), covariance (n, n) of its errors, positive definite.

    Raises `InputError` where shapes do not fit or a number is missing.
    """

    observed: Floats
    covariance: Floats

    def __post_init__(self) -> None:
        n = self.observed.shape
        if len(n) != 1 or self.covariance.shape != n * 2:
            raise InputError(
                "readings (n,) come with a covariance (n, n)", field="covariance",
                value=str(self.covariance.shape),
            )  # fmt: skip
        if not (np.isfinite(self.observed).all() and np.isfinite(self.covariance).all()):
            raise InputError("every reading is a number", field="observed", value="nan or infinite",
                             way_out="Leave out what was not read")  # fmt: skip


def update(
    parameters: Floats,
    responses: Floats,
    readings: Readings,
    *,
    number: int = 0,
    passes: int = 3,
    seed: int = 0,
    reach: Floats | None = None,
) -> Floats:
    """The parameters after pass *number* (from 0) of *passes*.

    reach (P, n) : 0 to 1, how far a parameter may follow a reading; all of them by default. Raises
    `InputError` where members or readings do not fit together.
    """
    if responses.shape != (readings.observed.size, parameters.shape[1]):
        raise InputError(
            "one response a reading and member", field="responses", value=str(responses.shape),
            way_out=f"({readings.observed.size}, {parameters.shape[1]}) is wanted",
        )  # fmt: skip
    if not np.isfinite(responses).all():
        raise InputError("a member came to no number", field="responses", value="nan or infinite",
                         way_out="Draw this member again")  # fmt: skip
    root = np.linalg.cholesky(readings.covariance * passes)
    told = solve_triangular(root, np.column_stack([readings.observed, responses]), lower=True)
    smoother = LocalizedESMDA(
        covariance=np.ones(readings.observed.size), observations=told[:, 0].copy(), alpha=1,
        seed=np.random.default_rng([_STREAM, seed, number]),
    )  # fmt: skip
    smoother.prepare_assimilation(Y=told[:, 1:], truncation=_KEPT)

    def within_reach(gain: Floats) -> Floats:
        """Weaken the gain, reading by reading as they were read."""
        if reach is None:
            return gain
        weakened: Floats = (solve_triangular(root.T, gain.T).T * reach) @ root
        return weakened

    moved = smoother.assimilate_batch(X=parameters, localization_callback=within_reach)
    return np.asarray(moved, dtype=np.float64)


def smooth(
    parameters: Floats,
    respond: Callable[[Floats], Floats],
    readings: Readings,
    *,
    passes: int = 3,
    seed: int = 0,
    done: int = 0,
    reach: Floats | None = None,
    on_pass: Callable[[int, Floats], None] | None = None,
) -> Floats:
    """The parameters after all passes.

    respond : what members say to each reading, (P, N) -> (n, N); done : passes that *parameters*
    have behind them, of a fit that is taken up again; on_pass : called after each with how many are
    done and the parameters then, which is what to keep.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> first = rng.normal(0.0, 1.0, (1, 4000))
    >>> read = Readings(np.array([1.0]), np.array([[1.0]]))
    >>> made = smooth(first, lambda x: x.copy(), read)
    >>> bool(abs(made.mean() - 0.5) < 0.05 and abs(made.var() - 0.5) < 0.05)
    True
    """
    for number in range(done, passes):
        parameters = update(
            parameters, respond(parameters), readings, number=number, passes=passes, seed=seed,
            reach=reach,
        )  # fmt: skip
        if on_pass is not None:
            on_pass(number + 1, parameters)
    return parameters
