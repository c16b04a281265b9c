"""The algebra of the mixed model: covariance of one heap, REML criterion, its derivatives.

Units: those of the readings (squared for variances); ages and ranges in days.
Conventions: V = Z D Z' + spot + wander exp(-dt/range) + reading, one block a heap; a theta is the
vector of the variance parts in the order of `Structure.names`, the range as its logarithm;
derivatives are of minus twice the restricted log-likelihood.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dtrtri

__all__ = ["Block", "Criterion", "Rows", "Structure", "blocks_of", "criterion", "profiled"]

Floats = NDArray[np.float64]
_LOG_2PI = math.log(2 * math.pi)
_CONSTANT = ("heap", "heap_slope_cov", "slope", "spot", "reading")


@dataclass(frozen=True, slots=True)
class Structure:
    """Which parts the covariance of a heap has.

    slope : a random slope beside the random intercept, correlated with it; spot : an intercept of
    every spot; wander : an Ornstein-Uhlenbeck course of the heap; reading : white noise.
    """

    slope: bool = False
    spot: bool = False
    wander: bool = False
    reading: bool = True

    @property
    def names(self) -> tuple[str, ...]:
        """The variance parts, in the order of a theta.

        >>> Structure(spot=True).names
        ('heap', 'spot', 'reading')
        """
        found = ["heap"]
        found += ["heap_slope_cov", "slope"] if self.slope else []
        found += ["spot"] if self.spot else []
        found += ["wander", "log_range"] if self.wander else []
        found += ["reading"] if self.reading else []
        return tuple(found)


@dataclass(frozen=True, slots=True)
class Rows:
    """One heap: readings y (n,), fixed columns x (n, p); slope, spot number and age, each (n,)."""

    y: Floats
    x: Floats
    slope: Floats
    spot: NDArray[np.intp]
    age_d: Floats


@dataclass(frozen=True, slots=True)
class Block:
    """Readings of one heap, turned so that most of them are noise alone.

    y (q,), x (q, p) : what is left to look at; constant : derivatives of V in the parts that do
    not depend on the range, (q, q) by name; spread (q, m), apart_d (m, m) : the m ages of the heap
    in the turned readings, and the days between them; empty : how many readings hold noise only,
    with nothing of y or x in them.
    """

    y: Floats
    x: Floats
    constant: Mapping[str, Floats]
    spread: Floats
    apart_d: Floats
    empty: int = 0

    def first(self, structure: Structure, theta: Floats) -> tuple[Floats, list[Floats]]:
        """V and its first derivatives in the parts of *theta*."""
        at = dict(zip(structure.names, theta.tolist(), strict=True))
        total = np.zeros((self.y.size, self.y.size))
        slopes: list[Floats] = []
        for name, value in at.items():
            if name == "log_range":
                scaled = self.apart_d / math.exp(value)
                slopes.append(self._of_ages(at["wander"] * scaled * np.exp(-scaled)))
                continue
            if name == "wander":
                part = self._of_ages(np.exp(-self.apart_d / math.exp(at["log_range"])))
            else:
                part = self.constant[name]
            slopes.append(part)
            total += value * part
        return total, slopes

    def second(self, structure: Structure, theta: Floats) -> dict[tuple[int, int], Floats]:
        """The second derivatives of V that are not zero, by pair of parts (first <= second)."""
        if not structure.wander:
            return {}
        names = structure.names
        w, r = names.index("wander"), names.index("log_range")
        scaled = self.apart_d / math.exp(theta[r])
        decay = np.exp(-scaled)
        return {
            (w, r): self._of_ages(scaled * decay),
            (r, r): self._of_ages(theta[w] * decay * (scaled**2 - scaled)),
        }

    def _of_ages(self, between: Floats) -> Floats:
        """A matrix between ages as one between turned readings."""
        return np.asarray(self.spread @ between @ self.spread.T)


def blocks_of(rows: Sequence[Rows], structure: Structure) -> list[Block]:
    """Readings turned, heap by heap, so that the covariance is as small as it can be.

    Columns C of a heap (intercept, slope, spots, ages) carry all of V but the reading noise. In
    orthonormal coordinates of C and of what is left, V is one small matrix and noise on the
    diagonal; what is left of all heaps is one block more, whose columns are brought to at most
    p + 1 rows. The turn is orthogonal, so the criterion stays as it is.

    Parameters
    ----------
    rows : sequence of Rows
        One a heap.
    structure : Structure
        Which variance parts there are.

    Returns
    -------
    list of Block
        One a heap, and one of noise alone if anything is left.

    Examples
    --------
    >>> one, spot, age = np.ones((9, 1)), np.zeros(9, int), np.arange(9.0)
    >>> heap = Rows(age**2, one, one[:, 0], spot, age)
    >>> [(b.y.size, b.empty) for b in blocks_of([heap], Structure())]
    [(1, 0), (2, 6)]
    """
    found, left, empty = [], [], 0
    for row in rows:
        block, rest = _turned(row, structure)
        found.append(block)
        left.append(rest)
        empty += row.y.size - block.y.size
    if not empty:
        return found
    triangle: Floats = np.asarray(np.linalg.qr(np.vstack(left), mode="r"))[:empty]
    size = len(triangle)
    zero = np.zeros((size, size))
    constant = dict.fromkeys(_CONSTANT, zero) | {"reading": np.eye(size)}
    noise = Block(
        triangle[:, -1], triangle[:, :-1], constant, np.zeros((size, 1)), np.zeros((1, 1)),
        empty - size,
    )  # fmt: skip
    return [*found, noise]


@dataclass(frozen=True, slots=True)
class Criterion:
    """The REML criterion at one theta.

    value : minus twice the restricted log-likelihood; coef (p,), cov (p, p) : fixed part and its
    covariance; traces, squares (k,) : the two halves of the gradient, which is their difference;
    quadratic : r' V^-1 r; log_dets : log|V| + log|X'V^-1 X|; hessian (k, k), cov_slopes (k, p, p) :
    second derivatives of the criterion and first ones of cov, None unless asked for.
    """

    value: float
    coef: Floats
    cov: Floats
    traces: Floats
    squares: Floats
    quadratic: float
    log_dets: float
    hessian: Floats | None = None
    cov_slopes: Floats | None = None

    @property
    def gradient(self) -> Floats:
        """First derivatives of the criterion in the variance parts, (k,)."""
        return self.traces - self.squares


def criterion(
    blocks: Sequence[Block], structure: Structure, theta: Floats, *, full: bool = False
) -> Criterion:
    """The REML criterion -2 l = log|V| + log|X'V^-1 X| + r'V^-1 r + (n - p) log 2 pi.

    Parameters
    ----------
    blocks : sequence of Block
        As `blocks_of` gives them; readings of different heaps are independent.
    structure : Structure
        Which variance parts there are.
    theta : array, shape (k,)
        Their values, in the order of ``structure.names``.
    full : bool, default False
        Whether second derivatives are wanted too.

    Returns
    -------
    Criterion

    Raises
    ------
    numpy.linalg.LinAlgError
        If V or X'V^-1 X is not positive definite there.

    References
    ----------
    Patterson and Thompson 1971, Biometrika 58, 545-554 (from memory); the derivatives follow from
    dP = -P dV P with P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1, and are checked against numerical
    ones in tests/unit/stats/test_mixed.py.

    Examples
    --------
    >>> one, spot, age = np.ones((2, 1)), np.zeros(2, int), np.arange(2.0)
    >>> rows = [Rows(np.array(y), one, one[:, 0], spot, age) for y in ([1.0, 2.0], [3.0, 5.0])]
    >>> heaps = blocks_of(rows, Structure())
    >>> round(criterion(heaps, Structure(), np.array([2.0, 1.0])).value, 4)
    12.2594
    """
    parts = [_solve(block, structure, theta) for block in blocks]
    xvx = np.sum([p.xv @ p.block.x for p in parts], axis=0)
    factor = np.linalg.cholesky(xvx)
    cov = np.linalg.inv(xvx)
    coef = cov @ np.sum([p.xv @ p.block.y for p in parts], axis=0)
    left = [p.block.y - p.block.x @ coef for p in parts]
    weights = [p.inverse @ r for p, r in zip(parts, left, strict=True)]
    quadratic = sum(float(r @ w) for r, w in zip(left, weights, strict=True))
    log_dets = sum(p.log_det for p in parts) + 2 * float(np.log(np.diag(factor)).sum())
    empty = sum(b.empty for b in blocks)
    log_dets += empty * math.log(theta[-1]) if empty else 0.0
    # inner[k] = X'V^-1 (dV/dk) V^-1 X, so that d cov / dk = cov inner[k] cov
    inner = np.sum([[p.xv @ s @ p.xv.T for s in p.slopes] for p in parts], axis=0)
    traces = np.sum([[np.vdot(p.inverse, s) for s in p.slopes] for p in parts], axis=0)
    traces[-1] += empty / theta[-1] if empty else 0.0
    traces -= np.einsum("ij,kij->k", cov, inner)
    squares = np.sum(
        [[w @ s @ w for s in p.slopes] for p, w in zip(parts, weights, strict=True)], axis=0
    )
    free = sum(b.y.size + b.empty for b in blocks) - coef.size
    value = log_dets + quadratic + free * _LOG_2PI
    hessian = cov_slopes = None
    if full:
        curved = [block.second(structure, theta) for block in blocks]
        hessian = _first_pairs(parts, weights, cov, inner) + _second_pairs(
            parts, weights, cov, curved, theta.size
        )
        hessian[-1, -1] -= empty / theta[-1] ** 2 if empty else 0.0
        cov_slopes = cov @ inner @ cov
    return Criterion(value, coef, cov, traces, squares, quadratic, log_dets, hessian, cov_slopes)


def profiled(
    blocks: Sequence[Block], structure: Structure, relative: Floats
) -> tuple[float, Floats, float]:
    """The criterion with the overall scale at its best: value, gradient in *relative*, scale.

    relative : theta divided by the scale (a variance); the logarithm of the range as it is. The
    scale is r'W^-1 r / (n - p) for W the covariance at *relative*.

    >>> one, spot, age = np.ones((2, 1)), np.zeros(2, int), np.arange(2.0)
    >>> rows = [Rows(np.array(y), one, one[:, 0], spot, age) for y in ([1.0, 2.0], [3.0, 5.0])]
    >>> heaps = blocks_of(rows, Structure())
    >>> round(profiled(heaps, Structure(), np.array([2.0, 1.0]))[2], 4)
    1.25
    """
    at = criterion(blocks, structure, relative)
    free = sum(b.y.size + b.empty for b in blocks) - at.coef.size
    scale = at.quadratic / free
    value = at.log_dets + free * (math.log(scale) + 1 + _LOG_2PI)
    return value, at.traces - at.squares / scale, scale


# --- parts ---------------------------------------------------------------------------------------


def _turned(row: Rows, structure: Structure) -> tuple[Block, Floats]:
    """One heap in the coordinates of its own columns; what is left of (x, y) outside of them."""
    one, n = np.ones(row.y.size), row.y.size
    ages, age = np.unique(row.age_d, return_inverse=True)
    by_age = np.eye(ages.size)[age]
    by_spot = np.eye(int(row.spot.max()) + 1)[row.spot]
    columns = [one[:, None]]
    tilted = row.slope - row.slope.mean()
    columns += [tilted[:, None] / (tilted.std() or 1.0)] if structure.slope else []
    columns += [by_spot] if structure.spot else []
    columns += [by_age] if structure.wander else []
    table = np.hstack(columns)
    sizes, axes = np.linalg.eigh(table.T @ table)
    kept = sizes > 1e-10 * sizes[-1]
    q = table @ (axes[:, kept] / np.sqrt(sizes[kept]))
    q = q if q.shape[1] < n else np.eye(n)
    base, tilt, spots = q.T @ one, q.T @ row.slope, q.T @ by_spot
    constant = {
        "heap": np.outer(base, base),
        "heap_slope_cov": np.outer(base, tilt) + np.outer(tilt, base),
        "slope": np.outer(tilt, tilt),
        "spot": spots @ spots.T,
        "reading": np.eye(q.shape[1]),
    }
    apart_d = np.abs(ages[:, None] - ages[None, :])
    block = Block(q.T @ row.y, q.T @ row.x, constant, q.T @ by_age, apart_d)
    both = np.column_stack([row.x, row.y])
    return block, both - q @ (q.T @ both)


@dataclass(frozen=True, slots=True)
class _Solved:
    """One heap at one theta: V^-1, X'V^-1, log|V| and the derivatives of V."""

    block: Block
    inverse: Floats
    xv: Floats
    log_det: float
    slopes: list[Floats]


