"""What is counted: shares of seedlings and numbers in a field, with the heap as the unit.

Units: counts without unit; an exposure is what they were counted in (seeds sown, fields looked at).
Conventions: chance in the counting alone never makes a finding: how far heaps of one way differ
widens every range (an overdispersed binomial or Poisson model, dispersion never below 1, t on heaps
less ways). Estimates are ratios on the log or logit scale, way over control.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv, chdtri, ndtri

from heapwright.errors import InputError, NotEnoughError
from heapwright.stats.contrast import Interval, t_quantile

__all__ = [
    "Family", "counting_range", "difference_of_shares", "field_range", "ratio_of_counts",
]  # fmt: skip

Family = Literal["share", "rate"]
_A_HALF = 0.5


def ratio_of_counts(
    counts: Mapping[str, ArrayLike],
    exposures: Mapping[str, ArrayLike],
    way: str,
    control: str,
    *,
    family: Family,
    level: float = 0.95,
) -> Interval:
    """The log ratio of rates (``rate``) or of odds (``share``) of two ways.

    Every way has one rate, its counts over its exposures; the Pearson dispersion over all heaps,
    at least 1, widens the range; t on heaps less ways. A way without any (or with all) counted gets
    half a count more and half a miss more, so that its ratio is finite.

    Parameters
    ----------
    counts, exposures : mapping of str to array, shape (n,) each
        By way, one number a heap in the same order; counts >= 0, exposures > 0, and for a share
        no count above its exposure.
    way, control : str
        The estimate is log of way over control.
    family : {"share", "rate"}
        Out of so many (binomial), or in so many fields (Poisson).
    level : float, default 0.95
        Level of the interval, 0 to 1.

    Returns
    -------
    Interval
        On the log (odds) scale.

    Raises
    ------
    NotEnoughError
        If no way has two heaps: nothing shows how far heaps differ.
    InputError
        If counts and exposures do not match or are out of range.

    References
    ----------
    McCullagh and Nelder 1989, Generalized Linear Models, sections 4.5 and 6.2 (from memory).
    Against statsmodels' GLM with Pearson scale in tests/reference/test_counted.py.

    Examples
    --------
    >>> r = ratio_of_counts({"left": [40, 44], "turned": [62, 55]},
    ...                     {"left": [100, 100], "turned": [100, 100]},
    ...                     "turned", "left", family="share")
    >>> round(math.exp(r.estimate), 2), r.df
    (1.95, 2.0)
    """
    each = {w: _checked(counts[w], exposures[w], w, family) for w in counts}
    heaps = sum(c.size for c, _ in each.values())
    df = float(heaps - len(each))
    if df < 1:
        raise NotEnoughError(
            "with one heap each nothing in the trial shows how far heaps treated alike differ",
            field="heaps",
            way_out="Build a second heap of at least one way",
        )
    pearson = 0.0
    for c, e in each.values():
        rate = c.sum() / e.sum()
        expected = rate * e
        spread = expected * (1 - rate) if family == "share" else expected
        pearson += float(np.sum((c - expected) ** 2 / spread)) if spread.sum() > 0 else 0.0
    dispersion = max(pearson / df, 1.0)
    (level_a, var_a), (level_b, var_b) = (
        _level_of(*each[w], family=family) for w in (way, control)
    )
    se = math.sqrt(dispersion * (var_a + var_b))
    what = "binomial" if family == "share" else "Poisson"
    reach = t_quantile(level, df) * se
    estimate = level_a - level_b
    return Interval(
        estimate, se, df, estimate - reach, estimate + reach, level,
        f"{what} with spread between heaps {dispersion:.2f} times that of counting",
    )  # fmt: skip


def _level_of(counts: np.ndarray, exposures: np.ndarray, *, family: Family) -> tuple[float, float]:
    """Log rate or log odds of one way, and its variance by counting alone."""
    hit, out_of = float(counts.sum()), float(exposures.sum())
    if family == "rate":
        hit = hit or _A_HALF
        return math.log(hit / out_of), 1 / hit
    miss = out_of - hit
    if hit == 0 or miss == 0:
        hit, miss = hit + _A_HALF, miss + _A_HALF
    return math.log(hit / miss), 1 / hit + 1 / miss


def _checked(
    counts: ArrayLike, exposures: ArrayLike, way: str, family: Family
) -> tuple[np.ndarray, np.ndarray]:
    c = np.atleast_1d(np.asarray(counts, dtype=np.float64))
    e = np.atleast_1d(np.asarray(exposures, dtype=np.float64))
    if c.shape != e.shape or not (np.isfinite(c).all() and np.isfinite(e).all()):
        raise InputError(
            f"every heap of way {way} needs a count and what it was counted in",
            field=way,
            value=f"{c.size} counts, {e.size} exposures",
            way_out="Log both, or leave the heap out",
        )
    if (c < 0).any() or (e <= 0).any() or (family == "share" and (c > e).any()):
        raise InputError(
            f"a count of way {way} does not fit what it was counted in",
            field=way,
            value=", ".join(f"{a:g} of {b:g}" for a, b in zip(c[:4], e[:4], strict=True)),
            way_out="No count is below 0 or above the number sown",
        )
    return c, e


def counting_range(
    count: float, out_of: float, *, family: Family, level: float = 0.95
) -> tuple[float, float]:
    """What chance in the counting alone allows for one heap's share or number a field.

    Exact limits (Clopper-Pearson for a share, Garwood for a number): nothing about other heaps.

    References
    ----------
    Clopper and Pearson 1934, Biometrika 26, 404-413; Garwood 1936, Biometrika 28, 437-442 (from
    memory); checked by their definition in tests/unit/stats/test_counted.py.

    Examples
    --------
    >>> [round(x, 3) for x in counting_range(7, 10, family="share")]
    [0.348, 0.933]
    >>> [round(x, 2) for x in counting_range(10, 1, family="rate")]
    [4.8, 18.39]
    """
    _checked(count, out_of, "counted", family)
    tail = (1 - level) / 2
    if family == "rate":
        low = float(chdtri(2 * count, 1 - tail)) / 2 if count else 0.0
        return low / out_of, float(chdtri(2 * count + 2, tail)) / 2 / out_of
    low = float(betaincinv(count, out_of - count + 1, tail)) if count else 0.0
    high = float(betaincinv(count + 1, out_of - count, 1 - tail)) if count < out_of else 1.0
    return low, high


def difference_of_shares(
    up: int, sown: int, up_other: int, sown_other: int, *, level: float = 0.95
) -> tuple[float, float, float]:
    """One share less another, with what chance in the counting alone allows (Newcombe's method 10).

    Two Wilson score ranges put together; nothing about other heaps. Raises `InputError` for counts
    above what was sown.

    References
    ----------
    Newcombe 1998, Statistics in Medicine 17, 873-890 (from memory). Against statsmodels in
    tests/reference/test_finish.py.

    Examples
    --------
    >>> [round(x, 2) for x in difference_of_shares(7, 10, 9, 10)]
    [-0.2, -0.51, 0.16]
    """
    _checked([up, up_other], [sown, sown_other], "counted", "share")
    one, other = up / sown, up_other / sown_other
    (low, high), (low_o, high_o) = _wilson(one, sown, level), _wilson(other, sown_other, level)
    gap = one - other
    return (
        gap,
        gap - math.hypot(one - low, high_o - other),
        gap + math.hypot(high - one, other - low_o),
    )


def _wilson(share: float, sown: int, level: float) -> tuple[float, float]:
    """Wilson's score range of a share."""
    z = float(ndtri((1 + level) / 2))
    middle = share + z * z / (2 * sown)
    reach = z * math.sqrt(share * (1 - share) / sown + (z / (2 * sown)) ** 2)
    return (middle - reach) / (1 + z * z / sown), (middle + reach) / (1 + z * z / sown)


def field_range(fields: Sequence[float], *, level: float = 0.95) -> tuple[float, float, float]:
    """Mean number a field of one heap with its range, from how far the fields differ.

    The variance of a field is that of its counts, and never less than that of chance in counting
    (the mean); t on fields less one. Needs two fields (`NotEnoughError`).

    >>> [round(x, 1) for x in field_range([12, 18, 9, 21])]
    [15.0, 6.3, 23.7]
    """
    found = np.asarray(fields, dtype=np.float64)
    if found.size < 2:
        raise NotEnoughError(
            "one field does not show how far fields differ",
            field="fields",
            value=found.size,
            way_out="Count at least two, better ten",
        )
    mean = float(found.mean())
    se = math.sqrt(max(float(found.var(ddof=1)), mean) / found.size)
    reach = t_quantile(level, found.size - 1.0) * se
    return mean, mean - reach, mean + reach
