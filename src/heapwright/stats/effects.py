"""Things varied together: the effect of each, and whether one does more beside another.

Units: estimates in the unit of the outcome, one level minus the factor's first (the control's).
Conventions: one value a heap; the effect of a factor averages over the levels of the others with
equal weights; ratios are taken as plain differences here and counts not at all; where fewer than
half of the combinations have a second heap, nothing more than "leans" is claimed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from heapwright.errors import NotEnoughError
from heapwright.stats import claims
from heapwright.stats.anova import Anova, anova
from heapwright.stats.contrast import Interval
from heapwright.stats.designs import effect, interaction
from heapwright.stats.linear import Fit, HeapRow, fit
from heapwright.stats.manytoone import many_to_one
from heapwright.stats.outcomes import Outcome, outcome
from heapwright.stats.prior import SpreadPrior
from heapwright.stats.wording import Words, headline

__all__ = ["FactorEffect", "Factorial", "factorial"]

#: a spread below this share of the values is one of rounding
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class FactorEffect:
    """One level of a factor against its first, or how two such effects depend on each other.

    factor, level, first : "" for level and first where *factor* is a pair "turning x material";
    estimate, low, high, df : in the unit of the outcome, None where there is no interval; claim :
    as `heapwright.stats.claims`; sentence; method.
    """

    outcome: str
    factor: str
    level: str
    first: str
    estimate: float
    low: float | None
    high: float | None
    df: float | None
    claim: str
    sentence: str
    method: str

    def to_json(self) -> dict[str, Any]:
        """As it stands in the findings, in published units."""
        k = outcome(self.outcome).per_kept
        low, high = (None if v is None else v * k for v in (self.low, self.high))
        return {
            "outcome": self.outcome, "unit": outcome(self.outcome).published_unit,
            "factor": self.factor, "level": self.level, "first": self.first,
            "estimate": self.estimate * k, "low": low, "high": high, "df": self.df,
            "claim": self.claim, "sentence": self.sentence, "method": self.method,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Factorial:
    """Everything a design with factors says of one outcome: effects, what depends on what, and the
    analysis of variance (None where no heap is left over for it); notes."""

    outcome: str
    effects: tuple[FactorEffect, ...]
    together: tuple[FactorEffect, ...]
    table: Anova | None
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """As it stands in the findings."""
        rows = () if self.table is None else self.table.rows
        return {
            "outcome": self.outcome, "effects": [e.to_json() for e in self.effects],
            "together": [e.to_json() for e in self.together],
            "anova": [
                {"term": r.term, "df": r.df, "f": r.f, "p": r.p, "ss": r.ss} for r in rows
            ],
            "df_residual": None if self.table is None else self.table.df_residual,
            "notes": list(self.notes),
        }  # fmt: skip


def factorial(
    outcome_key: str,
    rows: Sequence[HeapRow],
    factors: Mapping[str, Sequence[str]],
    *,
    matters: float | None,
    ended: bool,
    end_date: str | None = None,
    prior: SpreadPrior | None = None,
    shown_in: str = "C",
) -> Factorial:
    """The effects of all factors on one outcome.

    Parameters
    ----------
    outcome_key : str
        A key of `heapwright.stats.outcomes.OUTCOMES`.
    rows : sequence of HeapRow
        One a heap, with its level of every factor, and its block where it has one.
    factors : mapping of factor to levels
        Two or more, each level held against the first.
    matters, ended, end_date, shown_in
        As `heapwright.stats.compare.compare`; before the end there is no interval and no claim.
    prior : SpreadPrior, optional
        For outcomes with an informed spread.

    Returns
    -------
    Factorial

    Raises
    ------
    NotEnoughError
        If the heaps cannot carry the effects; names the factor and the missing combination.

    Examples
    --------
    >>> rows = [HeapRow(h, v, factors={"turning": t, "material": m}) for h, v, t, m in [
    ...     ("A", 30.0, "no", "bark"), ("B", 41.0, "yes", "bark"), ("C", 33.0, "no", "grass"),
    ...     ("D", 47.0, "yes", "grass")]]
    >>> levels = {"turning": ("no", "yes"), "material": ("bark", "grass")}
    >>> found = factorial("mean_excess_c", rows, levels, matters=5.0, ended=True)
    >>> found.effects[0].estimate, found.effects[0].claim
    (12.5, 'leans')
    """
    what = outcome(outcome_key)
    if what.model in ("share", "rate"):
        raise NotEnoughError(
            f"{what.title} are counted, and what is counted is compared by way only",
            field=what.key,
            way_out="See the ways one by one",
        )
    given = (prior or SpreadPrior.published()) if what.informed else None
    f, notes = _fitted(rows, factors)
    if what.model == "ratio":
        notes.append("By factor the ratio is a plain difference; by way it is on the log scale")
    said = _Said(what, f, given, matters, None if ended else (end_date or "the end"), shown_in)
    effects = [e for factor, levels in factors.items() for e in _main(said, factor, levels)]
    together = []
    paired = {frozenset(t) for t in f.terms if len(t) == 2}
    for one, other in combinations(factors, 2):
        if frozenset((one, other)) in paired:
            together += _pair(said, one, factors[one], other, factors[other])
    table = anova(f) if ended and f.df >= 1 and not said.alike else None
    return Factorial(outcome_key, tuple(effects), tuple(together), table, tuple(notes))


@dataclass(frozen=True, slots=True)
class _Said:
    """What all effects of one outcome share; end_date : text if it has not come."""

    what: Outcome
    f: Fit
    prior: SpreadPrior | None
    matters: float | None
    end_date: str | None
    shown_in: str

    @property
    def can(self) -> bool:
        """Whether there is an interval."""
        if self.end_date is not None:
            return False
        return self.prior is not None or (self.f.df >= 1 and not self.alike)

    @property
    def alike(self) -> bool:
        """Whether heaps treated alike came out exactly alike, to rounding."""
        size = max((abs(r.value) for r in self.f.rows), default=0.0)
        return self.f.rss <= (_ROUNDING * (size or 1.0)) ** 2 * len(self.f.rows)

    @property
    def repeated(self) -> bool:
        """Whether at least half of the combinations that have a heap have a second one."""
        found = Counter(tuple(sorted(r.factors.items())) for r in self.f.rows)
        return 2 * sum(n > 1 for n in found.values()) >= len(found)


def _fitted(rows: Sequence[HeapRow], factors: Mapping[str, Sequence[str]]) -> tuple[Fit, list[str]]:
    """Blocks, factors and their pairs, as far as the heaps carry them; with what must be said."""
    controls = {name: levels[0] for name, levels in factors.items()}
    whole_blocks = all(r.block for r in rows) and len({r.block for r in rows}) > 1
    names = list(factors)
    notes = []
    for blocks in (["block"], []) if whole_blocks else ([],):
        for pairs in (list(combinations(names, 2)), []):
            f = fit(rows, [*blocks, *pairs, *names], controls=controls)
            if _carried(f, factors):
                if whole_blocks and not blocks:
                    notes.append("What was varied cannot be told from the blocks, so these stay in")
                if not pairs:
                    notes.append(
                        "Not every combination has a heap, so it is taken that the things varied "
                        "do not depend on each other"
                    )
                return f, notes
    raise NotEnoughError(
        f"the heaps cannot tell {' from '.join(names)}: some of their levels always stand together",
        field="factors",
        value=", ".join(names),
        way_out="Build a heap of a combination that is missing",
    )


def _carried(f: Fit, factors: Mapping[str, Sequence[str]]) -> bool:
    """Whether the heaps carry the effect of every level of every factor."""
    try:
        for name, levels in factors.items():
            for other in levels[1:]:
                effect(f, name, other, levels[0], prior=SpreadPrior())
    except NotEnoughError:
        return False
    return True


def _main(said: _Said, factor: str, levels: Sequence[str]) -> list[FactorEffect]:
    first, made = levels[0], []
    at95: dict[str, Interval] = {}
    at80: dict[str, Interval] = {}
    if said.can:
        for level, into in ((0.95, at95), (0.80, at80)):
            found = many_to_one(said.f, factor, first, prior=said.prior, level=level)
            into.update(found.together if len(levels) > 2 else found.alone)
    for other in levels[1:]:
        estimate = effect(said.f, factor, other, first, prior=said.prior or SpreadPrior()).estimate
        heaps = {
            v: tuple(r.heap for r in said.f.rows if r.factors[factor] == v) for v in (other, first)
        }
        words = Words(
            said.what, f"{factor} {other}", f"{factor} {first}", heaps[other], heaps[first],
            f"{factor} {other}", said.matters,
            said.prior.s0_c if said.prior else 0.0, said.end_date, said.shown_in,
        )  # fmt: skip
        made.append(
            _effect(said, factor, other, first, estimate, at95.get(other), at80.get(other), words)
        )
    return made


def _effect(
    said: _Said, factor: str, level: str, first: str, estimate: float,
    at95: Interval | None, at80: Interval | None, words: Words,
) -> FactorEffect:  # fmt: skip
    least = min(len(words.way_heaps), len(words.control_heaps)) if said.repeated else 1
    if said.end_date is not None:
        claim = claims.so_far(said.end_date)
    elif not said.what.tested:
        claim, at95 = claims.DESCRIBED, None
    else:
        claim = claims.claim(least, least, at95, at80, said.matters, informed=said.what.informed)
    return FactorEffect(
        said.what.key, factor, level, first, estimate, at95.low if at95 else None,
        at95.high if at95 else None, at95.df if at95 else None, claim,
        headline(words, claim, estimate, at95), at95.method if at95 else "no interval",
    )  # fmt: skip


def _pair(
    said: _Said, one: str, ones: Sequence[str], other: str, others: Sequence[str]
) -> list[FactorEffect]:
    """How much more a level does beside another level than beside the first."""
    if not said.can or not said.what.tested or not said.repeated:
        return []
    made = []
    for a in ones[1:]:
        for b in others[1:]:
            try:
                i = interaction(said.f, (one, a, ones[0]), (other, b, others[0]), prior=said.prior)
            except NotEnoughError:
                continue
            made.append(_told(said, one, a, other, b, others[0], i))
    return made


def _told(
    said: _Said, one: str, a: str, other: str, b: str, first: str, i: Interval
) -> FactorEffect:
    what, unit = said.what, said.what.unit_on_screen(said.shown_in)
    low, high = (what.signed(v, shown_in=said.shown_in) for v in (i.low, i.high))
    seen = what.signed(i.estimate, shown_in=said.shown_in)
    plus = "" if seen.startswith("-") else "+"
    sentence = (
        f"{one} {a} did {plus}{seen} {unit}".rstrip() + f" with {other} {b} over what it did with "
        f"{other} {first} (95 % range {low} to {high}): "
    )
    if i.excludes_zero:
        claim, sentence = claims.REAL, sentence + "the two depend on each other."
    else:
        claim = claims.CANNOT_TELL
        sentence += "whether the two depend on each other cannot be told."
    return FactorEffect(
        what.key, f"{one} x {other}", "", "", i.estimate, i.low, i.high, i.df, claim,
        sentence[:1].upper() + sentence[1:], i.method,
    )  # fmt: skip
