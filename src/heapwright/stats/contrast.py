"""Comparing two ways by one number a heap: informed, pooled and Welch intervals.

Values: one number a heap, in the unit of the outcome; the estimate is way minus control.
Conventions: all ways of a trial share one variance unless a method says otherwise; the heap is
the unit, so readings, spots and rounds never enter here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtr, stdtrit

from heapwright.errors import InputError, NotEnoughError, UnknownNameError
from heapwright.stats.prior import CovariatePrior, SpreadPrior

__all__ = [
    "Interval",
    "covariate_contrast",
    "informed_contrast",
    "pooled_t",
    "t_quantile",
    "welch",
]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimated difference with its interval.

    estimate, se, low, high : in the unit of the outcome; df : degrees of freedom of the t
    distribution; level : 0 to 1; method : which analysis, in a few words.
    """

    estimate: float
    se: float
    df: float
    low: float
    high: float
    level: float
    method: str

    @property
    def half_width(self) -> float:
        """Half the width of the interval."""
        return (self.high - self.low) / 2

    @property
    def excludes_zero(self) -> bool:
        """True if no difference at all lies outside the interval."""
        return self.low > 0 or self.high < 0

    @property
    def p_value(self) -> float:
        """Two-sided chance figure of the unadjusted t test of no difference."""
        if self.se == 0:
            return 1.0 if self.estimate == 0 else 0.0
        return float(2 * stdtr(self.df, -abs(self.estimate / self.se)))

    def at_level(self, level: float) -> Interval:
        """The same estimate with a t interval of another level (0 to 1)."""
        return _interval(self.estimate, self.se, self.df, level, self.method)

    def with_critical(self, critical: float, *, method: str) -> Interval:
        """The same estimate with another critical value, as of Dunnett's many-to-one test."""
        reach = critical * self.se
        return replace(self, low=self.estimate - reach, high=self.estimate + reach, method=method)


def t_quantile(level: float, df: float) -> float:
    """Two-sided critical value of the t distribution at *level* (0 to 1).

    >>> round(t_quantile(0.95, 10), 4)
    2.2281
    """
    if not 0 < level < 1:
        raise InputError("a level lies between 0 and 1", field="level", value=level)
    return float(stdtrit(df, 0.5 + level / 2))


def informed_contrast(
    groups: Mapping[str, ArrayLike],
    way: str,
    control: str,
    prior: SpreadPrior,
    *,
    level: float = 0.95,
) -> Interval:
    """The difference of two ways, with an informed spread between heaps.

    s^2 = (nu0 (s0^2 + vA) + Saa) / df with df = nu0 + H - K, for H heaps under K ways and the
    within-way sum of squares Saa; SE^2 = s^2 (1/n1 + 1/n2).

    Parameters
    ----------
    groups : mapping of str to array, shape (n,) each
        One value a heap [degrees C], by way; all ways of the trial, as they share the variance.
    way, control : str
        Which two of them; the estimate is way minus control.
    prior : SpreadPrior
        The assumed spread.
    level : float, default 0.95
        Level of the interval, 0 to 1.

    Returns
    -------
    Interval

    Raises
    ------
    UnknownNameError
        If a way is not in *groups*.
    NotEnoughError
        If a way has no heap.
    InputError
        If a value is not finite.

    Notes
    -----
    Conjugate normal model with a scaled inverse chi-square prior on the variance and flat means
    (textbook result); six digits in tests/reference/test_statistics.py, coverage in
    benchmarks/study.

    Examples
    --------
    >>> r = informed_contrast({"left": [31.2], "turned": [38.9]}, "turned", "left", SpreadPrior())
    >>> round(r.estimate, 1), round(r.half_width, 1)
    (7.7, 13.4)
    """
    data = _checked(groups, way, control)
    heaps = sum(v.size for v in data.values())
    df = prior.nu0 + heaps - len(data)
    s2 = (prior.nu0 * (prior.s0_c**2 + prior.va) + _within(data)) / df
    estimate, per_heap = _difference(data, way, control)
    method = f"informed spread, s0 = {prior.s0_c:g} C"
    return _interval(estimate, math.sqrt(s2 * per_heap), df, level, method)


