"""Several levels of a design's factor against one control, all intervals holding together.

Units: estimates in the unit of the outcome, level minus control; chance figures 0 to 1.
Conventions: fits are those of `stats.linear`; intervals are prior-free unless a prior is given.
Accuracy: critical values 1e-5 (from 2 degrees of freedom on) where two differences correlate as a
product of two numbers; else by directions of a fixed seed, from 4 degrees of freedom on within
1e-4 for five differences and 1e-3 for ten; every result carries its own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.errors import InputError, NotEnoughError
from heapwright.stats import dunnett
from heapwright.stats.contrast import Interval
from heapwright.stats.designs import effect_weights
from heapwright.stats.estimable import contrast, estimable
from heapwright.stats.linear import Fit, Setting
from heapwright.stats.prior import SpreadPrior

__all__ = ["ManyToOne", "Together", "many_to_one"]

Floats = NDArray[np.float64]
_SCRAMBLES, _POINTS, _SEED = 8, 32768, 1


@dataclass(frozen=True, slots=True)
class ManyToOne:
    """Several levels against one control, by level.

    together : intervals that all hold at once; alone : each by itself; p : chance figures adjusted
    for all; critical : standard errors each of *together* is wide; accuracy : of *critical* (three
    standard errors, 1e-5 for the quadrature), *p* is better; correlation : of the estimates.
    """

    control: str
    together: Mapping[str, Interval]
    alone: Mapping[str, Interval]
    p: Mapping[str, float]
    critical: float
    accuracy: float
    correlation: tuple[tuple[float, ...], ...]


def many_to_one(
    f: Fit,
    factor: str,
    control: str,
    *,
    at: Setting | None = None,
    prior: SpreadPrior | None = None,
    level: float = 0.95,
) -> ManyToOne:
    """Every level of a factor against a control level, all intervals holding together.

    Arguments and errors as `designs.effect`. With blocks or unequal numbers the correlation of the
    estimates is that of the design, C (X'X)^- C'.

    References
    ----------
    Dunnett 1955, Journal of the American Statistical Association 50, 1096-1121 (from memory).

    Examples
    --------
    >>> from heapwright.stats.linear import HeapRow, fit
    >>> rows = [HeapRow(f"{w}{i}", v, w) for w, vs in {"std": [55, 47, 48], "A": [55, 64, 64],
    ...         "B": [55, 49, 52], "C": [50, 44, 41]}.items() for i, v in enumerate(vs)]
    >>> found = many_to_one(fit(rows, ["way"]), "way", "std")
    >>> round(found.critical, 4), round(found.p["A"], 4)
    (2.8797, 0.0366)
    """
    ways = [v for v in f.levels.get(factor, ()) if v != control]
    if not ways:
        raise NotEnoughError(
            f"there is no other {factor} than {control}, and nothing to compare it with",
            field=factor,
            way_out="Treat at least one heap differently, or add the factor to the terms",
        )
    asked = {way: effect_weights(factor, way, control, at or {}) for way in ways}
    alone = {way: contrast(f, w, prior=prior, level=level) for way, w in asked.items()}
    roots = np.array([estimable(f, w) @ f.root for w in asked.values()])
    roots /= np.linalg.norm(roots, axis=1, keepdims=True)
    joint = Together.of(roots @ roots.T, alone[ways[0]].df)
    critical, error = joint.critical(level)
    wide = {
        way: i.with_critical(critical, method=f"{i.method}; Dunnett for {len(ways)} levels")
        for way, i in alone.items()
    }
    p = {way: joint.p(_t(i)) for way, i in alone.items()}
    correlation = tuple(tuple(map(float, row)) for row in joint.correlation)
    return ManyToOne(control, wide, alone, p, critical, error, correlation)


@dataclass(frozen=True, slots=True, eq=False)
class Together:
    """Largest of several standardised differences with any correlation, two-sided.

    correlation : shape (k, k); df : >= 1; loading : shape (k,) where differences correlate as
    products, then exact quadrature; else reach : shape (scrambles, points), the largest difference
    along directions spread evenly over the sphere of *rank* dimensions, by a fixed seed.
    """

    correlation: Floats
    df: float
    loading: Floats | None
    reach: Floats | None
    rank: int

    @classmethod
    def of(cls, correlation: ArrayLike, df: float, *, quadrature: bool = True) -> Together:
        """Chooses the quadrature where the correlation allows it and *quadrature* is true."""
        r = np.atleast_2d(np.asarray(correlation, dtype=np.float64))
        if r.shape != r.T.shape or not np.allclose(r, r.T) or not np.allclose(np.diag(r), 1):
            raise InputError(
                "a correlation is a square, symmetric table with ones on its diagonal",
                field="correlation",
                value=r.tolist(),
            )
        if not df >= 1:
            raise InputError("degrees of freedom must be 1 or more", field="df", value=df)
        loading = _loadings(r) if quadrature and len(r) > 1 else None
        if loading is not None:
            return cls(r, min(float(df), 1e8), loading, None, len(r))
        reach, rank = _directions(r)
        return cls(r, min(float(df), 1e8), None, reach, rank)

    def inside(self, c: float) -> tuple[float, float]:
        """Chance that all stay below *c* >= 0 in size, and its accuracy."""
        if self.reach is None:
            assert self.loading is not None
            return dunnett.inside_chance(c, self.loading, self.df, True), 1e-5
        from scipy.special import fdtr

        # along a direction the length squared over rank follows F(rank, df)
        by_scramble = fdtr(self.rank, self.df, (c / self.reach) ** 2 / self.rank).mean(axis=1)
        return float(by_scramble.mean()), float(3 * by_scramble.std(ddof=1) / math.sqrt(_SCRAMBLES))

    def p(self, t: float) -> float:
        """Chance that the largest reaches *t* in size if there is no difference, 0 to 1."""
        return 0.0 if math.isinf(t) else min(1.0, max(0.0, 1 - self.inside(abs(t))[0]))

    def critical(self, level: float) -> tuple[float, float]:
        """How many standard errors wide intervals must be at *level* (0 to 1), and its accuracy."""
        from scipy.optimize import brentq
        from scipy.special import stdtrit

        if not 0 < level < 1:
            raise InputError("a level lies between 0 and 1", field="level", value=level)
        low = float(stdtrit(self.df, 0.5 + level / 2)) * 0.99
        high = float(stdtrit(self.df, 1 - (1 - level) / 2 / len(self.correlation))) * 1.01 + 0.01
        c = float(brentq(lambda x: self.inside(x)[0] - level, low, high, xtol=1e-9))
        slope = (self.inside(c * 1.001)[0] - self.inside(c * 0.999)[0]) / (0.002 * c)
        return c, max(1e-5, self.inside(c)[1] / slope if self.reach is not None else 0.0)


def _t(i: Interval) -> float:
    if i.se == 0:
        return 0.0 if i.estimate == 0 else math.inf
    return i.estimate / i.se


def _loadings(r: Floats) -> Floats | None:
    """l, all below 1 in size, with r[i, j] = l[i] l[j] off the diagonal; None if there is none."""
    k = len(r)
    off = ~np.eye(k, dtype=bool)
    if not np.any(np.abs(r[off]) > 1e-12):
        return np.zeros(k)
    if k == 2:
        size = math.sqrt(abs(r[0, 1]))
        found = np.array([size, math.copysign(size, r[0, 1])])
    else:
        i, j = np.unravel_index(int(np.argmax(np.abs(np.where(off, r, 0)))), r.shape)
        third = max((m for m in range(k) if m not in (i, j)), key=lambda m: abs(r[i, m] * r[j, m]))
        square = r[i, j] * r[i, third] / r[j, third] if r[j, third] else 0.0
        if square <= 0:
            return None
        found = r[i] / math.sqrt(square)
        found[i] = math.sqrt(square)
    fits = np.allclose(np.outer(found, found)[off], r[off], rtol=0, atol=1e-9)
    return found if fits and np.abs(found).max() < 1 - 1e-6 else None


def _directions(r: Floats) -> tuple[Floats, int]:
    """Largest difference in size along even directions, shape (scrambles, points), and the rank."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    size, axes = np.linalg.eigh(r)
    kept = size > 1e-10
    spread = axes[:, kept] * np.sqrt(size[kept])
    rank = int(kept.sum())
    if rank == 1:
        return np.ones((_SCRAMBLES, 1)), 1
    rng = np.random.default_rng(_SEED)
    even = [qmc.Sobol(rank, seed=rng).random(_POINTS) for _ in range(_SCRAMBLES)]
    z = ndtri(np.clip(even, 1e-12, 1 - 1e-12))
    z /= np.linalg.norm(z, axis=2, keepdims=True)
    return np.abs(z @ spread.T).max(axis=2), rank
