"""Designs beyond two ways, by one value a heap: factors, interactions, blocks, covariates.

Units: values in the unit of the outcome; covariates in their own.
Conventions: y = X b + error, one variance for all heaps; factors are coded against their control
level, covariates from their mean; an interaction brings along the terms it is made of; what a
setting leaves open is averaged over its levels with equal weights. What a fit is asked stands in
`stats.estimable` (contrasts, means), `stats.anova` and `stats.designs`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import InputError, NotEnoughError, UnknownNameError
from heapwright.stats.prior import SpreadPrior

__all__ = [
    "Fit", "HeapRow", "Setting", "Term", "decomposed", "fit", "known_names", "shown",
    "sum_of_squares",
]  # fmt: skip

Floats = NDArray[np.float64]
Setting = Mapping[str, str | float]
Term = tuple[str, ...]

_RANK_TOLERANCE = 1e-9
_ROUNDING = 1e-24  # a sum of squares below this share of the whole is rounding


@dataclass(frozen=True, slots=True)
class HeapRow:
    """One heap with its one value.

    heap : name, unique within its block; value : in the unit of the outcome; way, block : "" where
    there is none, else usable as the factors "way" and "block" (pair, yard, season); factors :
    level by further factor, as {"turning": "weekly"}; covariates : number by name.
    """

    heap: str
    value: float
    way: str = ""
    block: str = ""
    factors: Mapping[str, str] = field(default_factory=dict)
    covariates: Mapping[str, float] = field(default_factory=dict)

    @property
    def levels(self) -> dict[str, str]:
        """Level by factor, the way and the block among them where there are any."""
        named = {"way": self.way, "block": self.block}
        return {**{k: v for k, v in named.items() if v}, **self.factors}


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A fitted design.

    rows, terms, levels (by factor, control first), centres (mean and scale by covariate);
    columns : what each column of x, shape (heaps, columns), stands for; coefficients : shape
    (columns,), the shortest solution where columns depend on each other; root : shape (columns,
    rank), with root root' the inverse of x'x; rss : residual sum of squares [outcome squared];
    centre : mean value.
    """

    rows: tuple[HeapRow, ...]
    terms: tuple[Term, ...]
    levels: Mapping[str, tuple[str, ...]]
    centres: Mapping[str, tuple[float, float]]
    columns: tuple[str, ...]
    x: Floats
    coefficients: Floats
    root: Floats
    rss: float
    centre: float

    @property
    def rank(self) -> int:
        """Number of parameters that the heaps carry."""
        return int(self.root.shape[1])

    @property
    def df(self) -> int:
        """Degrees of freedom left for the spread: heaps less rank."""
        return len(self.rows) - self.rank

    def variance(self, prior: SpreadPrior | None = None) -> tuple[float, float]:
        """Variance between heaps treated alike [outcome squared] and its degrees of freedom.

        Without a prior RSS / (H - rank), `NotEnoughError` if nothing is left; with one
        (nu0 (s0^2 + vA) + RSS) / (nu0 + H - rank).
        """
        if prior is not None:
            df = prior.nu0 + self.df
            return (prior.nu0 * (prior.s0_c**2 + prior.va) + self.rss) / df, df
        if self.df < 1:
            raise NotEnoughError(
                "the design takes up every heap, and nothing shows how far heaps treated alike "
                "differ",
                field="heaps",
                value=len(self.rows),
                way_out="Build another heap of any combination, or leave an interaction out",
            )
        return self.rss / self.df, float(self.df)

    def cells(self, factors: Sequence[str], fixed: Setting) -> Iterator[dict[str, str]]:
        """Every combination of levels of *factors* that agrees with *fixed*."""
        choices = [[str(fixed[n])] if n in fixed else self.levels[n] for n in factors]
        for chosen in itertools.product(*choices):
            yield dict(zip(factors, chosen, strict=True))

    def count(self, at: Mapping[str, str]) -> int:
        """Number of heaps that have every level of *at*."""
        return sum(all(r.levels[n] == v for n, v in at.items()) for r in self.rows)

    def row(self, setting: Setting) -> Floats:
        """The row of x for *setting*, shape (columns,): equal weights over what it leaves open."""
        parts = {name: self._part(name, setting) for name in (*self.levels, *self.centres)}
        known_names(setting, parts)
        return np.array([1.0, *_products(self.terms, parts)])

    def _part(self, name: str, setting: Setting) -> Floats:
        if name in self.centres:
            centre, scale = self.centres[name]
            return np.array([(float(setting.get(name, centre)) - centre) / scale])
        levels = self.levels[name]
        if name not in setting:
            return np.full(len(levels) - 1, 1 / len(levels))
        if setting[name] not in levels:
            raise _unknown(f"no heap has that {name}", name, setting[name], levels)
        return np.array([float(level == setting[name]) for level in levels[1:]])


