"""The search for the variance parts of a mixed model, and what it says about its ends.

Units: none; variances are searched relative to the scale, which has its best value in closed form.
Conventions: a variance searches its ratio (>= 0), intercept and slope of a heap their triangular
root, wander and reading the logarithm of the share of reading noise in their sum, the range its
logarithm; after the search Newton steps in the parts themselves bring the last digits.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from heapwright.stats.mixedparts import (
    Block,
    Criterion,
    Rows,
    Structure,
    blocks_of,
    criterion,
    profiled,
)

__all__ = ["Found", "search"]

Floats = NDArray[np.float64]
#: Least share of reading noise: below it readings at one age would make V singular.
_LEAST_SHARE = 1e-6
#: A variance below this part of the scale counts as 0.
_ZERO = 1e-7
#: Ranges searched: from readings that share nothing to a wander that is one more heap effect.
_SHORTEST, _LONGEST = 0.1, 10.0


@dataclass(frozen=True, slots=True)
class Found:
    """Where the search ended.

    theta (k,) : the variance parts; at_boundary : names of those at an end of their range; turn
    (k, m), bend (k, m, m) : first and second derivatives of theta in the m directions that are
    free; settled : whether the criterion is level in all of those; at : the
    criterion there, with second derivatives.
    """

    theta: Floats
    at_boundary: tuple[str, ...]
    turn: Floats
    bend: Floats
    settled: bool
    at: Criterion


@dataclass(frozen=True, slots=True)
class _Way:
    """From the numbers searched to relative variances, and back to what lies at an end."""

    structure: Structure
    slope_size: float
    shortest: float
    longest: float

    @property
    def shared(self) -> bool:
        return self.structure.wander and self.structure.reading

    def starts(self) -> list[Floats]:
        first = [0.7, 0.0, 0.7] if self.structure.slope else [0.5]
        first += [0.3] if self.structure.spot else []
        if not self.structure.wander:
            return [np.array(first)]
        span = math.log(self.longest / _LONGEST) - math.log(self.shortest / _SHORTEST)
        begin = math.log(self.shortest / _SHORTEST)
        share = [math.log(0.5)] if self.shared else []
        return [np.array([*first, begin + part * span, *share]) for part in (0.2, 0.7)]

    def bounds(self) -> list[tuple[float | None, float | None]]:
        zero: tuple[float | None, float | None] = (0.0, None)
        rows = [zero, (None, None), zero] if self.structure.slope else [zero]
        rows += [zero] if self.structure.spot else []
        if self.structure.wander:
            rows.append((math.log(self.shortest), math.log(self.longest)))
        return [*rows, (math.log(_LEAST_SHARE), 0.0)] if self.shared else rows

    def relative(self, u: Floats) -> tuple[Floats, Floats]:
        """Relative theta and its derivatives (k, len(u)) at *u*."""
        k = len(self.structure.names)
        theta, turn = np.zeros(k), np.zeros((k, u.size))
        row, col = 0, 0
        if self.structure.slope:
            a, b, c = u[:3]
            s = self.slope_size
            theta[:3] = a * a, a * b / s, (b * b + c * c) / s**2
            turn[:3, :3] = [[2 * a, 0, 0], [b / s, a / s, 0], [0, 2 * b / s**2, 2 * c / s**2]]
            row, col = 3, 3
        while row < k and self.structure.names[row] in ("heap", "spot"):
            theta[row], turn[row, col] = u[col], 1.0
            row, col = row + 1, col + 1
        if not self.structure.wander:
            theta[row] = 1.0
            return theta, turn
        share = math.exp(u[col + 1]) if self.shared else 0.0
        theta[row], theta[row + 1], turn[row + 1, col] = 1.0 - share, u[col], 1.0
        if self.shared:
            theta[row + 2] = share
            turn[row, col + 1], turn[row + 2, col + 1] = -share, share
        return theta, turn


def search(rows: Sequence[Rows], structure: Structure) -> Found:
    """The variance parts at which the REML criterion is lowest.

    Parameters
    ----------
    rows : sequence of Rows
        One a heap.
    structure : Structure
        Which variance parts there are.

    Returns
    -------
    Found

    Raises
    ------
    numpy.linalg.LinAlgError
        If V is not positive definite where the search begins.

    Notes
    -----
    Bounded quasi-Newton search from one start, two with a wander (a short and a long range); the
    lowest end counts. How the digits compare stands in tests/reference/test_mixed.py.

    Examples
    --------
    >>> one, spot, age = np.ones((2, 1)), np.zeros(2, int), np.arange(2.0)
    >>> rows = [Rows(np.array(y), one, one[:, 0], spot, age) for y in ([1.0, 2.0], [4.0, 6.0])]
    >>> search(rows, Structure()).theta.round(4).tolist()
    [5.5, 1.25]
    """
    way, blocks = _way(rows, structure), blocks_of(rows, structure)

    def cost(u: Floats) -> tuple[float, Floats]:
        relative, turn = way.relative(u)
        try:
            value, slopes, _ = profiled(blocks, structure, relative)
        except np.linalg.LinAlgError:
            return 1e300, np.zeros(u.size)
        return value, slopes @ turn

    ends = [
        minimize(
            cost,
            start,
            jac=True,
            method="L-BFGS-B",
            bounds=way.bounds(),
            options={"ftol": 1e-14, "gtol": 1e-7, "maxiter": 500},
        )
        for start in way.starts()
    ]
    best = min(ends, key=lambda end: float(end.fun))
    relative, _ = way.relative(np.asarray(best.x))
    scale = profiled(blocks, structure, relative)[2]
    theta = np.where([n == "log_range" for n in structure.names], relative, relative * scale)
    theta, ends_at, known = _ends(theta, scale, structure, way)
    turn, bend, single = _directions(theta, structure, known)
    if not single:
        theta = _polished(blocks, structure, theta, turn)
    at = criterion(blocks, structure, theta, full=True)
    assert at.hessian is not None
    left = turn.T @ at.gradient
    size = np.sqrt(np.abs(np.diag(turn.T @ at.hessian @ turn))) + 1e-12
    settled = bool(np.all(np.abs(left) < 0.02 * np.maximum(size, 1e-3)))
    return Found(theta, ends_at, turn, bend, settled, at)


# --- parts ---------------------------------------------------------------------------------------


def _way(rows: Sequence[Rows], structure: Structure) -> _Way:
    slopes = np.concatenate([r.slope for r in rows])
    size = float(np.sqrt((slopes**2).mean())) if structure.slope else 1.0
    steps = np.concatenate([np.diff(np.unique(r.age_d)) for r in rows])
    step = float(steps.min()) if steps.size else 1.0
    span = max((float(np.ptp(r.age_d)) for r in rows), default=0.0) or 1.0
    return _Way(structure, size or 1.0, _SHORTEST * step, _LONGEST * span)


def _ends(
    theta: Floats, scale: float, structure: Structure, way: _Way
) -> tuple[Floats, tuple[str, ...], set[str]]:
    """Theta with what is practically at an end put there, the names for the reader, and known."""
    theta, names = theta.copy(), structure.names
    at = {name: i for i, name in enumerate(names)}
    said: list[str] = []
    known: set[str] = set()
    for name in ("heap", "slope", "spot", "wander", "reading"):
        if name not in at:
            continue
        least = 2 * _LEAST_SHARE if name == "reading" and structure.wander else _ZERO
        size = way.slope_size**2 if name == "slope" else 1.0
        if theta[at[name]] * size > least * scale:
            continue
        said.append(name)
        known.add(name)
        if name != "reading":
            theta[at[name]] = 0.0
        if name in ("heap", "slope") and structure.slope:
            theta[at["heap_slope_cov"]] = 0.0
            known.add("heap_slope_cov")
        if name == "wander":
            known.add("log_range")
    if structure.wander and "wander" not in known:
        reach = math.log(way.longest) - 1e-6, math.log(way.shortest) + 1e-6
        if theta[at["log_range"]] > reach[0] or theta[at["log_range"]] < reach[1]:
            said.append("range_d")
            known.add("log_range")
    return theta, tuple(said), known


def _directions(
    theta: Floats, structure: Structure, known: set[str]
) -> tuple[Floats, Floats, bool]:
    """The free directions of theta; True if intercept and slope of a heap are one and the same."""
    names = structure.names
    free = [i for i, name in enumerate(names) if name not in known]
    turn = np.eye(len(names))[:, free]
    bend = np.zeros((len(names), len(free), len(free)))
    if not structure.slope or "heap_slope_cov" in known:
        return turn, bend, False
    v, cov, w = theta[:3]
    if v * w - cov**2 > 1e-6 * v * w:
        return turn, bend, False
    # rank one: theta[:3] = a^2, a b, b^2
    a, b = math.sqrt(v), cov / math.sqrt(v)
    turn = np.delete(turn, 2, axis=1)
    turn[:3, :2] = [[2 * a, 0], [b, a], [0, 2 * b]]
    bend = np.zeros((len(names), len(free) - 1, len(free) - 1))
    bend[0, 0, 0] = bend[2, 1, 1] = 2.0
    bend[1, 0, 1] = bend[1, 1, 0] = 1.0
    return turn, bend, True


def _polished(blocks: Sequence[Block], structure: Structure, theta: Floats, turn: Floats) -> Floats:
    """Newton steps over the free parts, as long as they lower the criterion and stay inside."""
    at = criterion(blocks, structure, theta, full=True)
    for _ in range(20):
        assert at.hessian is not None
        slope = turn.T @ at.gradient
        try:
            step = np.linalg.solve(turn.T @ at.hessian @ turn, -slope)
            tried = theta + turn @ step
            if not _inside(tried, structure):
                break
            then = criterion(blocks, structure, tried, full=True)
        except np.linalg.LinAlgError:
            break
        if not then.value <= at.value + 1e-9:
            break
        done = abs(float(slope @ step)) < 1e-18
        theta, at = tried, then
        if done:
            break
    return theta


def _inside(theta: Floats, structure: Structure) -> bool:
    at = dict(zip(structure.names, theta.tolist(), strict=True))
    cov = at.pop("heap_slope_cov", 0.0)
    at.pop("log_range", None)
    if min(at.values()) < 0:
        return False
    return "slope" not in at or at["heap"] * at["slope"] >= cov**2
