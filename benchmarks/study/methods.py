"""Every way of comparing two ways of managing, on trials without any effect.

Units: degrees C above air. Conventions: an effect found is a false one, and coverage is that of no
difference by the 95 % range; trials come as arrays of readings (trials, heaps, rounds, spots), the
first half of the heaps against the other. Methods whose name begins with "naive:" take readings,
rounds or spots for heaps and are wrong on purpose.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from heapwright.stats.contrast import (
    Interval,
    covariate_contrast,
    informed_contrast,
    pooled_t,
    welch,
)
from heapwright.stats.prior import SpreadPrior

__all__ = ["NAIVE", "heap_rows", "naive_rows", "row_of", "start_rows"]

Floats = NDArray[np.float64]
A, B = "left alone", "turned"


def row_of(
    method: str, n: int, sigma: float | None, found: Floats, half_width: Floats, **more: Any
) -> dict[str, Any]:
    """One row of the result; *found* is 1 where a difference was found, by trial."""
    wrong = float(np.mean(found))
    return {
        "method": method, "heaps_per_way": n, "sigma": "U(3,6)" if sigma is None else sigma,
        "trials": int(found.size), "false_positive": round(wrong, 4),
        "coverage": round(1.0 - wrong, 4), "half_width_c": round(float(np.mean(half_width)), 3),
        **more,
    }  # fmt: skip


# --- one number a heap ---------------------------------------------------------------------------


def heap_rows(
    means: Floats, sigma: float | None, *, suffix: str = "", **more: Any
) -> list[dict[str, Any]]:
    """The contrast, and the prior-free ranges beside it, on heap values (trials, heaps)."""
    n, prior = means.shape[1] // 2, SpreadPrior.published()
    methods: dict[str, Callable[[Mapping[str, Any]], Interval]] = {
        "contrast": lambda g: informed_contrast(g, B, A, prior)
    }
    if n > 1:
        methods["pooled t"] = lambda g: pooled_t(g, B, A)
    if n > 2:
        methods["Welch"] = lambda g: welch(g, B, A)
    return [
        row_of(name + suffix, n, sigma, *_by_trial(method({A: v[:n], B: v[n:]}) for v in means),
               **more)
        for name, method in methods.items()
    ]  # fmt: skip


def start_rows(
    before: Floats, after: Floats, sigma: float | None, correlation: float
) -> list[dict[str, Any]]:
    """What a common phase buys: as covariate, and taken off; heap values (trials, heaps)."""
    n, prior = after.shape[1] // 2, SpreadPrior.published()
    made = (
        covariate_contrast({A: y[:n], B: y[n:]}, {A: x[:n], B: x[n:]}, B, A, prior)
        for x, y in zip(before, after, strict=True)
    )
    change = after - before
    gap, se, df = _two_samples(change[:, :n], change[:, n:])
    reach = stdtrit(df, 0.975) * se
    return [
        row_of("covariate", n, sigma, *_by_trial(made), correlation=correlation),
        row_of(
            "change from the common phase", n, sigma, (np.abs(gap) > reach).astype(float), reach,
            correlation=correlation,
        ),
    ]  # fmt: skip


def _by_trial(made: Iterable[Interval]) -> tuple[Floats, Floats]:
    rows = [(float(i.excludes_zero), i.half_width) for i in made]
    found, width = np.array(rows).T
    return found, width


# --- what is not a heap taken for one ------------------------------------------------------------


def naive_rows(excess: Floats, sigma: float | None) -> list[dict[str, Any]]:
    """Every naive method on readings (trials, heaps, rounds, spots)."""
    n = excess.shape[1] // 2
    rows = []
    for name, method in NAIVE.items():
        gap, se, df = method(excess)
        reach = stdtrit(df, 0.975) * se
        rows.append(row_of(name, n, sigma, (np.abs(gap) > reach).astype(float), reach))
    return rows


def _two_samples(a: Floats, b: Floats) -> tuple[Floats, Floats, float]:
    """Gap, its standard error and df of a pooled t test along the last axis."""
    n, m = a.shape[-1], b.shape[-1]
    s2 = (a.var(axis=-1) * n + b.var(axis=-1) * m) / (n + m - 2)
    return b.mean(axis=-1) - a.mean(axis=-1), np.sqrt(s2 * (1 / n + 1 / m)), float(n + m - 2)


def _halves(values: Floats) -> tuple[Floats, Floats]:
    half = values.shape[1] // 2
    trials = values.shape[0]
    return values[:, :half].reshape(trials, -1), values[:, half:].reshape(trials, -1)


def _every_reading(excess: Floats) -> tuple[Floats, Floats, float]:
    return _two_samples(*_halves(excess))


def _round_and_way(excess: Floats) -> tuple[Floats, Floats, float]:
    """Least squares of round + way on all readings; with full rounds the gap is the plain one."""
    _, heaps, rounds, spots = excess.shape
    centred = excess - excess.mean(axis=(1, 3), keepdims=True)
    a, b = _halves(centred)
    each, df = a.shape[1], heaps * rounds * spots - rounds - 1
    rest = a.var(axis=1) * each + b.var(axis=1) * each
    return b.mean(axis=1) - a.mean(axis=1), np.sqrt(rest / df * 2 / each), float(df)


def _round_by_round(excess: Floats) -> tuple[Floats, Floats, float]:
    """A paired t test over rounds: each round's gap taken for a repeat."""
    by_round = excess.mean(axis=3)
    half = by_round.shape[1] // 2
    gap = by_round[:, half:].mean(axis=1) - by_round[:, :half].mean(axis=1)
    rounds = gap.shape[1]
    return gap.mean(axis=1), gap.std(axis=1, ddof=1) / np.sqrt(rounds), float(rounds - 1)


def _spots(excess: Floats) -> tuple[Floats, Floats, float]:
    """Each spot of a heap taken for a heap."""
    return _two_samples(*_halves(excess.mean(axis=2)))


NAIVE: dict[str, Callable[[Floats], tuple[Floats, Floats, float]]] = {
    "naive: t test on all readings": _every_reading,
    "naive: ANOVA with round and way": _round_and_way,
    "naive: paired t over rounds": _round_by_round,
    "naive: spots as heaps": _spots,
}
