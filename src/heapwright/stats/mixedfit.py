"""The mixed model by REML: readings of many heaps, with how alike readings of one heap are.

Units: variances in the unit of the readings squared, ages and ranges in days.
Conventions: y = X b + heap (+ slope of the heap) (+ spot in the heap) + wander + reading noise;
the wander is an Ornstein-Uhlenbeck course, two readings dt apart correlate as exp(-dt / range);
a variance may come out at 0 and is then named, not hidden. For the tool's use of it see
`heapwright.stats.mixed`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc

from heapwright.errors import InputError, NotEnoughError
from heapwright.stats.contrast import Interval, t_quantile
from heapwright.stats.mixedparts import Rows, Structure
from heapwright.stats.mixedsearch import Found, search

__all__ = ["FTest", "MixedFit", "fit_reml"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FTest:
    """Several contrasts at once: F on df1 and df2 degrees of freedom, and its chance figure."""

    f: float
    df1: int
    df2: float
    p_value: float


@dataclass(frozen=True, slots=True)
class MixedFit:
    """A mixed model fitted by REML.

    coef (p,), cov (p, p) : the fixed part and its covariance; parts : variances by name (heap,
    heap_slope_cov, slope, spot, wander, reading) and range_d [day]; at_boundary : the parts that
    came out at an end of their range, such as a variance of 0; criterion : minus twice the
    restricted log-likelihood; theta_cov (k, k), cov_slopes (k, p, p) : covariance of the variance
    parts inside their range, and what each does to cov.
    """

    coef: Floats
    cov: Floats
    parts: Mapping[str, float]
    at_boundary: tuple[str, ...]
    criterion: float
    theta_cov: Floats
    cov_slopes: Floats

    @property
    def loglik(self) -> float:
        """The restricted log-likelihood, constants included: minus half the criterion."""
        return -self.criterion / 2

    @property
    def se(self) -> Floats:
        """Standard error of each coefficient, (p,)."""
        return np.asarray(np.sqrt(np.diag(self.cov)))

    def df(self, weights: ArrayLike) -> float:
        """Satterthwaite's degrees of freedom of a weighted sum of coefficients.

        df = 2 (c'Cc)^2 / (g'Ag): A the covariance of the variance parts, from the Hessian of the
        criterion, and g the derivatives of c'Cc. Parts at their boundary are taken as known.
        """
        c = self._weights(weights)
        g = np.einsum("i,kij,j->k", c, self.cov_slopes, c)
        spread = float(g @ self.theta_cov @ g)
        return 2 * float(c @ self.cov @ c) ** 2 / spread if spread > 0 else math.inf

    def contrast(self, weights: ArrayLike, *, level: float = 0.95) -> Interval:
        """A weighted sum of coefficients with its t interval on Satterthwaite's df.

        weights : (p,); level : 0 to 1. `InputError` if there are not as many weights as
        coefficients.
        """
        c = self._weights(weights)
        estimate, se, df = float(c @ self.coef), math.sqrt(c @ self.cov @ c), self.df(c)
        reach = t_quantile(level, df) * se
        method = "mixed model (REML), Satterthwaite"
        return Interval(estimate, se, df, estimate - reach, estimate + reach, level, method)

    def f_test(self, rows: ArrayLike) -> FTest:
        """Whether several contrasts are all 0; rows : (q, p), linearly independent.

        The rows are turned into q uncorrelated contrasts; the mean of F over t^2 distributions of
        their df gives df2 = 2E / (E - q), E = sum of df / (df - 2) (Fai and Cornelius 1996,
        Journal of Statistical Computation and Simulation 54, 363-378, from memory). df2 is 2 if
        one of them is 2 or less.
        """
        table = np.atleast_2d(np.asarray(rows, dtype=np.float64))
        sizes, turn = np.linalg.eigh(table @ self.cov @ table.T)
        if not sizes[0] > 1e-12 * sizes[-1]:
            raise InputError("the rows of a joint test must not depend on each other", field="rows")
        single = turn.T @ table
        q = len(single)
        f = float(((single @ self.coef) ** 2 / sizes).mean())
        dfs = np.array([self.df(c) for c in single])
        if np.ptp(dfs) < 1e-6 * dfs.mean():
            df2 = float(dfs.mean())
        elif dfs.min() <= 2:
            df2 = 2.0
        else:
            e = float((dfs / (dfs - 2)).sum())
            df2 = 2 * e / (e - q)
        return FTest(f, q, df2, float(fdtrc(q, df2, f)))

    def _weights(self, weights: ArrayLike) -> Floats:
        c = np.asarray(weights, dtype=np.float64)
        if c.shape != self.coef.shape:
            raise InputError(
                f"a contrast needs one weight for each of the {self.coef.size} coefficients",
                field="weights",
                value=c.size,
            )
        return c


def fit_reml(
    y: ArrayLike,
    x: ArrayLike,
    heap: Sequence[object],
    *,
    slope: ArrayLike | None = None,
    spot: Sequence[object] | None = None,
    age_d: ArrayLike | None = None,
    reading_noise: bool = True,
) -> MixedFit:
    """Fit a linear mixed model by restricted maximum likelihood, heap by heap.

    Parameters
    ----------
    y : array, shape (n,)
        Readings, any unit.
    x : array, shape (n, p)
        Columns of the fixed part, of full rank, p < n.
    heap : sequence, length n
        Heap of every reading; every heap has a random intercept.
    slope : array, shape (n,), optional
        Covariate of a random slope, correlated with the intercept.
    spot : sequence, length n, optional
        Spot of every reading; spots of one heap differ by a random intercept. Names are within
        the heap: "core" in two heaps is two spots.
    age_d : array, shape (n,), optional
        Age [day]; with it, readings of one heap wander together with exp(-dt / range).
    reading_noise : bool, default True
        Whether white noise stands beside the wander; needed if ages of a heap come twice.

    Returns
    -------
    MixedFit

    Raises
    ------
    InputError
        If lengths do not match, a number is not finite, or columns depend on each other.
    NotEnoughError
        If there are no more readings than columns, nothing is left around the fixed part, or the
        search for the variances does not settle.

    References
    ----------
    Laird and Ware 1982, Biometrics 38, 963-974 (from memory). Against R (lme4, nlme, lmerTest) in
    tests/reference/test_mixed.py: criterion to 1e-6, variances and errors to the printed digits.

    Examples
    --------
    >>> fit = fit_reml([1.0, 2.0, 4.0, 6.0], np.ones((4, 1)), ["A", "A", "B", "B"])
    >>> fit.coef.round(2).tolist(), round(fit.parts["heap"], 3), round(fit.parts["reading"], 3)
    ([3.25], 5.5, 1.25)
    >>> round(fit.contrast([1.0]).df, 6)
    1.0
    """
    data = _checked(y, x, heap, slope, spot, age_d)
    structure = Structure(
        slope=slope is not None,
        spot=spot is not None,
        wander=age_d is not None,
        reading=reading_noise or age_d is None,
    )
    if structure.wander and not structure.reading:
        _refuse_twins(data)
    try:
        found = search(data, structure)
    except np.linalg.LinAlgError:
        raise _unsettled() from None
    if not found.settled:
        raise _unsettled()
    return _fitted(structure, found)


# --- parts ---------------------------------------------------------------------------------------


def _fitted(structure: Structure, found: Found) -> MixedFit:
    """The answer at the variances that were found."""
    at = found.at
    assert at.hessian is not None
    assert at.cov_slopes is not None
    turn = found.turn
    hessian = turn.T @ at.hessian @ turn + np.einsum("k,kij->ij", at.gradient, found.bend)
    parts = dict(zip(structure.names, found.theta.tolist(), strict=True))
    if "log_range" in parts:
        parts["range_d"] = math.exp(parts.pop("log_range"))
    return MixedFit(
        coef=at.coef,
        cov=at.cov,
        parts=parts,
        at_boundary=found.at_boundary,
        criterion=at.value,
        theta_cov=2 * _inverse(hessian),
        cov_slopes=np.einsum("kj,kab->jab", turn, at.cov_slopes),
    )


def _inverse(hessian: Floats) -> Floats:
    """Inverse over the directions in which the criterion really bends upwards."""
    scale = np.sqrt(np.maximum(np.abs(np.diag(hessian)), 1e-300))
    sizes, axes = np.linalg.eigh(hessian / np.outer(scale, scale))
    kept = sizes > 1e-8
    turned = axes[:, kept] / scale[:, None]
    return np.asarray((turned / sizes[kept]) @ turned.T)


def _checked(
    y: ArrayLike,
    x: ArrayLike,
    heap: Sequence[object],
    slope: ArrayLike | None,
    spot: Sequence[object] | None,
    age_d: ArrayLike | None,
) -> list[Rows]:
    """The readings, heap by heap."""
    values = np.asarray(y, dtype=np.float64)
    table = np.asarray(x, dtype=np.float64)
    n = values.size
    zero = np.zeros(n)
    z = zero if slope is None else np.asarray(slope, dtype=np.float64)
    age = zero if age_d is None else np.asarray(age_d, dtype=np.float64)
    spots = [0] * n if spot is None else list(spot)
    if table.ndim != 2 or {len(table), len(heap), z.size, age.size, len(spots)} != {n}:
        raise InputError("every reading needs one row of everything", field="y", value=n)
    for name, column in (("y", values), ("x", table), ("slope", z), ("age_d", age)):
        if not np.isfinite(column).all():
            raise InputError("every number of the model must be finite", field=name)
    if n <= table.shape[1]:
        raise NotEnoughError(
            "there are no more readings than columns of the fixed part",
            field="readings",
            value=n,
            way_out="Read more rounds, or ask for fewer columns",
        )
    triangle: Floats = np.asarray(np.linalg.qr(np.column_stack([table, values]), mode="r"))
    # what each column has of its own beside those before it; the last one is that of y
    own, whole = np.abs(np.diag(triangle)), np.sqrt((triangle**2).sum(axis=0))
    if not (own[:-1] > 1e-10 * whole[:-1]).all():
        raise InputError(
            "columns of the fixed part depend on each other",
            field="x",
            way_out="Leave one of them out",
        )
    if not own[-1] > 1e-10 * whole[-1]:
        raise NotEnoughError(
            "the readings lie exactly on the fixed part, so nothing shows how far they spread",
            field="readings",
            way_out="Enter the readings as they were read, or rest on the pooled interval",
        )
    rows: dict[object, list[int]] = {}
    for i, one in enumerate(heap):
        rows.setdefault(one, []).append(i)
    heaps = []
    for which in rows.values():
        numbers = {s: i for i, s in enumerate(dict.fromkeys(spots[j] for j in which))}
        number = np.array([numbers[spots[j]] for j in which], dtype=np.intp)
        heaps.append(Rows(values[which], table[which], z[which], number, age[which]))
    return heaps


def _refuse_twins(data: Sequence[Rows]) -> None:
    if any(np.unique(b.age_d).size < b.age_d.size for b in data):
        raise InputError(
            "two readings of one heap have the same age, so reading noise cannot be left out",
            field="reading_noise",
            value=False,
            way_out="Keep the reading noise, or average readings of one round first",
        )


def _unsettled() -> NotEnoughError:
    return NotEnoughError(
        "the search for the variances did not settle: these readings do not tell them apart",
        field="readings",
        way_out="Read more rounds, or rest on the pooled interval",
    )
