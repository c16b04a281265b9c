"""What the heaps of a trial will read next, and how earlier forecasts did.

Units: degrees C, days. Conventions: a forecast is kept in the book when it is made and is never
changed; every reading that comes later is held against the last one that was made at least half a
day before it. A forecast that did worse than assuming no change says so, and one that missed too
often is wider the next time. The air before a reading is the mean of the day before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from heapwright.domain.forecast import Forecast
from heapwright.inference.fit import Fitted
from heapwright.inference.forecast import expected
from heapwright.inference.narrowing import Worth, worth_of
from heapwright.inference.readings import Read
from heapwright.inference.rivals import Score, cooling, no_change
from heapwright.services.learning import Task
from heapwright.services.settings import open_book

__all__ = [
    "Ahead", "Hit", "Outlook", "Track", "air_before", "look_ahead", "measure_next", "track_of",
]  # fmt: skip

Floats = NDArray[np.float64]
#: half of an 80 % range in SDs
_HALF = 1.2816
#: a reading is held against a forecast made this long before it, or longer
_BEFORE = timedelta(hours=12)
#: fewer readings than this say nothing about forecasts
_FEW = 6
_WIDEST = 2.5


@dataclass(frozen=True, slots=True)
class Ahead:
    """What a spot will probably read: heap; spot; when; day : age of the heap; low, mean, high :
    80 % range; no_change, cooling : what these would say, None where the spot was never read."""

    heap: str
    spot: str
    when: datetime
    day: float
    low: float
    mean: float
    high: float
    no_change: float | None
    cooling: float | None


@dataclass(frozen=True, slots=True)
class Hit:
    """A reading beside what was said of it before."""

    heap: str
    spot: str
    when: datetime
    read: float
    low: float
    mean: float
    high: float
    no_change: float
    cooling: float

    @property
    def inside(self) -> bool:
        """It fell into the range."""
        return self.low <= self.read <= self.high


@dataclass(frozen=True, slots=True)
class Track:
    """How earlier forecasts did: hits : latest first; score : None without any; wider : factor on
    ranges that follows."""

    hits: tuple[Hit, ...]
    score: Score | None
    wider: float

    @property
    def missed(self) -> int:
        """Readings outside their range."""
        return sum(not h.inside for h in self.hits)

    @property
    def trusted(self) -> bool | None:
        """Better than no change; None with too few readings to say."""
        if self.score is None or self.score.n < _FEW:
            return None
        return self.score.rmse_c < self.score.no_change_rmse_c


@dataclass(frozen=True, slots=True)
class Outlook:
    """A forecast: ahead : by heap, spot and time; track; next : what to measure next, best first;
    unread : heaps of which nothing was ever read."""

    task: Task
    fitted: Fitted
    ahead: tuple[Ahead, ...]
    track: Track
    next: tuple[Worth, ...]
    unread: tuple[str, ...]


def look_ahead(
    task: Task, fitted: Fitted, *, book: str | None = None, keep: bool = True
) -> Outlook:
    """The days ahead of a trial, one forecast a day for every spot; kept in the book.

    keep : False leaves the book as it is.
    """
    coming = [
        Read(s.name, spot, task.ages[s.name] + step, 0.0)
        for s in task.subjects
        for spot in s.spots
        for step in range(1, int(task.ahead_d) + 1)
    ]
    with open_book(book, create=False) as opened:
        track = track_of(opened.forecasts(task.trial), task)
    drawn = expected(fitted, coming)
    mean = drawn.mean(axis=0)
    low, high = (mean + track.wider * (np.quantile(drawn, q, axis=0) - mean) for q in (0.1, 0.9))
    ahead = []
    for k, read in enumerate(coming):
        own = _own(task, read.heap, read.spot)
        still, cooled = (None, None) if own is None else _rivals(task, read, own)
        ahead.append(
            Ahead(
                read.heap, read.spot, task.when(read.heap, read.day), read.day, float(low[k]),
                float(mean[k]), float(high[k]), still, cooled,
            )
        )  # fmt: skip
    if keep:
        _kept(task, fitted, ahead, book)
    unread = tuple(s.name for s in task.subjects if not any(r.heap == s.name for r in task.reads))
    return Outlook(task, fitted, tuple(ahead), track, measure_next(task, fitted), unread)


def _kept(task: Task, fitted: Fitted, ahead: Sequence[Ahead], book: str | None) -> None:
    """Keep it in the book; a second one of the same moment is dated a second later."""
    source = "; ".join(task.jobs[0].weather.source)
    with open_book(book, create=False) as opened:
        others = {f.made for f in opened.forecasts(task.trial) if f.print != fitted.print_}
        made = task.now
        while made in others:
            made += timedelta(seconds=1)
        opened.add_forecasts(
            task.trial,
            [
                Forecast(
                    heap=a.heap, spot=a.spot, made=made, due=a.when, low=a.low,
                    mean=min(max(a.mean, a.low), a.high), high=a.high, no_change=a.no_change,
                    cooling=a.cooling, weather=source, print=fitted.print_,
                )
                for a in ahead
            ],
        )  # fmt: skip


# --- rivals --------------------------------------------------------------------------------------


def _own(task: Task, heap: str, spot: str) -> tuple[Floats, Floats] | None:
    """Days and temperatures read at a spot, None where there are none."""
    mine = [
        (r.day, r.value)
        for r in task.reads
        if (r.heap, r.spot, r.quantity) == (heap, spot, "temp_c")
    ]
    if not mine:
        return None
    day, value = np.array(mine).T
    return day, value


def _rivals(task: Task, read: Read, own: tuple[Floats, Floats]) -> tuple[float, float]:
    day, value = own
    later = np.array([read.day])
    air, air_later = air_before(task, read.heap, day), air_before(task, read.heap, later)
    return (
        float(no_change(value, 1)[0]),
        float(cooling(day, value, air, later, air_later)[0]),
    )


def air_before(task: Task, heap: str, day: Floats) -> Floats:
    """Mean of the air over the day before each age of a heap."""
    subject = next(s for s in task.subjects if s.name == heap)
    return subject.weather.day_before(subject.start_h + day * 24.0)


# --- how earlier ones did ------------------------------------------------------------------------


def track_of(forecasts: Sequence[Forecast], task: Task) -> Track:
    """Every reading beside the last forecast made at least half a day before it."""
    made: dict[tuple[str, str], dict[datetime, list[Forecast]]] = {}
    for f in forecasts:
        made.setdefault((f.heap, f.spot), {}).setdefault(f.made, []).append(f)
    hits = []
    for read in task.reads:
        if read.quantity != "temp_c":
            continue
        when = task.when(read.heap, read.day)
        batches = made.get((read.heap, read.spot), {})
        for moment in sorted(batches, reverse=True):
            if moment > when - _BEFORE:
                continue
            hit = _held(sorted(batches[moment], key=lambda f: f.due), read, when)
            if hit is not None:
                hits.append(hit)
            break
    hits.sort(key=lambda h: h.when, reverse=True)
    return Track(tuple(hits), _scored(hits), _wider(hits))


def _held(batch: list[Forecast], read: Read, when: datetime) -> Hit | None:
    """A reading beside a forecast, between its days by straight lines; None outside of them."""
    at = np.array([f.due.timestamp() for f in batch])
    t = when.timestamp()
    if not at[0] - _BEFORE.total_seconds() <= t <= at[-1] + _BEFORE.total_seconds():
        return None

    def between(name: str) -> float:
        return float(np.interp(t, at, [getattr(f, name) for f in batch]))

    if any(f.no_change is None or f.cooling is None for f in batch):
        return None
    return Hit(
        read.heap, read.spot, when, read.value, between("low"), between("mean"), between("high"),
        between("no_change"), between("cooling"),
    )  # fmt: skip


def _scored(hits: Sequence[Hit]) -> Score | None:
    if not hits:
        return None

    def off(name: str) -> float:
        return float(np.sqrt(np.mean([(h.read - getattr(h, name)) ** 2 for h in hits])))

    inside = float(np.mean([h.inside for h in hits]))
    return Score(off("mean"), off("no_change"), off("cooling"), inside, len(hits))


def _wider(hits: Sequence[Hit]) -> float:
    """How much wider ranges have to be for what they missed; never narrower than the fit says."""
    if not hits:
        return 1.0
    pulls = [(h.read - h.mean) / max((h.high - h.low) / 2 / _HALF, 1e-6) for h in hits]
    # as if a few had gone as they should
    likely = (sum(p * p for p in pulls) + _FEW) / (len(pulls) + _FEW)
    return float(min(max(np.sqrt(likely), 1.0), _WIDEST))


# --- what to measure next ------------------------------------------------------------------------


def measure_next(task: Task, fitted: Fitted) -> tuple[Worth, ...]:
    """What to measure tomorrow, for what the spots read on the last day ahead; best first."""
    last = max(int(task.ahead_d), 1)
    target = [
        Read(s.name, spot, task.ages[s.name] + last, 0.0) for s in task.subjects for spot in s.spots
    ]
    possible = []
    for s in task.subjects:
        day = task.ages[s.name] + min(1.0, task.ahead_d)
        places = [*s.spots, *(p.name for p in s.watch)]
        possible += [Read(s.name, p, day, 0.0) for p in places]
        possible += [Read(s.name, p, day, 0.1, "o2") for p in s.spots]
        possible += [
            Read(s.name, "", day, 0.5, "moisture_wb"),
            Read(s.name, "", day, 1.0, "height_m"),
        ]
    return worth_of(fitted, possible, target)