def _solve(block: Block, structure: Structure, theta: Floats) -> _Solved:
    total, slopes = block.first(structure, theta)
    factor = np.linalg.cholesky(total)
    # a triangle's own inverse: many times quicker for small matrices than solving for the identity
    root, _ = dtrtri(factor, lower=1)
    inverse = root.T @ root
    log_det = 2 * float(np.log(np.diag(factor)).sum())
    return _Solved(block, inverse, block.x.T @ inverse, log_det, slopes)


def _first_pairs(
    parts: Sequence[_Solved], weights: Sequence[Floats], cov: Floats, inner: Floats
) -> Floats:
    """What first derivatives of V give to the Hessian: -tr(P Vk P Vl) + 2 y'P Vk P Vl P y."""
    count, p = inner.shape[:2]
    total = -np.einsum("ij,kjm,mn,lni->kl", cov, inner, cov, inner, optimize=True)
    across = np.zeros((p, count))
    for part, w in zip(parts, weights, strict=True):
        moved = [part.inverse @ s for s in part.slopes]
        pushed = np.array([s @ w for s in part.slopes])
        solved = pushed @ part.inverse
        half = np.array([part.xv @ s for s in part.slopes])
        across += part.block.x.T @ solved.T
        total += 2 * pushed @ solved.T
        for k in range(count):
            for m in range(count):
                between = half[k] @ part.inverse @ half[m].T
                total[k, m] += 2 * np.vdot(cov, between) - np.vdot(moved[k].T, moved[m])
    return np.asarray(total - 2 * across.T @ cov @ across)


def _second_pairs(
    parts: Sequence[_Solved],
    weights: Sequence[Floats],
    cov: Floats,
    curved: Sequence[dict[tuple[int, int], Floats]],
    count: int,
) -> Floats:
    """What second derivatives of V give to the Hessian: tr(P Vkl) - y'P Vkl P y."""
    total = np.zeros((count, count))
    for part, w, pairs in zip(parts, weights, curved, strict=True):
        for (k, m), second in pairs.items():
            across = part.xv @ second @ part.xv.T
            one = float(np.vdot(part.inverse, second) - np.vdot(cov, across) - w @ second @ w)
            total[k, m] += one
            if k != m:
                total[m, k] += one
    return total
