"""A log of readings in order of time, and what is doubtful in the rounds that are new in it.

Units: temperatures in degrees C, times in days from any start. Conventions: readings that were made
together are one round; the air is averaged back and taken off where somebody read it, and where
nobody did plain degrees are followed. A round in doubt is followed as it probably was, so that
one slip is one doubt. Nothing is changed here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.stats.air import trailing_air
from heapwright.stats.prior import air_memory_d
from heapwright.stats.screenfilter import Expected, HeapFilter
from heapwright.stats.screening import WHOLE, Limits, doubtful, exchanges, round_shift, whole_round

__all__ = ["Doubt", "Mark", "screen_log"]

Floats = NDArray[np.float64]
_TOGETHER_D = 4.0 / 24
_THIN_D = 3.0 / 24
_AIR_SLACK_D = 0.5
_MOST_CELLS = 60
_ALL_SPOTS = 8
_MOST_PAST = 40


@dataclass(frozen=True, slots=True)
class Mark:
    """One reading of the log.

    day : time [d]; heap, spot : names; temp_c : [C]; new : its number among the new readings, None
    for history; walk : id of its round or ""; sure : whether it is not to be asked about.
    """

    day: float
    heap: str
    spot: str
    temp_c: float
    new: int | None = None
    walk: str = ""
    sure: bool = False


@dataclass(frozen=True, slots=True)
class Doubt:
    """One thing that does not fit.

    kind : ``reading``, ``exchange``, ``shift``, or what a whole round may be, a name of
    `heapwright.stats.screening.WHOLE`; new : numbers of the readings concerned; heaps : theirs;
    read_c, expected_c : [C], one for a reading, one a heap for an exchange, one for a round;
    sd_c : how sure the expected is [C], 0 where not said.
    """

    kind: str
    new: tuple[int, ...]
    heaps: tuple[str, ...]
    read_c: tuple[float, ...]
    expected_c: tuple[float, ...]
    sd_c: float


@dataclass(slots=True)
class _Round:
    """Readings made together."""

    day: float
    marks: list[Mark] = field(default_factory=list)
    places: set[tuple[str, str]] = field(default_factory=set)

    def takes(self, mark: Mark) -> bool:
        """Whether *mark* belongs to this round."""
        first = self.marks[0]
        if (first.new is None) != (mark.new is None) or (mark.heap, mark.spot) in self.places:
            return False
        if mark.walk or first.walk:
            return mark.walk == first.walk
        return mark.day - self.day <= _TOGETHER_D

    def put(self, mark: Mark) -> None:
        self.marks.append(mark)
        self.places.add((mark.heap, mark.spot))


def screen_log(
    marks: Iterable[Mark],
    *,
    air: tuple[ArrayLike, ArrayLike] | None = None,
    moved: Mapping[str, Sequence[tuple[float, float]]] | None = None,
    sheet: bool = False,
) -> list[Doubt]:
    """What is doubtful among the new readings of a log.

    Parameters
    ----------
    marks : iterable of Mark
        History and new readings, in any order.
    air : (day, temp_c), optional
        Air readings.
    moved : mapping, optional
        By heap, when it was turned or changed otherwise: earliest and latest day.
    sheet : bool, default False
        Whether the new readings are a whole sheet: then a right sheet is asked about once in a
        hundred, however long it is, instead of a reading in four hundred.

    Returns
    -------
    list of Doubt
        In order of time; empty when all fits or nothing is known yet.

    Examples
    --------
    >>> past = [Mark(d, h, "core", t) for d in range(8) for h, t in (("A", 52.0), ("B", 40.0))]
    >>> now = [Mark(8, "A", "core", 40.0, 0), Mark(8, "B", "core", 52.0, 1)]
    >>> [d.kind for d in screen_log([*past, *now])]
    ['exchange']
    """
    kept = sorted(marks, key=lambda m: (m.day, m.new is not None))
    heaps = list(dict.fromkeys(m.heap for m in sorted(kept, key=lambda m: m.heap)))
    slots, spots = _slots(kept)
    most = max(1, _MOST_CELLS // max(spots, 1))
    doubts: list[tuple[float, Doubt]] = []
    for start in range(0, len(heaps), most):
        some = {h: n for n, h in enumerate(heaps[start : start + most])}
        walk = _Walk(some, slots, spots, [m for m in kept if m.heap in some], air, moved or {})
        doubts += walk.doubts(sheet)
    return [d for _, d in sorted(doubts, key=lambda pair: pair[0])]


def _slots(marks: Sequence[Mark]) -> tuple[dict[tuple[str, str], int], int]:
    """Where each spot of each heap stands among the spots, and how many there are."""
    every = sorted({m.spot for m in marks})
    by_heap: dict[str, set[str]] = {}
    for m in marks:
        by_heap.setdefault(m.heap, set()).add(m.spot)
    if len(every) <= _ALL_SPOTS:
        by_heap = {h: set(every) for h in by_heap}
    slots = {(h, s): k for h, own in by_heap.items() for k, s in enumerate(sorted(own))}
    return slots, max((len(own) for own in by_heap.values()), default=1)


class _Walk:
    """Goes through the rounds of some heaps in order of time."""

    def __init__(
        self, heaps: dict[str, int], slots: dict[tuple[str, str], int], spots: int,
        marks: Sequence[Mark], air: tuple[ArrayLike, ArrayLike] | None,
        moved: Mapping[str, Sequence[tuple[float, float]]],
    ) -> None:  # fmt: skip
        self.heaps, self.slots = heaps, slots
        self.names = list(heaps)
        self.shape = (1, len(heaps), spots)
        self.moved = {heaps[h]: spans for h, spans in moved.items() if h in heaps}
        self.rounds = _rounds(marks)
        self.air, self.known = _air_at([r.day for r in self.rounds], air)

    def doubts(self, sheet: bool) -> list[tuple[float, Doubt]]:
        """Doubts with their days."""
        limits = Limits.published()
        fresh = [r for r in self.rounds if r.marks[0].new is not None]
        if sheet:
            pairs = sum(math.comb(len({m.heap for m in r.marks}), 2) for r in fresh)
            limits = limits.for_sheet(sum(len(r.marks) for r in fresh), len(fresh), pairs)
        kept = HeapFilter(self.shape[1], self.shape[2])
        found: list[tuple[float, Doubt]] = []
        before, unsure = -math.inf, set[int]()
        for n, now in enumerate(self.rounds):
            kept.advance(now.day, [self._moved(h, before, now.day) for h in range(self.shape[1])])
            before = now.day
            judge = _Judge(self, now, float(self.air[n]), limits)
            if now.marks[0].new is not None:
                judge.judge(kept.expect(air=bool(self.known[n])))
                found += [(now.day, d) for d in judge.doubts]
            else:
                unsure = judge.wary(kept.expect(air=bool(self.known[n])), unsure)
            kept.take(judge.temp - judge.air, air=bool(self.known[n]))
        return found

    def _moved(self, heap: int, before: float, day: float) -> bool:
        """Whether the heap may have been moved between two rounds; a vague time lies in several."""
        return any(low <= day and high > before for low, high in self.moved.get(heap, ()))


class _Judge:
    """Judges one round; ``temp`` is what is followed afterwards."""

    def __init__(self, walk: _Walk, now: _Round, air: float, limits: Limits) -> None:
        self.walk, self.air, self.limits = walk, air, limits
        self.temp = np.full(walk.shape, np.nan)
        self.at: dict[tuple[int, int], Mark] = {}
        for mark in now.marks:
            place = walk.heaps[mark.heap], walk.slots[mark.heap, mark.spot]
            self.temp[(0, *place)] = mark.temp_c
            self.at[place] = mark
        self.doubts: list[Doubt] = []

    def judge(self, seen: Expected) -> None:
        """Look at the whole round first, then at pairs of heaps, then at single readings."""
        if not seen.ready.any() or all(m.sure for m in self.at.values()):
            return
        kind = str(whole_round(seen, self.temp, self.air, self.limits)[0])
        if kind:
            ready = np.isfinite(self.temp) & seen.ready[:, :, None]
            self._whole(kind, float(seen.mean[ready].mean()) + self.air)
            _, factor, shift = next(w for w in WHOLE if w[0] == kind)
            self.temp = self.temp * factor + shift
            return
        self._exchanged(seen)
        found = doubtful(seen, self.temp - self.air, self.limits)
        mixed = {self.walk.heaps[h] for d in self.doubts for h in d.heaps}
        for place, mark in self.at.items():
            here = (0, *place)
            if found.asked[here] and not mark.sure and place[0] not in mixed:
                said = float(found.expected[here]) + self.air
                self._doubt("reading", [mark], (mark.temp_c,), (said,), float(found.sd[here]))
        self._shifted(seen, np.where(found.asked, np.nan, self.temp))

    def wary(self, seen: Expected, before: set[int]) -> set[int]:
        """Leave heaps of the history that look exchanged out of what is followed, but not twice.

        before : those left out the last time; returns those left out now.
        """
        found = exchanges(seen, self.temp - self.air, self.limits)
        odd = {h for n in np.nonzero(found.asked[0])[0] for h in found.pairs[n]} - before
        self.temp[:, sorted(odd)] = np.nan
        return odd

    def _doubt(
        self, kind: str, marks: Sequence[Mark], read: tuple[float, ...], said: tuple[float, ...],
        sd: float = 0.0,
    ) -> None:  # fmt: skip
        heaps = tuple(dict.fromkeys(m.heap for m in marks))
        new = tuple(m.new for m in marks if m.new is not None)
        self.doubts.append(Doubt(kind, new, heaps, read, said, sd))

    def _shifted(self, seen: Expected, kept: Floats) -> None:
        """All readings but the doubtful ones shifted alike."""
        size, z = round_shift(seen, kept - self.air)
        judged = np.isfinite(kept) & seen.ready[:, :, None]
        if abs(z[0]) > self.limits.round_beyond and judged.sum() > 1:
            mean = float(self.temp[judged].mean())
            self._whole("shift", mean - float(size[0]))

    def _whole(self, kind: str, expected: float) -> None:
        self._doubt(kind, list(self.at.values()), (float(np.nanmean(self.temp)),), (expected,))

    def _exchanged(self, seen: Expected) -> None:
        found = exchanges(seen, self.temp - self.air, self.limits)
        used: set[int] = set()
        for n in np.argsort(-found.ratio[0]):
            pair = found.pairs[n]
            if not found.asked[0, n] or used & set(pair) or self._sure(pair):
                continue
            used |= set(pair)
            said = [float(np.nanmean(self._where(seen.mean, h))) + self.air for h in pair]
            read = [float(np.nanmean(self.temp[0, h])) for h in pair]
            marks = [m for h in pair for p, m in self.at.items() if p[0] == h]
            self._doubt("exchange", marks, tuple(read), tuple(said))
            self.temp[:, list(pair)] = self.temp[:, list(pair)[::-1]]

    def _where(self, mean: Floats, heap: int) -> Floats:
        """The expected of the spots of a heap that were read."""
        return np.where(np.isfinite(self.temp[0, heap]), mean[0, heap], np.nan)

    def _sure(self, pair: Sequence[int]) -> bool:
        return any(m.sure for place, m in self.at.items() if place[0] in pair)


def _rounds(marks: Sequence[Mark]) -> list[_Round]:
    """The rounds in order of time; history read every few minutes is thinned."""
    rounds: list[_Round] = []
    last: dict[tuple[str, str], float] = {}
    for mark in marks:
        place = mark.heap, mark.spot
        if mark.new is None:
            if mark.day - last.get(place, -math.inf) < _THIN_D:
                continue
            last[place] = mark.day
        if rounds and rounds[-1].takes(mark):
            rounds[-1].put(mark)
            continue
        rounds.append(_Round(mark.day))
        rounds[-1].put(mark)
    first = next((n for n, r in enumerate(rounds) if r.marks[0].new is not None), len(rounds))
    return rounds[max(0, first - _MOST_PAST * 2) :]


def _air_at(
    days: Sequence[float], air: tuple[ArrayLike, ArrayLike] | None
) -> tuple[Floats, NDArray[np.bool_]]:
    """The air to take off each round, and whether it was read near; 0 where nobody ever read it."""
    want = np.asarray(days, dtype=np.float64)
    if air is None or np.size(air[0]) == 0 or not want.size:
        return np.zeros(want.size), np.zeros(want.size, dtype=bool)
    t = np.asarray(air[0], dtype=np.float64)
    order = np.argsort(t, kind="stable")
    t, y = t[order], np.asarray(air[1], dtype=np.float64)[order]
    memory = air_memory_d()
    near = np.searchsorted(t, want + _AIR_SLACK_D, side="right") - 1
    known = (near >= 0) & (t[np.maximum(near, 0)] >= want - memory)
    taken = np.interp(want, t, y)
    if known.any():
        taken[known], _ = trailing_air(want[known], (t, y), heap="", memory_d=memory)
    return taken, known