def fit(
    rows: Sequence[HeapRow],
    terms: Sequence[str | Term],
    *,
    controls: Mapping[str, str] | None = None,
) -> Fit:
    """Least squares of one value a heap on the named terms.

    Parameters
    ----------
    rows : sequence of HeapRow
        Every heap once.
    terms : sequence of str or tuple of str
        Factors and covariates by name ("way" and "block" are those of the rows), interactions as
        tuples of names; what an interaction is made of is added.
    controls : mapping of factor to level, optional
        The level others are coded against; the first that is met unless given.

    Returns
    -------
    Fit
        Also where columns depend on each other; `estimable.contrast` then checks what can be told.

    Raises
    ------
    NotEnoughError
        If there is no heap.
    UnknownNameError
        If a heap lacks a term, or a control is no level.
    InputError
        If a value is not finite or a heap stands there twice.

    Notes
    -----
    Ordinary least squares by singular values; textbook. Against the paired t, printed F values and
    another library in tests/reference/test_designs.py.

    Examples
    --------
    >>> f = fit([HeapRow("A", 31.2, "left"), HeapRow("B", 38.9, "turned")], ["way"])
    >>> f.rank, f.df
    (2, 0)
    """
    rows = tuple(rows)
    _check_rows(rows)
    closed = _closed(terms)
    names = list(dict.fromkeys(itertools.chain.from_iterable(closed)))
    numeric = [n for n in names if any(n in r.covariates for r in rows)]
    levels = {n: _levels(rows, n, (controls or {}).get(n)) for n in names if n not in numeric}
    known_names(controls or {}, levels)
    centres = {n: _centre([_number(r, n) for r in rows]) for n in numeric}
    parts = {n: _dummies(rows, n, found) for n, found in levels.items()}
    parts |= {n: _standardised(rows, n, *centres[n]) for n in numeric}
    x = np.column_stack([np.ones(len(rows)), *_products(closed, parts)])
    y = np.array([r.value for r in rows], dtype=np.float64)
    centre = float(y.mean())
    left, root = decomposed(x)
    fitted = left.T @ (y - centre)
    return Fit(
        rows=rows,
        terms=closed,
        levels=levels,
        centres=centres,
        columns=("mean", *_column_names(closed, levels)),
        x=x,
        coefficients=root @ fitted,
        root=root,
        rss=sum_of_squares(y - centre - left @ fitted, y - centre),
        centre=centre,
    )


def decomposed(x: Floats) -> tuple[Floats, Floats]:
    """An orthonormal basis of the columns, shape (heaps, rank), and the root of inv(x'x)."""
    u, s, vt = np.linalg.svd(x, full_matrices=False)
    rank = int((s > _RANK_TOLERANCE * s[0]).sum())
    return u[:, :rank], vt[:rank].T / s[:rank]


def sum_of_squares(part: Floats, whole: Floats) -> float:
    """Sum of squares of *part*, 0 where it is only the rounding of *whole*."""
    ss = float(part @ part)
    return ss if ss > _ROUNDING * float(whole @ whole) else 0.0


def shown(term: Term) -> str:
    """A term as it is named: its factors and covariates, joined by " x "."""
    return " x ".join(term)