def pooled_t(
    groups: Mapping[str, ArrayLike], way: str, control: str, *, level: float = 0.95
) -> Interval:
    """The difference of two ways by a t interval with the spread pooled over all ways.

    Assumes nothing about the spread but that it is the same under every way. Same arguments,
    result and errors as `informed_contrast`, without a prior; `NotEnoughError` if no way has two
    heaps.

    Examples
    --------
    >>> r = pooled_t({"left": [31.2, 27.5], "turned": [38.9, 36.1]}, "turned", "left")
    >>> round(r.estimate, 2), r.df
    (8.15, 2.0)
    """
    data = _checked(groups, way, control)
    df = float(sum(v.size for v in data.values()) - len(data))
    if df < 1:
        raise NotEnoughError(
            "with one heap each nothing in the trial shows how far heaps treated alike differ",
            field="heaps",
            way_out="Build a second heap of at least one way",
        )
    estimate, per_heap = _difference(data, way, control)
    se = math.sqrt(_within(data) / df * per_heap)
    return _interval(estimate, se, df, level, "pooled t, nothing assumed about the spread")


def welch(
    groups: Mapping[str, ArrayLike], way: str, control: str, *, level: float = 0.95
) -> Interval:
    """The difference of two ways by Welch's interval: each way has a spread of its own.

    Same arguments, result and errors as `pooled_t`; needs two heaps of both ways
    (`NotEnoughError`), and is only worth showing from three on.

    References
    ----------
    Welch 1947, Biometrika 34, 28-35 (from memory). Against R's t.test on the sleep data in
    tests/reference/test_statistics.py.

    Examples
    --------
    >>> r = welch({"a": [0, 1, 2], "b": [5, 8, 11]}, "b", "a")
    >>> round(r.estimate, 3), round(r.df, 3)
    (7.0, 2.439)
    """
    data = _checked(groups, way, control)
    a, b = data[way], data[control]
    if min(a.size, b.size) < 2:
        raise NotEnoughError(
            "a spread for each way needs two heaps of each",
            field="heaps",
            value=f"{way}: {a.size}, {control}: {b.size}",
            way_out="Build another heap, or use the pooled interval",
        )
    va, vb = float(a.var(ddof=1)) / a.size, float(b.var(ddof=1)) / b.size
    total = va + vb
    if total == 0:
        df = float(a.size + b.size - 2)
    else:
        df = total**2 / (va**2 / (a.size - 1) + vb**2 / (b.size - 1))
    estimate = float(a.mean() - b.mean())
    return _interval(estimate, math.sqrt(total), df, level, "Welch, a spread for each way")


