"""What several yards, or seasons of one, show together: `heapwright together`.

Units: estimates in the unit of their outcome. Conventions: the yards locked the same question, and
the largest difference that any of them said would matter decides; nothing is claimed before the
last end date. A yard that lost a way is left out by name; one where a heap was handled otherwise
gives a second line "as done" beside the first "as planned". What else differs between yards is
listed, never corrected for. Mailed books never change; a look is counted in the own book only.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from heapwright import __version__
from heapwright.errors import HeapwrightError, NotEnoughError, sentence
from heapwright.services.conduct import Deviation, deviations, handled_otherwise
from heapwright.services.heapvalues import heap_outcomes
from heapwright.services.mailed import (
    YardRecord,
    YardSetting,
    check_same_question,
    gather,
    said_day,
    setting_of,
)
from heapwright.stats.linear import HeapRow
from heapwright.stats.outcomes import outcome
from heapwright.stats.prior import SpreadPrior
from heapwright.stats.yards import YardComparison, compare_yards
from heapwright.store.book import Book

__all__ = ["Together", "by_yards", "together"]

_DOING = {
    "turned": "turning", "vented": "venting", "covered": "covering",
    "forced air": "blowing air", "left alone": "leaving it alone",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Together:
    """All that several yards show together at one moment; see `to_json` for what is published.

    comparisons : as planned; as_done, as_done_without : without yards where a heap was handled
    otherwise, never turned as planned, or lost; values : of every heap, by outcome, yard and way;
    left_out : yards without a value, and why, by outcome; missing : outcomes without an answer, and
    why; looks : (before the end, in all) of every trial of the own book.
    """

    yards: tuple[YardRecord, ...]
    ended: bool
    ends: date
    matters: float | None
    comparisons: tuple[YardComparison, ...]
    as_done: tuple[YardComparison, ...]
    as_done_without: tuple[str, ...]
    values: Mapping[str, Mapping[str, Mapping[str, Mapping[str, float]]]]
    left_out: Mapping[str, Mapping[str, str]]
    missing: Mapping[str, str]
    settings: tuple[YardSetting, ...]
    deviations: Mapping[str, tuple[Deviation, ...]]
    notes: tuple[str, ...]
    looks: Mapping[str, tuple[int, int]]
    made: datetime

    @property
    def decides(self) -> str:
        """Key of the outcome that was locked to decide."""
        return self.yards[0].record.plan.locked.decides

    @property
    def invented(self) -> tuple[str, ...]:
        """Yards whose data is invented."""
        return tuple(y.block for y in self.yards if y.record.plan.trial.invented)

    @property
    def shown_in(self) -> str:
        """Unit of temperature differences on screen, C or F."""
        return self.yards[0].record.plan.locked.shown_in

    @property
    def headline(self) -> str:
        """The sentence that answers the locked question."""
        decide = [c for c in self.comparisons if c.outcome == self.decides]
        if not decide:
            return self.missing.get(self.decides, "Nothing can be compared.")
        return " ".join(dict.fromkeys([c.sentence for c in decide] + [decide[0].caveat])).strip()

    def to_json(self) -> dict[str, Any]:
        """As published: plain JSON values."""
        return {
            "yards": [self._yard_json(y) for y in self.yards],
            "invented": list(self.invented),
            "ended": self.ended,
            "ends": self.ends.isoformat(),
            "decides": self.decides,
            "headline": self.headline,
            "comparisons": [c.to_json() for c in self.comparisons],
            "as_done": [c.to_json() for c in self.as_done],
            "as_done_without": list(self.as_done_without),
            "values": {
                key: _scaled(by_yard, outcome(key).per_kept) for key, by_yard in self.values.items()
            },
            "left_out": {key: dict(why) for key, why in self.left_out.items()},
            "missing": dict(self.missing),
            "notes": list(self.notes),
            "made": self.made.isoformat(),
            "heapwright": __version__,
        }

    def _yard_json(self, yard: YardRecord) -> dict[str, Any]:
        plan = yard.record.plan
        setting = next(s for s in self.settings if s.yard == yard.block)
        looks = self.looks.get(yard.block)
        return {
            "name": yard.block,
            "yard": yard.yard,
            "trial": yard.record.name,
            "own": yard.own,
            "fingerprint": plan.fingerprint,
            "locked_on": plan.locked_on.isoformat(),
            "ends": plan.locked.ends.isoformat(),
            "heaps": [
                {"heap": h, "way": w, "volume_m3": v, "built": d and d.isoformat()}
                for h, w, v, d in setting.heaps
            ],
            "ways": dict(setting.ways),
            "looks_before_end": looks and looks[0],
            "looks": looks and looks[1],
            "deviations": [
                {"kind": d.kind, "heap": d.heap, "on": d.on and d.on.isoformat(), "text": d.text}
                for d in self.deviations[yard.block]
            ],
        }


def together(
    books: Sequence[str],
    *,
    now: datetime,
    trials: Sequence[str] = (),
    names: Sequence[str] = (),
    own: Book | None = None,
    own_trials: Sequence[str] = (),
) -> Together:
    """What several yards, or several seasons, show together.

    Parameters
    ----------
    books, trials, names, own, own_trials
        As in `heapwright.services.mailed.gather`; *own* counts one look for each trial taken.
    now : aware datetime
        Claims are made once the end date of every yard has come.

    Raises
    ------
    BookError, NotEnoughError, UnknownNameError, InputError
        As `gather`; yards that locked other questions; a yard that has ended without a value of
        the deciding outcome. Every one names the book or the yard.
    """
    yards = gather(books, trials=trials, names=names, own=own, own_trials=own_trials)
    check_same_question(yards)
    first = yards[0].record.plan
    if first.locked.control is None or len(first.trial.ways) < 2:
        raise NotEnoughError(
            "nothing is compared in these trials: all heaps are treated alike",
            field="control",
            where=yards[0].book,
            way_out="Join trials that compare two ways or more",
        )
    found = {y.block: deviations(y.record, now=now) for y in yards}
    answers = _Answers(yards, now, found)
    for key in answers.keys:
        answers.answer(key)
    looks = {}
    for y in yards:
        if own is not None and y.own:
            ended = now >= y.record.ends_at
            looks[y.block] = own.count_look(y.record.name, ended=ended, what="together", now=now)
    return Together(
        yards=yards,
        ended=answers.ended,
        ends=answers.ends,
        matters=answers.matters,
        comparisons=tuple(answers.comparisons),
        as_done=tuple(answers.as_done),
        as_done_without=tuple(answers.without),
        values=answers.values,
        left_out=answers.left_out,
        missing=answers.missing,
        settings=tuple(setting_of(y) for y in yards),
        deviations=found,
        notes=(*answers.agreed(), *by_yards(answers.notes)),
        looks=looks,
        made=now,
    )


class _Answers:
    """The outcomes of all yards, answered one by one."""

    def __init__(
        self,
        yards: Sequence[YardRecord],
        now: datetime,
        found: Mapping[str, tuple[Deviation, ...]],
    ) -> None:
        self.yards, self.now, self.found = yards, now, found
        self.locked = [y.record.plan.locked for y in yards]
        self.decides = self.locked[0].decides
        also = [set(y.record.plan.trial.also) for y in yards]
        shared = [k for k in yards[0].record.plan.trial.also if all(k in a for a in also)]
        self.keys = (self.decides, *(k for k in shared if k != self.decides))
        self.ended = all(now >= y.record.ends_at for y in yards)
        self.ends = max(locked.ends for locked in self.locked)
        sizes = [locked.matters for locked in self.locked if locked.matters is not None]
        self.matters = max(sizes, default=None)
        self.values: dict[str, dict[str, dict[str, dict[str, float]]]] = {}
        self.left_out: dict[str, dict[str, str]] = {}
        self.missing: dict[str, str] = {}
        self.comparisons: list[YardComparison] = []
        self.as_done: list[YardComparison] = []
        self.without: list[str] = []
        self.notes: list[tuple[str, str]] = []

    @property
    def prior(self) -> SpreadPrior:
        """The assumed spread: the widest that a yard locked, worth the least."""
        spreads = [k.spread for k in self.locked if k.spread is not None]
        worths = [k.spread_worth for k in self.locked if k.spread_worth is not None]
        return SpreadPrior.assumed(max(spreads, default=None), min(worths, default=None))

    def answer(self, key: str) -> None:
        """Values, comparison as planned and, where a heap was handled otherwise, as done."""
        rows: list[HeapRow] = []
        for yard in self.yards:
            rows += self._rows(yard, key)
        try:
            self.comparisons += self._compared(key, rows)
        except HeapwrightError as error:
            self.missing[key] = self._why_missing(key, error)
            return
        used = {yard for c in self.comparisons if c.outcome == key for yard in c.yards}
        left = [y for y in self._otherwise() if y in used]
        self.without += [y for y in left if y not in self.without]
        if left:
            with contextlib.suppress(NotEnoughError):  # no yard is left: said where it is shown
                rest = [r for r in rows if r.block not in left]
                self.as_done += self._compared(key, rest)

    def _otherwise(self) -> list[str]:
        """Yards where a heap was handled as another way is, never as its own, or lost."""
        return [y.block for y in self.yards if handled_otherwise(self.found[y.block])]

    def _why_missing(self, key: str, error: HeapwrightError) -> str:
        reasons = [f"{yard}: {why}." for yard, why in self.left_out.get(key, {}).items()]
        what = "no yard has a value" if len(reasons) == len(self.yards) else error.what
        return " ".join([sentence(what), *reasons])

    def _compared(self, key: str, rows: Sequence[HeapRow]) -> list[YardComparison]:
        names = _spellings(self.yards[0])
        control = names[(self.locked[0].control or "").lower()]
        kinds = {w.name: w.kind for w in self.yards[0].record.plan.trial.ways}
        return compare_yards(
            key,
            rows,
            control,
            matters=self.matters if key == self.decides else None,
            end_date=None if self.ended else said_day(self.ends),
            prior=self.prior,
            doing={way: _DOING.get(kind, "") for way, kind in kinds.items()},
            shown_in=self.yards[0].record.plan.locked.shown_in,
        )

    def _rows(self, yard: YardRecord, key: str) -> list[HeapRow]:
        """One value a heap of one yard; a yard without any is left out with the reason."""
        ended = self.now >= yard.record.ends_at
        try:
            per_heap, notes = heap_outcomes(yard.record, key, ended=ended)
        except HeapwrightError as error:
            if key == self.decides and ended:
                raise error.at(f"{yard.block} ({yard.book})") from None
            self.left_out.setdefault(key, {})[yard.block] = error.what
            return []
        self.notes += [(yard.block, note) for note in notes]
        names, rows = _spellings(self.yards[0]), []
        here = self.values.setdefault(key, {}).setdefault(yard.block, {})
        for way, heaps in yard.record.by_way().items():
            for heap in heaps:
                if heap.name in per_heap:
                    value, way_here = per_heap[heap.name], names.get(way.lower(), way)
                    here.setdefault(way_here, {})[heap.name] = value
                    rows.append(HeapRow(heap.name, value, way_here, yard.block))
        if not rows:
            self.left_out.setdefault(key, {})[yard.block] = "no heap has a value"
        return rows

    def agreed(self) -> list[str]:
        """What was taken where yards may differ: what matters, the spread, seasons."""
        said = []
        if len({k.matters for k in self.locked}) > 1 and self.matters is not None:
            each = ", ".join(
                f"{y.block} {'none' if k.matters is None else self._amount(k.matters)}"
                for y, k in zip(self.yards, self.locked, strict=True)
            )
            said.append(
                "The yards locked different sizes as enough to matter; the largest counts, "
                f"{self._amount(self.matters)} ({each})."
            )
        if len({(k.spread, k.spread_worth) for k in self.locked}) > 1:
            said.append("The yards assumed different spreads; the widest stands beside the result.")
        yards = [y.yard for y in self.yards]
        if len(set(yards)) < len(yards):
            said.append(
                "Seasons of one yard are taken as separate yards; what a way does there may be "
                "alike from year to year, so they tell less about other yards."
            )
        return said

    def _amount(self, size: float) -> str:
        return outcome(self.decides).amount(
            size, shown_in=self.yards[0].record.plan.locked.shown_in
        )


def by_yards(said: Iterable[tuple[str, str]]) -> tuple[str, ...]:
    """(yard, sentence) pairs as lines, yards that share a sentence on one.

    >>> by_yards([("north", "Nobody read."), ("hill", "It rained."), ("mill", "Nobody read.")])
    ('north, mill: Nobody read.', 'hill: It rained.')
    """
    yards: dict[str, dict[str, None]] = {}
    for yard, text in said:
        yards.setdefault(text, {})[yard] = None
    return tuple(f"{', '.join(found)}: {text}" for text, found in yards.items())


def _spellings(yard: YardRecord) -> dict[str, str]:
    """Names of ways as the first yard spells them, by their small letters."""
    return {w.name.lower(): w.name for w in yard.record.plan.trial.ways}


def _scaled(
    by_yard: Mapping[str, Mapping[str, Mapping[str, float]]], factor: float
) -> dict[str, dict[str, dict[str, float]]]:
    return {
        yard: {w: {h: v * factor for h, v in heaps.items()} for w, heaps in ways.items()}
        for yard, ways in by_yard.items()
    }
