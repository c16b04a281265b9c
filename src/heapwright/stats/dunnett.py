"""Several ways against one control: Dunnett's critical values and chance figures.

Own quadrature of the multivariate t distribution with product correlation, for any degrees of
freedom and unequal numbers of heaps. No units: standardised differences in and out.
Accuracy: 1e-5 or better, against values printed elsewhere in tests/reference/test_statistics.py.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import InputError

__all__ = ["adjusted_p", "critical_value", "inside_chance", "loadings"]

Floats = NDArray[np.float64]
_Z_NODES, _S_NODES = 160, 80
_Z_END, _TAIL = 8.5, 1e-13


def loadings(n_control: int, n_ways: Sequence[int]) -> tuple[float, ...]:
    """Loading of each way's difference on the shared control: sqrt(n / (n + n_control)).

    Two differences correlate as the product of their loadings; equal numbers give 0.5.

    >>> round(loadings(4, [4, 4])[0] ** 2, 3)
    0.5
    """
    if n_control < 1 or not n_ways or min(n_ways) < 1:
        raise InputError(
            "every way and the control need at least one heap",
            field="heaps",
            value=f"control {n_control}, ways {list(n_ways)}",
        )
    return tuple(math.sqrt(n / (n + n_control)) for n in n_ways)


def adjusted_p(
    t: float,
    n_control: int,
    n_ways: Sequence[int],
    df: float,
    *,
    two_sided: bool = True,
) -> float:
    """Chance figure of one standardised difference, adjusted for all that are looked at.

    Parameters
    ----------
    t : float
        Difference over its standard error; one-sided: the side on which it counts is positive.
    n_control : int
        Heaps of the control, >= 1.
    n_ways : sequence of int
        Heaps of every other way, each >= 1.
    df : float
        Degrees of freedom of the shared variance, >= 1; infinity is allowed.
    two_sided : bool, default True
        Whether a difference in either direction counts.

    Returns
    -------
    float
        0 to 1: the chance that the largest of the differences reaches *t* if there is none.

    Raises
    ------
    InputError
        If a way has no heap or df is below 1.

    References
    ----------
    Dunnett 1955, Journal of the American Statistical Association 50, 1096-1121 (from memory).

    Examples
    --------
    >>> round(adjusted_p(3.0907, 3, [3, 3, 3], 8), 4)
    0.0366
    """
    loading = np.array(loadings(n_control, n_ways))
    c = abs(t) if two_sided else t
    return min(1.0, max(0.0, 1 - inside_chance(c, loading, _checked_df(df), two_sided)))


def critical_value(
    n_control: int,
    n_ways: Sequence[int],
    df: float,
    *,
    level: float = 0.95,
    two_sided: bool = True,
) -> float:
    """How many standard errors wide each interval must be for all of them to hold together.

    Arguments and errors as in `adjusted_p`; level : the chance that all intervals hold, 0 to 1.

    Examples
    --------
    >>> round(critical_value(1, [1, 1], 8), 4)
    2.6728
    """
    if not 0 < level < 1:
        raise InputError("a level lies between 0 and 1", field="level", value=level)
    return _critical(loadings(n_control, n_ways), _checked_df(df), level, two_sided)


@functools.lru_cache(maxsize=512)
def _critical(loading: tuple[float, ...], df: float, level: float, two_sided: bool) -> float:
    from scipy.optimize import brentq
    from scipy.special import stdtrit

    array = np.array(loading)
    one, many = 0.5 + level / 2, 0.5 + (1 + level ** (1 / array.size)) / 4
    if not two_sided:
        one, many = level, level ** (1 / array.size)
    # below: a single comparison; above: a bound that holds for any correlation (Bonferroni)
    bonferroni = 1 - (1 - one) / array.size
    low = float(stdtrit(df, one)) - 0.01
    high = float(stdtrit(df, max(many, bonferroni))) + 0.01
    return float(
        brentq(lambda c: inside_chance(c, array, df, two_sided) - level, low, high, xtol=1e-9)
    )


def _checked_df(df: float) -> float:
    if not df >= 1:
        raise InputError("degrees of freedom must be 1 or more", field="df", value=df)
    return min(float(df), 1e8)


@functools.cache
def _legendre(count: int) -> tuple[Floats, Floats]:
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


@functools.lru_cache(maxsize=256)
def _scale(df: float) -> tuple[Floats, Floats]:
    """Nodes and weights for s = chi / sqrt(df): Gauss-Legendre over all but 1e-13 of it."""
    from scipy.special import chdtri, gammaln

    low = math.sqrt(float(chdtri(df, 1 - _TAIL)) / df)
    high = math.sqrt(float(chdtri(df, _TAIL)) / df)
    nodes, weights = _legendre(_S_NODES)
    s = low + (nodes + 1) / 2 * (high - low)
    log_density = (
        math.log(2)
        + df / 2 * math.log(df / 2)
        - float(gammaln(df / 2))
        + (df - 1) * np.log(s)
        - df * s**2 / 2
    )
    w = weights * np.exp(log_density)
    return s, w / w.sum()


def inside_chance(c: float, loading: Floats, df: float, two_sided: bool = True) -> float:
    """Chance that all standardised differences stay below *c* if there is none.

    Parameters
    ----------
    c : float
        Standard errors, >= 0 if two-sided.
    loading : array, shape (k,)
        Loading of each difference, above -1 and below 1: two of them correlate as the product of
        their loadings. From `loadings`, or of a design's own correlation; not checked.
    df : float
        Degrees of freedom of the shared variance, >= 1; at most 1e8, not checked.
    two_sided : bool, default True
        Below *c* in size, or below *c* only.

    Returns
    -------
    float
        0 to 1, good to 1e-5 (to 1e-4 below 2 degrees of freedom).

    References
    ----------
    Dunnett 1955, Journal of the American Statistical Association 50, 1096-1121 (from memory).

    Examples
    --------
    >>> round(inside_chance(2.6728, np.sqrt([0.5, 0.5]), 8), 4)
    0.95
    """
    from scipy.special import ndtr

    s, ws = _scale(df)
    nodes, weights = _legendre(_Z_NODES)
    z = nodes * _Z_END
    wz = weights * np.exp(-(z**2) / 2)
    wz = wz / wz.sum()
    inside = np.ones((s.size, z.size))
    distinct, times = np.unique(loading, return_counts=True)
    for part, power in zip(distinct, times, strict=True):
        rest = math.sqrt(1 - part**2)
        upper = ndtr((c * s[:, None] + part * z) / rest)
        if two_sided:
            upper = upper - ndtr((-c * s[:, None] + part * z) / rest)
        inside *= upper**power
    return float(ws @ inside @ wz)