def covariate_contrast(
    groups: Mapping[str, ArrayLike],
    starts: Mapping[str, ArrayLike],
    way: str,
    control: str,
    prior: SpreadPrior,
    *,
    slope: CovariatePrior | None = None,
    level: float = 0.95,
) -> Interval:
    """The informed difference with the common phase of each heap as covariate.

    beta = (Sab + m k0)/(Sbb + k0), RSS = Saa - 2 beta Sab + beta^2 Sbb + k0 (beta - m)^2,
    s^2 = (nu0 r0 + RSS)/df, SE^2 = s^2 (1/n1 + 1/n2 + dB^2/(Sbb + k0)), with
    r0 = s0^2 (1 - m^2) + vA, k0 = r0/sd^2 and df = nu0 + H - K.

    Parameters
    ----------
    groups, starts : mapping of str to array, shape (n,) each
        Outcome and value of the common phase, one a heap in the same order [degrees C].
    way, control : str
        The estimate is way minus control.
    prior : SpreadPrior
        The assumed spread.
    slope : CovariatePrior, optional
        The assumed slope; that of science/values/spread.toml unless given.
    level : float, default 0.95
        Level of the interval.

    Returns
    -------
    Interval
        Worth showing from three heaps a way on, and only beside the line without it.

    Raises
    ------
    InputError
        If starts and outcomes do not match heap by heap; else as `informed_contrast`.

    Examples
    --------
    >>> after = {"left": [31.2, 27.5], "turned": [38.9, 36.1]}
    >>> before = {"left": [44.0, 40.5], "turned": [43.1, 45.2]}
    >>> round(covariate_contrast(after, before, "turned", "left", SpreadPrior()).estimate, 6)
    7.551787
    """
    slope = slope or CovariatePrior.published()
    data, first = _checked(groups, way, control), _checked(starts, way, control)
    if {k: v.size for k, v in data.items()} != {k: v.size for k, v in first.items()}:
        raise InputError(
            "every heap needs one value of the common phase and one of the outcome",
            field="starts",
            way_out="Leave the heap without one out of both, or leave the covariate out",
        )
    saa, sbb = _within(data), _within(first)
    sab = sum(float(np.dot(v - v.mean(), first[k] - first[k].mean())) for k, v in data.items())
    m = slope.slope
    r0 = prior.s0_c**2 * (1 - m**2) + prior.va
    k0 = r0 / slope.slope_sd**2
    beta = (sab + m * k0) / (sbb + k0)
    rss = saa - 2 * beta * sab + beta**2 * sbb + k0 * (beta - m) ** 2
    df = prior.nu0 + sum(v.size for v in data.values()) - len(data)
    da, per_heap = _difference(data, way, control)
    db, _ = _difference(first, way, control)
    s2 = (prior.nu0 * r0 + rss) / df
    se = math.sqrt(s2 * (per_heap + db**2 / (sbb + k0)))
    method = f"informed spread with the common phase as covariate, slope {beta:.2f}"
    return _interval(da - beta * db, se, df, level, method)


def _interval(estimate: float, se: float, df: float, level: float, method: str) -> Interval:
    reach = t_quantile(level, df) * se
    return Interval(estimate, se, df, estimate - reach, estimate + reach, level, method)


def _checked(groups: Mapping[str, ArrayLike], way: str, control: str) -> dict[str, Floats]:
    """*groups* as float arrays, with both ways there and every way with a heap."""
    for name, field in ((way, "way"), (control, "control")):
        if name not in groups:
            raise UnknownNameError(
                "there is no way of that name in this comparison",
                field=field,
                value=name,
                way_out=f"Choose one of {', '.join(groups)}",
            )
    if way == control:
        raise InputError("a way cannot be compared with itself", field="way", value=way)
    data: dict[str, Floats] = {}
    for name, values in groups.items():
        array = np.atleast_1d(np.asarray(values, dtype=np.float64))
        if array.size == 0:
            raise NotEnoughError(
                f"no heap of way {name} has a value",
                field="heaps",
                way_out=f"Measure a heap of way {name}, or compare the other ways",
            )
        if array.ndim != 1 or not np.isfinite(array).all():
            raise InputError(
                f"the values of way {name} must be one finite number a heap",
                field=name,
                value=_listed(array.ravel()),
            )
        data[name] = array
    return data


def _listed(values: Floats) -> str:
    parts: Sequence[str] = [f"{v:g}" for v in values[:6]]
    return ", ".join(parts)


def _within(data: Mapping[str, Floats]) -> float:
    """Sum of squares within ways."""
    return sum(float(((v - v.mean()) ** 2).sum()) for v in data.values())


def _difference(data: Mapping[str, Floats], way: str, control: str) -> tuple[float, float]:
    """The difference of means, and 1/n1 + 1/n2."""
    a, b = data[way], data[control]
    return float(a.mean() - b.mean()), 1 / a.size + 1 / b.size
