"""The analyses of one way against the control: the one a claim rests on, and those shown beside.

Units: those of the outcome; ratios beside are without unit. Conventions: which analysis a claim
rests on follows from the outcome and the design and never from the values; where heaps stand in
blocks that hold every way, the blocks' own levels are taken out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from heapwright.errors import NotEnoughError
from heapwright.stats import dunnett
from heapwright.stats.contrast import (
    Interval,
    covariate_contrast,
    informed_contrast,
    pooled_t,
    welch,
)
from heapwright.stats.designs import effect
from heapwright.stats.linear import Fit, HeapRow, fit
from heapwright.stats.manytoone import many_to_one
from heapwright.stats.outcomes import Outcome
from heapwright.stats.prior import SpreadPrior
from heapwright.stats.scales import as_difference, as_ratio, log_welch, logs, on_log

__all__ = ["Alternative", "Tried", "usable_blocks"]

_OTHER_SPREADS_C = (3.0, 4.0, 6.0)
_LEVEL = 0.95
_DUNNETT = "Dunnett 1955, J. Am. Stat. Assoc. 50, 1096-1121: several ways against one control"
_WELCH = "Welch 1947, Biometrika 34, 28-35: a spread for each way"
_STUDENT = "Student 1908, Biometrika 6, 1-25: the t interval"
_OWN = "Heapwright docs, 'Comparing fairly': the informed spread and its simulation study"
_LOG = "Reckoned on the log scale: the range is the difference a ratio makes at the control's level"
_COUNTED = "Heaps' own spread widens the range of what was counted; it is never below chance"
_GLM = (
    "McCullagh and Nelder 1989, Generalized Linear Models: counts with more spread than chance "
    "(from memory)"
)
_NO_INTERVAL = "With one heap each there is no interval: the trial itself shows no spread"
_ALIKE = (
    "Heaps of one way came out exactly alike: that shows how the numbers were rounded, not how far "
    "heaps differ, so there is no range"
)
_LONE = "Within blocks too few heaps stand beside each other to claim more than a leaning"
_NO_BLOCKS = "Counts are compared without the blocks"
#: a spread below this share of the values is one of rounding
_ROUNDING = 1e-9
_BLOCKED = "Heaps are compared within their blocks: what a block has of its own is taken out"
_FREE_SCALES = ("difference", "ratio")


@dataclass(frozen=True, slots=True)
class Alternative:
    """The same difference by another analysis, shown beside the one that was chosen.

    scale : "difference" in the unit of the outcome, or "ratio" of way over control.
    """

    method: str
    estimate: float
    low: float
    high: float
    df: float
    scale: str = "difference"

    def said(self, what: Outcome, *, shown_in: str = "C") -> tuple[str, str, str]:
        """Estimate, low and high as they stand on screen, without a unit."""
        if self.scale == "ratio":
            low, mid, high = (f"{v:.2f}" for v in (self.low, self.estimate, self.high))
            return mid, low, high
        low, mid, high = (
            what.signed(v, shown_in=shown_in) for v in (self.low, self.estimate, self.high)
        )
        return mid, low, high

    def to_json(self, factor: float = 1.0) -> dict[str, Any]:
        """As it stands in the findings; *factor* turns kept into published units."""
        factor = 1.0 if self.scale == "ratio" else factor
        return {
            "method": self.method,
            "scale": self.scale,
            "estimate": self.estimate * factor,
            "low": self.low * factor,
            "high": self.high * factor,
            "df": self.df,
        }


@dataclass(frozen=True, slots=True)
class Tried:
    """The analyses of one pair.

    what : outcome; values : one number a heap by way, all ways; way, control : the pair; prior :
    for an informed spread; exposures : by way and heap, for what is counted; blocks : by heap, as
    `usable_blocks` has them, empty for none.
    """

    what: Outcome
    values: Mapping[str, Mapping[str, float]]
    way: str
    control: str
    prior: SpreadPrior
    exposures: Mapping[str, Mapping[str, float]]
    blocks: Mapping[str, str]

    @property
    def groups(self) -> dict[str, list[float]]:
        """Values by way."""
        return {way: list(heaps.values()) for way, heaps in self.values.items()}

    @property
    def smallest(self) -> int:
        """Heaps of the way that has fewer of them."""
        return min(len(self.values[self.way]), len(self.values[self.control]))

    @property
    def many(self) -> bool:
        """Whether more than two ways are compared."""
        return len(self.values) > 2

    @property
    def blocked(self) -> bool:
        """Whether the blocks' own levels are taken out."""
        return bool(self.blocks) and self.what.model in _FREE_SCALES

    @property
    def carrying(self) -> tuple[int, int]:
        """Heaps of the way and of the control that carry the comparison.

        In blocks those that stand in a block with one of the other; one each where nothing is left
        over in the whole trial that shows how far heaps differ.
        """
        mine, theirs = (list(self.values[w]) for w in (self.way, self.control))
        if not self.blocked:
            return len(mine), len(theirs)
        both = {self.blocks[h] for h in mine} & {self.blocks[h] for h in theirs}
        if _fitted(self.values, self.blocks, self.control).df < 1:
            return 1, 1
        a, b = (sum(self.blocks[h] in both for h in heaps) for heaps in (mine, theirs))
        return max(a, 1), max(b, 1)

    @property
    def without_spread(self) -> bool:
        """Whether heaps of every way came out exactly alike, where nothing is assumed of them."""
        if self.what.informed or self.what.model in ("share", "rate"):
            return False
        size = max((abs(v) for g in self.groups.values() for v in g), default=0.0)
        alike = all(max(g) - min(g) <= _ROUNDING * (size or 1.0) for g in self.groups.values())
        return alike and any(len(g) > 1 for g in self.groups.values())

    def main(self, level: float) -> Interval | None:
        """The interval that the claim rests on; None if there is none."""
        if self.without_spread:
            return None
        if self.blocked:
            found = self._in_blocks(level, self.prior if self.what.informed else None)
            size = max(abs(v) for g in self.groups.values() for v in g)
            exact = found is not None and found.se <= _ROUNDING * (size or 1.0)
            return None if exact else found
        return self._plain(level)

    def _in_blocks(self, level: float, prior: SpreadPrior | None) -> Interval | None:
        """The interval with the blocks' own levels taken out."""
        log = self.what.model == "ratio"
        f = _fitted(self.values, self.blocks, self.control, log=log)
        if prior is None and f.df < 1:
            return None
        if self.many:
            made = many_to_one(f, "way", self.control, prior=prior, level=level)
            one = made.together[self.way]
        else:
            one = effect(f, "way", self.way, self.control, prior=prior, level=level)
        one = replace(one, method=f"{one.method}; blocks taken out")
        return self._told(one) if log else one

    def _plain(self, level: float) -> Interval | None:
        """The interval without blocks; None if there is none."""
        if self.what.informed:
            one = informed_contrast(self.groups, self.way, self.control, self.prior, level=level)
            return self._together(one)
        if sum(map(len, self.values.values())) <= len(self.values):
            return None
        if self.what.model == "difference":
            return self._together(pooled_t(self.groups, self.way, self.control, level=level))
        return self._told(self._together(self._log(level)))

    @property
    def counted_in(self) -> dict[str, list[float]]:
        """Exposures by way, in the order of the heaps."""
        return {
            way: [self.exposures[way][heap] for heap in heaps]
            for way, heaps in self.values.items()
            if way in self.exposures
        }

    def _log(self, level: float = _LEVEL) -> Interval:
        return on_log(
            self.what.model, self.groups, self.counted_in, self.way, self.control, level=level
        )

    def _told(self, interval: Interval) -> Interval:
        """An interval on the log scale as a difference."""
        return as_difference(interval, self.what.model, self.groups, self.counted_in, self.control)

    def _together(self, one: Interval) -> Interval:
        """Dunnett's interval where more than two ways are compared."""
        if not self.many:
            return one
        others = [len(heaps) for way, heaps in self.values.items() if way != self.control]
        critical = dunnett.critical_value(
            len(self.values[self.control]), others, one.df, level=one.level
        )
        return one.with_critical(critical, method=f"{one.method}; Dunnett for {len(others)} ways")

    def beside(
        self,
        start_by_way: Mapping[str, Mapping[str, float]] | None,
        second: Interval | None = None,
    ) -> tuple[Alternative, ...]:
        """The other analyses that are always shown, where they exist."""
        groups, way, control = self.groups, self.way, self.control
        found: list[Interval] = []
        if self.what.informed:
            if self.many:
                found.append(_alone(informed_contrast(groups, way, control, self.prior)))
            if self.smallest >= 2:
                found.append(self._together(pooled_t(groups, way, control)))
            if self.smallest >= 3:
                found.append(welch(groups, way, control))
            for s0_c in _OTHER_SPREADS_C:
                other = informed_contrast(groups, way, control, self.prior.with_spread(s0_c))
                found.append(self._together(other))
            found += self._with_start(start_by_way)
            if second is not None:
                found.append(_alone(second) if self.many else second)
        elif self.what.model == "difference":
            if self.many:
                found.append(_alone(pooled_t(groups, way, control)))
            if self.smallest >= 2:
                found.append(welch(groups, way, control))
        else:
            return self._marked(self._beside_log())
        return self._marked(tuple(_as_is(i) for i in found))

    def _marked(self, rows: tuple[Alternative, ...]) -> tuple[Alternative, ...]:
        """Where blocks are taken out: the same prior-free first, the rest said to be without."""
        if not self.blocked:
            return rows
        free = self._in_blocks(_LEVEL, None) if self.what.informed else None
        plain = tuple(replace(r, method=f"{r.method}; blocks not taken out") for r in rows)
        main = self._plain(_LEVEL)
        if main is not None and not self.what.informed and self.what.model == "difference":
            plain = (_as_is(replace(main, method=f"{main.method}; blocks not taken out")), *plain)
        return (*([_as_is(free)] if free is not None else []), *plain)

    def _beside_log(self) -> tuple[Alternative, ...]:
        """Beside a range from the log scale: the ratio itself, and plain differences."""
        one, groups = self._log(), self.groups
        together = as_ratio(self._together(one))
        rows = [
            Alternative(
                f"{together.method}; {self.way} over {self.control}, as a ratio"
                + (" of odds" if self.what.model == "share" else ""),
                together.estimate, together.low, together.high, together.df, "ratio",
            )
        ]  # fmt: skip
        found = [self._told(_alone(one))] if self.many else []
        if self.what.model == "ratio" and self.smallest >= 2:
            found.append(self._told(log_welch(groups, self.way, self.control)))
        plain = self._together(pooled_t(groups, self.way, self.control))
        found.append(replace(plain, method=f"{plain.method}; plain difference of heap values"))
        rows += [_as_is(i) for i in found]
        return tuple(rows)

    def _with_start(self, start_by_way: Mapping[str, Mapping[str, float]] | None) -> list[Interval]:
        if start_by_way is None or min(map(len, self.values.values())) < 3:
            return []
        starts: dict[str, list[float]] = {}
        for way, heaps in self.values.items():
            first = start_by_way.get(way, {})
            lacking = [heap for heap in heaps if heap not in first]
            if lacking:
                return []
            starts[way] = [first[heap] for heap in heaps]
        one = covariate_contrast(self.groups, starts, self.way, self.control, self.prior)
        return [self._together(one)]

    def assumptions(
        self, at95: Interval | None, when: str | None, notes: Sequence[str]
    ) -> tuple[str, ...]:
        """What the interval takes for granted, with *notes*; when : the end date before it came."""
        rows = ["The heap is the unit: spots and rounds were averaged first"]
        if self.what.informed and at95 is not None:
            rows.append(self.prior.sentence())
        if at95 is not None:
            rows.append("All ways spread alike, and heaps do not influence each other")
            if self.blocks:
                rows.append(_BLOCKED if self.blocked else _NO_BLOCKS)
            if min(self.carrying) == 1 < self.smallest:
                rows.append(_LONE)
        elif when is None and self.what.tested:
            rows.append(_ALIKE if self.without_spread else _NO_INTERVAL)
        if self.many and at95 is not None:
            rows.append("All comparisons with the control hold together at 95 % (Dunnett)")
        if at95 is not None and self.what.model != "difference":
            rows.append(_LOG)
            rows += [_COUNTED] if self.what.model in ("share", "rate") else []
        if self.what.note:
            rows.append(self.what.note)
        return (*rows, *notes)

    def sources(self, at95: Interval | None) -> tuple[str, ...]:
        """Where the analyses come from."""
        if at95 is None:
            return ()
        rows = [_OWN] if self.what.informed else [_STUDENT]
        if self.what.model in ("share", "rate"):
            rows = [_GLM, _STUDENT]
        if self.what.informed and self.smallest >= 2:
            rows.append(_STUDENT)
        if self.many:
            rows.append(_DUNNETT)
        if self.smallest >= (3 if self.what.informed else 2):
            rows.append(_WELCH)
        return tuple(rows)