def known_names(names: Mapping[str, object], there: Mapping[str, object]) -> None:
    """Refuses a factor or covariate that is not *there*, by name (`UnknownNameError`)."""
    for name in names:
        if name not in there:
            what = "the design has no factor or covariate of that name; it must stand in the terms"
            raise _unknown(what, "factor", name, there)


def _closed(terms: Sequence[str | Term]) -> tuple[Term, ...]:
    """All terms with those they are made of: fewest names first, else as given."""
    found: dict[frozenset[str], Term] = {}
    for term in terms:
        names = (term,) if isinstance(term, str) else tuple(term)
        for size in range(1, len(names) + 1):
            for part in itertools.combinations(names, size):
                if len(set(part)) == size:
                    found.setdefault(frozenset(part), part)
    return tuple(sorted(found.values(), key=len))


def _products(terms: Sequence[Term], parts: Mapping[str, Floats]) -> list[Floats]:
    """Columns of all terms: products of one column of each name, in a fixed order."""
    made: list[Floats] = []
    for term in terms:
        for chosen in itertools.product(*(parts[n].T for n in term)):
            made.append(np.prod(chosen, axis=0))
    return made


def _column_names(terms: Sequence[Term], levels: Mapping[str, tuple[str, ...]]) -> list[str]:
    made: list[str] = []
    for term in terms:
        named = [[f"{n} {v}" for v in levels[n][1:]] if n in levels else [n] for n in term]
        made += [" x ".join(chosen) for chosen in itertools.product(*named)]
    return made


def _unknown(what: str, field: str, value: object, there: Iterable[str]) -> UnknownNameError:
    way_out = f"Choose one of {', '.join(there) or 'none'}"
    return UnknownNameError(what, field=field, value=value, way_out=way_out)


def _check_rows(rows: Sequence[HeapRow]) -> None:
    if not rows:
        raise NotEnoughError("no heap has a value", field="heaps", way_out="Measure a heap first")
    seen: set[tuple[str, str]] = set()
    for r in rows:
        if not math.isfinite(r.value):
            raise InputError(
                "the value of a heap must be a finite number",
                field=r.heap,
                value=r.value,
                way_out="Leave a lost heap out",
            )
        if (r.block, r.heap) in seen:
            raise InputError(
                "a heap gives one value, and this one stands there twice",
                field="heap",
                value=r.heap,
                way_out="Average its readings first; name yard or season as block if it is another",
            )
        seen.add((r.block, r.heap))


def _levels(rows: Sequence[HeapRow], name: str, control: str | None) -> tuple[str, ...]:
    """The levels of a factor that are met, the control first."""
    found: dict[str, None] = {}
    for r in rows:
        if name not in r.levels:
            raise UnknownNameError(
                f"heap {r.heap} does not say its {name}",
                field=name,
                way_out=f"Give every heap a {name}, or leave it out of the terms",
            )
        found[r.levels[name]] = None
    if control is None:
        return tuple(found)
    if control not in found:
        raise _unknown(f"no heap has that {name}", name, control, found)
    return (control, *(v for v in found if v != control))


def _number(row: HeapRow, name: str) -> float:
    number = row.covariates.get(name, math.nan)
    if not math.isfinite(number):
        raise InputError(
            f"heap {row.heap} has no finite {name}",
            field=name,
            value=row.covariates.get(name),
            way_out=f"Measure it, leave the heap out, or leave {name} out of the terms",
        )
    return float(number)


def _centre(numbers: Sequence[float]) -> tuple[float, float]:
    """Mean and scale of a covariate; scale 1 where all heaps have the same."""
    array = np.array(numbers)
    centre = float(array.mean())
    scale = float(np.abs(array - centre).max())
    return centre, scale if scale > 1e-12 * abs(centre) else 1.0


def _dummies(rows: Sequence[HeapRow], name: str, levels: tuple[str, ...]) -> Floats:
    return np.array([[float(r.levels[name] == v) for v in levels[1:]] for r in rows])


def _standardised(rows: Sequence[HeapRow], name: str, centre: float, scale: float) -> Floats:
    return np.array([[(_number(r, name) - centre) / scale] for r in rows])
