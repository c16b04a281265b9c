"""Analysis of variance of a design: F tests of its terms against one variance.

Units: sums of squares and variances in the square of the outcome's unit; chance figures 0 to 1.
Conventions: fits are those of `stats.linear`; every term is tested beside all others that do not
contain it (Type II).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import UnknownNameError
from heapwright.stats.linear import Fit, Term, decomposed, shown, sum_of_squares
from heapwright.stats.prior import SpreadPrior

__all__ = ["Anova", "AnovaRow", "anova"]

Floats = NDArray[np.float64]

_BALANCED = "Every combination has as many heaps: all types of analysis of variance agree"
_TYPE_II = "Numbers differ: each term beside all others that do not contain it (Type II)"


@dataclass(frozen=True, slots=True)
class AnovaRow:
    """One term: name, sum of squares [outcome squared], df, F and its chance figure p (0 to 1).

    f and p are None where df is 0: the heaps do not tell the term apart from the others.
    """

    term: str
    ss: float
    df: int
    f: float | None
    p: float | None


@dataclass(frozen=True, slots=True)
class Anova:
    """F tests of all terms against one variance with df_residual; note : which type, in words."""

    rows: tuple[AnovaRow, ...]
    df_residual: float
    variance: float
    balanced: bool
    note: str

    def row(self, *names: str) -> AnovaRow:
        """The row of a term, by the names of its factors."""
        wanted = " x ".join(names)
        for row in self.rows:
            if row.term == wanted:
                return row
        terms = [r.term for r in self.rows]
        raise UnknownNameError(
            "the design has no such term",
            field="term",
            value=wanted,
            way_out=f"Choose one of {', '.join(terms)}",
        )


def anova(f: Fit, *, prior: SpreadPrior | None = None) -> Anova:
    """F tests of all terms, each beside those that do not contain it (Type II).

    With as many heaps in every combination all types agree, and the note says so. A main effect
    beside an interaction is then the average over the other factor. Errors as `Fit.variance`.

    Examples
    --------
    >>> from heapwright.stats.linear import HeapRow, fit
    >>> rows = [HeapRow(n, v, w) for n, v, w in
    ...         [("A", 31.2, "left"), ("B", 27.5, "left"), ("C", 38.9, "turned"),
    ...          ("D", 36.1, "turned")]]
    >>> way = anova(fit(rows, ["way"])).row("way")
    >>> way.df, round(way.f, 2)
    (1, 12.34)
    """
    s2, df = f.variance(prior)
    y = np.array([r.value for r in f.rows], dtype=np.float64) - f.centre
    rows = tuple(_tested(f, term, y, s2, df) for term in f.terms)
    balanced = _balanced(f)
    return Anova(rows, df, s2, balanced, _BALANCED if balanced else _TYPE_II)


def _tested(f: Fit, term: Term, y: Floats, s2: float, df: float) -> AnovaRow:
    from scipy.special import fdtrc

    beside = [t for t in f.terms if not set(term) < set(t)]
    with_it, _ = decomposed(_of_terms(f, beside))
    without, _ = decomposed(_of_terms(f, [t for t in beside if t != term]))
    df_term = with_it.shape[1] - without.shape[1]
    gained = with_it @ (with_it.T @ y) - without @ (without.T @ y)
    ss = sum_of_squares(gained, y)
    if df_term == 0:
        return AnovaRow(shown(term), 0.0, 0, None, None)
    if s2 == 0:
        ratio = math.inf if ss > 0 else 0.0
    else:
        ratio = ss / df_term / s2
    p = 0.0 if math.isinf(ratio) else float(fdtrc(df_term, df, ratio))
    return AnovaRow(shown(term), ss, df_term, ratio, p)


def _of_terms(f: Fit, terms: Sequence[Term]) -> Floats:
    """The columns of x that belong to *terms*, the mean among them."""
    wide = {n: len(found) - 1 for n, found in f.levels.items()} | dict.fromkeys(f.centres, 1)
    owner: list[Term] = [()]
    for term in f.terms:
        owner += [term] * math.prod(wide[n] for n in term)
    return f.x[:, [t == () or t in terms for t in owner]]


def _balanced(f: Fit) -> bool:
    if f.centres:
        return False
    counts = [f.count(at) for at in f.cells(tuple(f.levels), {})]
    return len(set(counts)) == 1