def _alone(interval: Interval) -> Interval:
    """The same interval, named as looking at this pair only."""
    method = f"{interval.method}; this pair only, not adjusted"
    return (
        interval.with_critical(interval.half_width / interval.se, method=method)
        if (interval.se > 0)
        else interval
    )


def _as_is(i: Interval) -> Alternative:
    return Alternative(i.method, i.estimate, i.low, i.high, i.df)


def _fitted(
    values: Mapping[str, Mapping[str, float]],
    blocks: Mapping[str, str],
    control: str,
    *,
    log: bool = False,
) -> Fit:
    """Block + way by least squares, on the log scale for ratios."""
    if log:
        values = {
            way: dict(zip(heaps, logs(way, list(heaps.values())).tolist(), strict=True))
            for way, heaps in values.items()
        }
    rows = [
        HeapRow(heap, v, way, blocks[heap])
        for way, heaps in values.items()
        for heap, v in heaps.items()
    ]
    return fit(rows, ["block", "way"], controls={"way": control})


def usable_blocks(
    values: Mapping[str, Mapping[str, float]], blocks: Mapping[str, str], control: str
) -> dict[str, str]:
    """The blocks of the heaps, where they can be taken out; empty where they cannot.

    They can where every heap has one, there are two or more, and every way can still be told from
    the control within them.

    >>> values = {"left": {"A": 30.0, "B": 20.0}, "turned": {"C": 36.0, "D": 27.0}}
    >>> usable_blocks(values, {"A": "north", "C": "north", "B": "south", "D": "south"}, "left")
    {'A': 'north', 'B': 'south', 'C': 'north', 'D': 'south'}
    >>> usable_blocks(values, {"A": "north", "B": "north", "C": "south", "D": "south"}, "left")
    {}
    """
    heaps = [heap for way in values.values() for heap in way]
    mine = {heap: blocks[heap] for heap in heaps if blocks.get(heap)}
    if len(mine) < len(heaps) or len(set(mine.values())) < 2:
        return {}
    try:
        f = _fitted(values, mine, control)
        for way in values:
            if way != control:
                effect(f, "way", way, control, prior=SpreadPrior())
    except NotEnoughError:
        return {}
    return mine
