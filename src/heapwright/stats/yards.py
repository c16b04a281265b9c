"""Many yards that asked the same question, by one value a heap: what they show together.

Units: values and estimates in the unit of the outcome, way minus control; chance figures 0 to 1.
Conventions: a row's block is its yard (in one season); the claim rests on the prior-free interval,
because the informed one is too narrow where a way does more in one yard than in another (figures
in `stats.designs.paired`); the informed one stands beside. One yard alone is one trial and gives
no claim here, two give a lean at most. Shares and counts are described. Before the end date there
is an estimate and no interval.
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
from heapwright.stats.designs import Paired, effect, paired
from heapwright.stats.linear import Fit, HeapRow, fit
from heapwright.stats.manytoone import many_to_one
from heapwright.stats.outcomes import Outcome, outcome
from heapwright.stats.prior import SpreadPrior
from heapwright.stats.tried import Alternative
from heapwright.stats.wording import Words, headline

__all__ = ["YardComparison", "compare_yards"]

_LEVEL, _LEAN_LEVEL = 0.95, 0.80
_FEWEST = 3  # yards from which on more than a lean may be claimed (one degree of freedom is none)
_ALIKE = 1e-9  # standard error by the largest value: below it all differences are one number
_PAIRED_T = "paired t by yard, nothing assumed about the spread"
_MEANS = "each yard by the means of its heaps"
_ALONE = "paired t of the yards' means; this way only, not adjusted"
_OF_HEAPS = "least squares on all heaps with yard and way"
_TOO_NARROW = "too narrow where the way does more in one yard than in another"
_STUDENT = "Student 1908, Biometrika 6, 1-25: the paired t interval (from memory)"
_DUNNETT = "Dunnett 1955, J. Am. Stat. Assoc. 50, 1096-1121: many against a control (from memory)"
_OWN = (
    "Heapwright docs, 'Comparing fairly': the informed spread, and one pair in each of many yards"
)
_FLIPS = "Fisher 1935, The Design of Experiments: flipping the signs of pairs (from memory)"
_TWO_YARDS = "Two yards alone never show more than a lean; three are the least for more"
_NO_SPREAD = (
    "No range, because all differences came out exactly alike: that shows how the numbers were "
    "rounded, not how far yards differ"
)
_COUNTED = "Counting by yard is only described here, and not tested."
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

        plain = ("way", "control", "design", "df", "method", "claim", "differ_p", "sign_p")
        numbers = ("estimate", "low", "high", "matters", "difference_sd", "effect_sd")
        return {
            "outcome": self.outcome,
            "unit": what.published_unit,
            **{key: getattr(self, key) for key in plain},
            **{key: shown(getattr(self, key)) for key in numbers},
            "yards": list(self.yards),
            "lacking": {yard: list(ways) for yard, ways in self.lacking.items()},
            "differences": {yard: shown(d) for yard, d in self.differences.items()},
            "sign_floor": self.floor,
            "headline": self.headline,
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
        One for each way but the control. With two yards the claim is "leans" at most; with
        differences exactly alike "cannot tell", without a range; shares and counts are described.

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
    ('paired', 8.15, 1.0, 'leans')
    """
    what = outcome(outcome_key)
    if what.model in ("share", "rate"):
        what = replace(what, tested=False, note=_COUNTED)
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
    wanted = (control, *ways)
    used = [r for r in used if r.way in wanted]
    lacking = {
        yard: tuple(w for w in wanted if w not in there)
        for yard, there in by_yard.items()
        if not set(wanted) <= there
    }
    joined = _Joined(
        what, tuple(used), control, tuple(ways), prior or SpreadPrior.published(), lacking, matters,
        end_date, shown_in,
    )  # fmt: skip
    return [joined.told(way, (doing or {}).get(way, "")) for way in ways]


