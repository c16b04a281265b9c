"""What the heaps of a design carry: contrasts with their intervals, means, and refusals by name.

Units: estimates, means and standard errors in the unit of the outcome.
Conventions: fits are those of `stats.linear`; what a setting leaves open is averaged over its
levels with equal weights, covariates stand at their mean. A contrast that the heaps do not carry
is refused by name.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import InputError, NotEnoughError
from heapwright.stats.contrast import Interval
from heapwright.stats.linear import Fit, Setting, Term, known_names, shown
from heapwright.stats.prior import SpreadPrior

__all__ = ["Mean", "Weights", "contrast", "estimable", "means"]

Floats = NDArray[np.float64]
Weights = Sequence[tuple[float, Setting]]

_ESTIMABLE = 1e-7  # share of a contrast that may lie outside what the heaps carry


@dataclass(frozen=True, slots=True)
class Mean:
    """A cell or marginal mean: level by factor, number of heaps there, value (None if unknown)."""

    at: Mapping[str, str]
    heaps: int
    value: float | None


def contrast(
    f: Fit, weights: Weights, *, prior: SpreadPrior | None = None, level: float = 0.95
) -> Interval:
    """A weighted sum of means, with its t interval.

    SE^2 = s^2 c'(X'X)^- c, with s^2 and df of `Fit.variance`.

    Parameters
    ----------
    f : Fit
    weights : sequence of (weight, setting)
        Weights that add to 0 make a difference. A setting names levels by factor, and numbers by
        covariate; what it leaves open is averaged with equal weights, covariates at their mean.
    prior : SpreadPrior, optional
        An informed spread, for outcomes that have one [degrees C]; prior-free unless given.
    level : float, default 0.95
        Level of the interval, 0 to 1.

    Returns
    -------
    Interval
        Two ways without blocks: exactly `informed_contrast` or `pooled_t`.

    Raises
    ------
    NotEnoughError
        If the heaps do not carry the contrast (an empty cell, a way alone in its block), or, prior-
        free, if no degrees of freedom are left.
    UnknownNameError
        If a setting names no factor or level of the design.

    Examples
    --------
    >>> from heapwright.stats.linear import HeapRow, fit
    >>> f = fit([HeapRow("A", 31.2, "left"), HeapRow("B", 38.9, "turned")], ["way"])
    >>> r = contrast(f, [(1, {"way": "turned"}), (-1, {"way": "left"})], prior=SpreadPrior())
    >>> round(r.estimate, 1), round(r.half_width, 1)
    (7.7, 13.4)
    """
    c = estimable(f, weights)
    s2, df = f.variance(prior)
    estimate = float(c @ f.coefficients) + f.centre * math.fsum(w for w, _ in weights)
    se = math.sqrt(s2 * float(((c @ f.root) ** 2).sum()))
    spread = "nothing assumed about the spread"
    if prior is not None:
        spread = f"informed spread, s0 = {prior.s0_c:g} C"
    method = f"{spread}; design {', '.join(map(shown, f.terms)) or 'mean only'}"
    return Interval(estimate, se, df, math.nan, math.nan, level, method).at_level(level)


def estimable(f: Fit, weights: Weights) -> Floats:
    """The contrast as one weight a column, shape (columns,); refused where heaps do not carry it.

    Errors as in `contrast`.
    """
    if not weights:
        raise InputError("a contrast needs at least one setting", field="weights")
    c = np.sum([w * f.row(setting) for w, setting in weights], axis=0)
    within = (c @ _basis(f)) @ _basis(f).T
    if np.linalg.norm(c - within) > _ESTIMABLE * max(1.0, float(np.linalg.norm(c))):
        raise _refusal(f, [setting for _, setting in weights])
    return np.asarray(within, dtype=np.float64)


def means(f: Fit, *factors: str) -> tuple[Mean, ...]:
    """Mean of every combination of levels of *factors*, other factors weighted equally.

    value is None where the heaps do not carry it; `UnknownNameError` if there is no such factor.

    >>> from heapwright.stats.linear import HeapRow, fit
    >>> f = fit([HeapRow("A", 31.2, "left"), HeapRow("B", 38.9, "turned")], ["way"])
    >>> [(m.at["way"], m.heaps, round(m.value, 1)) for m in means(f, "way")]
    [('left', 1, 31.2), ('turned', 1, 38.9)]
    """
    known_names(dict.fromkeys(factors, ""), f.levels)
    return tuple(_mean(f, at) for at in f.cells(factors, {}))


def _basis(f: Fit) -> Floats:
    """An orthonormal basis of the rows of x, shape (columns, rank)."""
    return np.asarray(f.root / np.linalg.norm(f.root, axis=0), dtype=np.float64)


def _mean(f: Fit, at: Mapping[str, str]) -> Mean:
    try:
        c = estimable(f, [(1.0, at)])
    except NotEnoughError:
        return Mean(at, f.count(at), None)
    return Mean(at, f.count(at), f.centre + float(c @ f.coefficients))


def _refusal(f: Fit, settings: Sequence[Setting]) -> NotEnoughError:
    """Why the heaps do not carry a contrast of *settings*, by name."""
    for term, at in _empty(f, settings):
        return NotEnoughError(
            f"no heap has {' and '.join(f'{n} {v}' for n, v in at.items())}",
            field=shown(term),
            way_out="Build one, compare where every combination has a heap, or leave "
            f"{shown(term)} out of the terms",
        )
    for name in f.levels:
        asked = list(dict.fromkeys(str(s[name]) for s in settings if name in s))
        for other in f.levels:
            apart = _apart(f, name, asked, other) if other != name and len(asked) > 1 else None
            if apart:
                return NotEnoughError(
                    apart,
                    field=name,
                    value=", ".join(asked),
                    way_out=f"Build a heap of one in a {other} where the other stands, or leave "
                    f"{other} out of the terms",
                )
    return NotEnoughError(
        "what is asked cannot be told apart from what else differed between the same heaps",
        field="terms",
        value=", ".join(map(shown, f.terms)),
        way_out="Leave one of the terms out, or build heaps in which they differ separately",
    )


def _empty(f: Fit, settings: Sequence[Setting]) -> Iterator[tuple[Term, dict[str, str]]]:
    """Combinations without a heap that a contrast of *settings* rests on, with their term."""
    varied = {n for s in settings for n in s if any(s[n] != other.get(n) for other in settings)}
    for term in f.terms:
        touched = not varied or varied & set(term)
        if len(term) > 1 and touched and all(n in f.levels for n in term):
            for setting in settings:
                yield from ((term, at) for at in f.cells(term, setting) if not f.count(at))


def _apart(f: Fit, name: str, asked: Sequence[str], other: str) -> str | None:
    """Which of the *asked* levels no chain of shared levels of *other* links; None if all are."""
    first, *rest = asked
    for level in rest:
        if level in _linked(f, name, first, other)[1]:
            continue
        for one in (first, level):
            places, linked = _linked(f, name, one, other)
            if len(linked) == 1:
                return f"{name} {one} stands alone in {other} {', '.join(sorted(places))}"
        return f"no chain of shared {other}s links {name} {first} with {name} {level}"
    return None


def _linked(f: Fit, name: str, level: str, other: str) -> tuple[set[str], set[str]]:
    """The levels of *other* and of *name* that can be reached from a level over shared heaps."""
    places: set[str] = set()
    linked, before = {level}, 0
    while len(linked) > before:
        before = len(linked)
        places = {r.levels[other] for r in f.rows if r.levels[name] in linked}
        linked = {r.levels[name] for r in f.rows if r.levels[other] in places}
    return places, linked
