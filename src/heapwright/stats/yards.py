"""Many yards that asked the same question, by one value a heap: what they show together.

Units: values and estimates in the unit of the outcome, way minus control; chance figures 0 to 1.
Conventions: a row's block is its yard (in one season); the claim rests on the prior-free interval,
because the informed one is too narrow where a way does more in one yard than in another (figures
in `stats.designs.paired`); the informed one stands beside. One yard alone is one trial and gives
no claim here. Before the end date there is an estimate and no interval.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from heapwright.errors import NotEnoughError
from heapwright.stats import claims
from heapwright.stats.anova import anova
from heapwright.stats.contrast import Interval
from heapwright.stats.designs import effect, paired
from heapwright.stats.linear import Fit, HeapRow, fit
from heapwright.stats.manytoone import many_to_one
from heapwright.stats.outcomes import Outcome, outcome
from heapwright.stats.prior import SpreadPrior
from heapwright.stats.tried import Alternative
from heapwright.stats.wording import Words, headline

__all__ = ["YardComparison", "compare_yards"]

_LEVEL, _LEAN_LEVEL = 0.95, 0.80
_MEANS = "each yard by the means of its heaps"
_OF_HEAPS = (
    "least squares on all heaps with yard and way; too narrow where the way does more in one yard "
    "than in another"
)
_STUDENT = "Student 1908, Biometrika 6, 1-25: the paired t interval (from memory)"
_DUNNETT = (
    "Dunnett 1955, J. Am. Stat. Assoc. 50, 1096-1121: several ways against one control (from "
    "memory)"
)
_OWN = (
    "Heapwright docs, 'Comparing fairly': the informed spread, and one pair in each of many yards"
)
_FLIPS = "Fisher 1935, The Design of Experiments: flipping the signs of pairs (from memory)"
_ONE_YARD = "That is one yard, so one trial alone: heapwright findings says what it shows."


@dataclass(frozen=True, slots=True)
class YardComparison:
    """One way against the control over several yards.

    outcome, unit : key and unit of the estimate; design : "paired" (one heap of either way in
    every yard) or "blocks"; yards : those with both ways; lacking : ways that a yard lacks;
    estimate, low, high, df : with the 95 % interval the claim rests on, None where there is none;
    differences : way minus control by yard, means where a yard has several heaps; difference_sd :
    their SD; effect_sd, differ_p : how much the yards differ in what the way does, beyond heaps
    that merely differ (effect_sd for pairs with an informed spread only), and the chance figure of
    at least as much if they do not; sign_p, floor : chance figure of the mean difference among all
    flips of signs by yard, and the smallest it can be; alternatives : shown beside.
    """

    outcome: str
    unit: str
    way: str
    control: str
    design: str
    yards: tuple[str, ...]
    lacking: Mapping[str, tuple[str, ...]]
    estimate: float
    low: float | None
    high: float | None
    df: float | None
    method: str
    claim: str
    matters: float | None
    sentence: str
    caveat: str
    differences: Mapping[str, float]
    difference_sd: float | None
    effect_sd: float | None
    differ_p: float | None
    sign_p: float | None
    floor: float | None
    alternatives: tuple[Alternative, ...]
    assumptions: tuple[str, ...]
    sources: tuple[str, ...]

    @property
    def headline(self) -> str:
        """The finding in words, with the caveat that stands with it."""
        return f"{self.sentence} {self.caveat}".strip()

    def to_json(self) -> dict[str, Any]:
        """As published: plain lists, numbers and text, fractions as per cent."""
        what = outcome(self.outcome)

        def shown(value: float | None) -> float | None:
            return None if value is None else value * what.per_kept

        return {
            "outcome": self.outcome,
            "unit": what.published_unit,
            "way": self.way,
            "control": self.control,
            "design": self.design,
            "yards": list(self.yards),
            "lacking": {yard: list(ways) for yard, ways in self.lacking.items()},
            "estimate": shown(self.estimate),
            "low": shown(self.low),
            "high": shown(self.high),
            "df": self.df,
            "method": self.method,
            "claim": self.claim,
            "matters": shown(self.matters),
            "headline": self.headline,
            "differences": {yard: shown(d) for yard, d in self.differences.items()},
            "difference_sd": shown(self.difference_sd),
            "effect_sd": shown(self.effect_sd),
            "differ_p": self.differ_p,
            "sign_p": self.sign_p,
            "sign_floor": self.floor,
            "alternatives": [a.to_json(what.per_kept) for a in self.alternatives],
            "assumptions": list(self.assumptions),
            "sources": list(self.sources),
        }


def compare_yards(
    outcome_key: str,
    rows: Sequence[HeapRow],
    control: str,
    *,
    matters: float | None,
    end_date: str | None = None,
    prior: SpreadPrior | None = None,
    doing: Mapping[str, str] | None = None,
    shown_in: str = "C",
) -> list[YardComparison]:
    """Every way against the control, paired by yard.

    Parameters
    ----------
    outcome_key : str
        A key of `heapwright.stats.outcomes.OUTCOMES`.
    rows : sequence of HeapRow
        One value a heap with its way and, as block, its yard. A yard that has fewer than two ways
        carries nothing and is left out by name.
    control : str
        The way that the others are compared with.
    matters : float or None
        The locked difference that would change practice, > 0, in the unit of the outcome.
    end_date : str, optional
        Set if it has not come: then there is no interval and no claim.
    prior : SpreadPrior, optional
        For outcomes with an informed spread; that of science/values/spread.toml unless given.
    doing : mapping of way to str, optional
        What was done, as a noun ("turning").
    shown_in : {"C", "F"}, default "C"
        Unit of temperature differences in sentences; estimates stay in C.

    Returns
    -------
    list of YardComparison
        One for each way but the control.

    Raises
    ------
    NotEnoughError
        If no yard has a heap of the control and one of another way.
    UnknownNameError
        No such outcome.
    QuantityError, InputError
        *matters* not above 0, a value not finite, a heap that stands there twice.

    Notes
    -----
    The claim rests on the yards' means: the paired t, which holds however much the effect varies
    between yards (several ways: least squares with yard and way on the means, and Dunnett's
    critical value). Where yards have several heaps of a way, least squares on the heaps stands
    beside: it takes the way to do the same in every yard, and with heaps differing by 4 C and an
    effect varying with SD 4 C, 3 yards of 2 heaps each way give it a coverage of .89 against .95
    of the means, 4 yards of 3 heaps .86 against .95 (2,000 invented trials each).

    Examples
    --------
    >>> rows = [HeapRow(w, v, w, y) for y, w, v in [("Fern", "left", 31.2),
    ...         ("Fern", "turned", 38.9), ("Hill", "left", 27.5), ("Hill", "turned", 36.1)]]
    >>> found = compare_yards("mean_excess_c", rows, "left", matters=3.0)[0]
    >>> found.design, round(found.estimate, 2), found.df, found.claim
    ('paired', 8.15, 1.0, 'real, perhaps too small')
    """
    what = outcome(outcome_key)
    ways = [w for w in dict.fromkeys(r.way for r in rows) if w != control]
    by_yard: dict[str, set[str]] = {}
    for r in rows:
        by_yard.setdefault(r.block, set()).add(r.way)
    used = [r for r in rows if len(by_yard[r.block]) > 1]
    ways = [w for w in ways if any({w, control} <= by_yard[r.block] for r in used)]
    if not ways:
        raise NotEnoughError(
            f"no yard has a heap of {control} and one of another way",
            field="yards",
            value=", ".join(by_yard) or "none",
            way_out="Build the other heap in one of them",
        )
    used = [r for r in used if r.way in (control, *ways)]
    joined = _Joined(what, tuple(used), control, tuple(ways), prior or SpreadPrior.published())
    wanted = (control, *ways)
    lacking = {
        yard: tuple(w for w in wanted if w not in there)
        for yard, there in by_yard.items()
        if not set(wanted) <= there
    }
    return [
        joined.told(way, lacking, matters, end_date, (doing or {}).get(way, ""), shown_in)
        for way in ways
    ]


@dataclass(frozen=True, slots=True)
class _Joined:
    """The analyses of one outcome over several yards."""

    what: Outcome
    rows: tuple[HeapRow, ...]
    control: str
    ways: tuple[str, ...]
    prior: SpreadPrior

    @property
    def single(self) -> bool:
        """At most one heap of a way in a yard."""
        return len({(r.block, r.way) for r in self.rows}) == len(self.rows)

    @property
    def pairs(self) -> bool:
        """One heap of either of two ways in every yard."""
        return len(self.ways) == 1 and self.single

    @property
    def informed(self) -> SpreadPrior | None:
        return self.prior if self.what.informed else None

    def means(self, way: str) -> list[tuple[str, str, float]]:
        """(yard, way, mean) of the yards that have *way* and the control."""
        found: dict[str, dict[str, list[float]]] = {}
        for r in self.rows:
            if r.way in (way, self.control):
                found.setdefault(r.block, {}).setdefault(r.way, []).append(r.value)
        return [
            (yard, w, math.fsum(values) / len(values))
            for yard, by_way in found.items()
            if len(by_way) == 2
            for w, values in by_way.items()
        ]

    def fitted(self, *terms: str | tuple[str, ...]) -> Fit:
        return fit(self.rows, terms or ("block", "way"), controls={"way": self.control})

    def of_means(self) -> Fit:
        """Yard and way by least squares on one mean a way and yard."""
        found: dict[tuple[str, str], list[float]] = {}
        for r in self.rows:
            found.setdefault((r.block, r.way), []).append(r.value)
        rows = [
            HeapRow(way, math.fsum(values) / len(values), way, yard)
            for (yard, way), values in found.items()
        ]
        return fit(rows, ("block", "way"), controls={"way": self.control})

    def main(self, way: str, level: float) -> Interval | None:
        """The prior-free interval of the yards' means; None where nothing shows a spread."""
        try:
            f = self.of_means()
            if len(self.ways) > 1:
                found = many_to_one(f, "way", self.control, level=level).together[way]
                return found if self.single else replace(found, method=f"{found.method}; {_MEANS}")
            found = effect(f, "way", way, self.control, level=level)
        except NotEnoughError:
            return None
        more = "" if self.single else f"; {_MEANS}"
        return replace(found, method=f"paired t by yard, nothing assumed about the spread{more}")

    def beside(self, way: str) -> tuple[Alternative, ...]:
        found: list[Interval] = []
        if self.informed:
            f = self.fitted()
            if len(self.ways) > 1:
                one = many_to_one(f, "way", self.control, prior=self.prior).together[way]
            else:
                one = effect(f, "way", way, self.control, prior=self.prior)
            method = (
                f"informed spread, s0 = {self.prior.s0_c:g} C, by yard; too narrow where the way "
                "does more in one yard than in another"
            )
            found.append(replace(one, method=method))
        if len(self.ways) > 1:
            alone = paired(self.means(way), way, self.control).prior_free
            if alone is not None:
                method = "paired t of the yards' means; this way only, not adjusted"
                found.append(replace(alone, method=method))
        if not self.single:
            with contextlib.suppress(NotEnoughError):
                f = self.fitted()
                one = (
                    many_to_one(f, "way", self.control).together[way]
                    if len(self.ways) > 1
                    else effect(f, "way", way, self.control)
                )
                found.append(replace(one, method=_OF_HEAPS))
        return tuple(Alternative(i.method, i.estimate, i.low, i.high, i.df) for i in found)

    def differ_p(self) -> float | None:
        """Chance figure of ways that do other things in other yards, where yards repeat heaps."""
        try:
            return anova(self.fitted(("block", "way"))).row("block", "way").p
        except NotEnoughError:
            return None

    def told(
        self,
        way: str,
        lacking: Mapping[str, tuple[str, ...]],
        matters: float | None,
        end_date: str | None,
        doing: str,
        shown_in: str,
    ) -> YardComparison:
        """One way against the control, with its claim and its sentence."""
        pairs = paired(self.means(way), way, self.control, prior=self.informed)
        yards = tuple(pairs.differences)
        one = len(yards) == 1
        judged = end_date is None and self.what.tested and not one
        at95, at80 = (
            (self.main(way, _LEVEL), self.main(way, _LEAN_LEVEL)) if judged else (None, None)
        )
        estimate = at95.estimate if at95 else pairs.estimate
        if end_date is not None:
            said = claims.so_far(end_date)
        elif not self.what.tested:
            said = claims.DESCRIBED
        else:
            n = len(yards)
            said = claims.claim(n, n, at95, at80, matters, informed=False)
        words = Words(
            self.what, way, self.control, yards, yards, doing, matters, self.prior.s0_c, end_date,
            shown_in, yards,
        )  # fmt: skip
        if one:
            seen = self.what.sentence(way, self.control, estimate, shown_in=shown_in)
            sentence = f"In {yards[0]} {seen}. {_ONE_YARD}"
            if end_date is not None:
                sentence = f"So far: in {yards[0]} {seen}. Nothing is claimed before {end_date}."
        else:
            sentence = headline(words, said, estimate, at95)
        return YardComparison(
            outcome=self.what.key,
            unit=self.what.unit,
            way=way,
            control=self.control,
            design="paired" if len(self.ways) == 1 else "blocks",
            yards=yards,
            lacking=lacking,
            estimate=estimate,
            low=at95.low if at95 else None,
            high=at95.high if at95 else None,
            df=at95.df if at95 else None,
            method=at95.method if at95 else "mean of the differences by yard, no interval",
            claim=said,
            matters=None if matters is None else float(matters),
            sentence=sentence,
            caveat=claims.TEMPERATURE_CAVEAT if self.what.kind == "temperature" else "",
            differences=pairs.differences,
            difference_sd=pairs.difference_sd if judged else None,
            effect_sd=pairs.effect_sd if judged and self.pairs else None,
            differ_p=(pairs.differ_p if self.pairs else self.differ_p()) if judged else None,
            sign_p=pairs.sign_p if judged else None,
            floor=pairs.floor if judged else None,
            alternatives=self.beside(way) if judged else (),
            assumptions=self.assumptions(at95),
            sources=self.sources(at95),
        )

    def assumptions(self, at95: Interval | None) -> tuple[str, ...]:
        rows = ["The heap is the unit: spots and rounds were averaged first"]
        if at95 is not None:
            rows.append(
                "The yards stand for yards like them; the way may do more in one than another"
            )
        if at95 is not None and self.informed:
            rows.append(f"Beside it: {self.prior.sentence()}")
        if at95 is not None and len(self.ways) > 1:
            rows.append("All comparisons with the control hold together at 95 % (Dunnett)")
        if self.what.model != "difference":
            rows.append("Differences of heap values, not ratios or counts: pairs by yard are plain")
        return (*rows, self.what.note) if self.what.note else tuple(rows)

    def sources(self, at95: Interval | None) -> tuple[str, ...]:
        if at95 is None:
            return ()
        rows = [_STUDENT, _FLIPS]
        rows += [_DUNNETT] if len(self.ways) > 1 else []
        return (*rows, _OWN) if self.informed else tuple(rows)