@dataclass(frozen=True, slots=True)
class _Joined:
    """The analyses of one outcome over several yards."""

    what: Outcome
    rows: tuple[HeapRow, ...]
    control: str
    ways: tuple[str, ...]
    prior: SpreadPrior
    lacking: Mapping[str, tuple[str, ...]]
    matters: float | None
    end_date: str | None
    shown_in: str

    @property
    def single(self) -> bool:
        """At most one heap of a way in a yard."""
        return len({(r.block, r.way) for r in self.rows}) == len(self.rows)

    @property
    def pairs(self) -> bool:
        """One heap of either of two ways in every yard."""
        return len(self.ways) == 1 and self.single

    @property
    def means(self) -> dict[tuple[str, str], float]:
        """Mean by yard and way."""
        found: dict[tuple[str, str], list[float]] = {}
        for r in self.rows:
            found.setdefault((r.block, r.way), []).append(r.value)
        return {at: math.fsum(values) / len(values) for at, values in found.items()}

    def paired(self, way: str) -> Paired:
        """The means of the yards that have *way* and the control, as pairs."""
        rows = [(yard, w, v) for (yard, w), v in self.means.items() if w in (way, self.control)]
        return paired(rows, way, self.control, prior=self.prior if self.what.informed else None)

    def fitted(self, rows: Sequence[HeapRow], *more: tuple[str, str]) -> Fit:
        return fit(rows, ("block", "way", *more), controls={"way": self.control})

    def against(
        self, f: Fit, way: str, method: str, prior: SpreadPrior | None = None, level: float = _LEVEL
    ) -> Interval:
        """One way against the control; with several ways all intervals hold together."""
        if len(self.ways) == 1:
            found = effect(f, "way", way, self.control, prior=prior, level=level)
        else:
            joint = many_to_one(f, "way", self.control, prior=prior, level=level)
            found = joint.together[way]
        return replace(found, method=method or found.method)

    def alike(self, found: Interval) -> bool:
        """Whether nothing is left of the spread but rounding."""
        return found.se <= _ALIKE * max(abs(r.value) for r in self.rows)

    def main(self, way: str, level: float) -> Interval | None:
        """The prior-free interval of the yards' means; None where nothing shows a spread."""
        rows = [HeapRow(w, value, w, yard) for (yard, w), value in self.means.items()]
        method = _PAIRED_T if len(self.ways) == 1 else ""
        with contextlib.suppress(NotEnoughError):
            found = self.against(self.fitted(rows), way, method, level=level)
            return found if self.single else replace(found, method=f"{found.method}; {_MEANS}")
        return None

    def beside(self, way: str, pairs: Paired) -> tuple[Alternative, ...]:
        """The same difference by other analyses, without any that shows no spread."""
        found: list[Interval] = []
        f = self.fitted(self.rows)
        if self.what.informed:
            method = f"informed spread, s0 = {self.prior.s0_c:g} C, by yard; {_TOO_NARROW}"
            found.append(self.against(f, way, method, prior=self.prior))
        if len(self.ways) > 1 and pairs.prior_free is not None:
            found.append(replace(pairs.prior_free, method=_ALONE))
        if not self.single:
            with contextlib.suppress(NotEnoughError):
                found.append(self.against(f, way, f"{_OF_HEAPS}; {_TOO_NARROW}"))
        return tuple(
            Alternative(i.method, i.estimate, i.low, i.high, i.df)
            for i in found
            if not self.alike(i)
        )

    def differ_p(self) -> float | None:
        """Chance figure of ways that do other things in other yards, where yards repeat heaps."""
        try:
            return anova(self.fitted(self.rows, ("block", "way"))).row("block", "way").p
        except NotEnoughError:
            return None

    def claimed(self, count: int, at95: Interval | None, at80: Interval | None) -> str:
        """What may be claimed from *count* yards."""
        if self.end_date is not None:
            return claims.so_far(self.end_date)
        if not self.what.tested:
            return claims.DESCRIBED
        said = claims.claim(count, count, at95, at80, self.matters, informed=False)
        if count >= _FEWEST or said == claims.CANNOT_TELL:
            return said
        return claims.LEANS if at80 is not None and at80.excludes_zero else claims.CANNOT_TELL

    def told(self, way: str, doing: str) -> YardComparison:
        """One way against the control, with its claim and its sentence."""
        pairs = self.paired(way)
        yards = tuple(pairs.differences)
        judged = self.end_date is None and self.what.tested and len(yards) > 1
        at95, at80 = (self.main(way, at) if judged else None for at in (_LEVEL, _LEAN_LEVEL))
        estimate = at95.estimate if at95 else pairs.estimate
        flat = at95 is not None and self.alike(at95)
        if flat:
            at95 = at80 = None
        said = self.claimed(len(yards), at95, at80)
        return YardComparison(
            outcome=self.what.key,
            unit=self.what.unit,
            way=way,
            control=self.control,
            design="paired" if len(self.ways) == 1 else "blocks",
            yards=yards,
            lacking=self.lacking,
            estimate=estimate,
            low=at95.low if at95 else None,
            high=at95.high if at95 else None,
            df=at95.df if at95 else None,
            method=at95.method if at95 else "mean of the differences by yard, no interval",
            claim=said,
            matters=None if self.matters is None else float(self.matters),
            sentence=self.sentence(way, doing, yards, said, estimate, at95),
            caveat=claims.TEMPERATURE_CAVEAT if self.what.kind == "temperature" else "",
            differences=pairs.differences,
            difference_sd=pairs.difference_sd if judged else None,
            effect_sd=pairs.effect_sd if judged and self.pairs else None,
            differ_p=(pairs.differ_p if self.pairs else self.differ_p()) if judged else None,
            sign_p=pairs.sign_p if judged else None,
            floor=pairs.floor if judged else None,
            alternatives=self.beside(way, pairs) if judged else (),
            assumptions=self.assumptions(len(yards), judged=judged, flat=flat),
            sources=self.sources() if judged else (),
        )

    def sentence(
        self, way: str, doing: str, yards: tuple[str, ...], said: str, estimate: float,
        at95: Interval | None,
    ) -> str:  # fmt: skip
        """The finding in words; one yard is told as one trial."""
        if len(yards) == 1:
            seen = self.what.sentence(way, self.control, estimate, shown_in=self.shown_in)
            if self.end_date is not None:
                return f"So far: in {yards[0]} {seen}. Nothing is claimed before {self.end_date}."
            return f"In {yards[0]} {seen}. {_ONE_YARD}"
        words = Words(
            self.what, way, self.control, yards, yards, doing, self.matters, self.prior.s0_c,
            self.end_date, self.shown_in, yards,
        )  # fmt: skip
        told = headline(words, said, estimate, at95)
        capped = said == claims.LEANS and at95 is not None and at95.excludes_zero
        return f"{told} {_TWO_YARDS}." if capped else told

    def assumptions(self, count: int, *, judged: bool, flat: bool) -> tuple[str, ...]:
        """What the finding takes for granted, with what it cannot say and why."""
        several = len(self.ways) > 1
        rows = {
            "The heap is the unit: spots and rounds were averaged first": True,
            "The yards stand for yards like them; the way may do more in one than another": judged,
            _TWO_YARDS: judged and count < _FEWEST,
            _NO_SPREAD: flat,
            f"Beside it: {self.prior.sentence()}": judged and self.what.informed,
            "All comparisons with the control hold together at 95 % (Dunnett)":
                judged and several and not flat,
            "Ratios are compared by plain differences here, not on the log scale":
                self.what.model == "ratio",
            self.what.note: bool(self.what.note),
        }  # fmt: skip
        return tuple(text for text, holds in rows.items() if holds)

    def sources(self) -> tuple[str, ...]:
        rows = {_STUDENT: True, _FLIPS: True, _DUNNETT: len(self.ways) > 1}
        return tuple(s for s, holds in {**rows, _OWN: self.what.informed}.items() if holds)
