"""A trial as it stands: curves, air, what was done, rounds, and how kept forecasts did.

Units: temperatures in the unit of the plan, ages in days. Conventions: the parts are those of the
report, so that a page and the report cannot differ; nothing is fitted and no look is counted here.
"""

from __future__ import annotations

import threading
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Literal

from heapwright.domain.when import local_zone
from heapwright.errors import HeapwrightError
from heapwright.reports.figures import curves_figure
from heapwright.reports.kept import keeping
from heapwright.reports.model import Curves, DoneRow, HeapCurve, RoundRow
from heapwright.services.record import TrialRecord, load_record
from heapwright.services.reportparts import Clock, curves, curves_said, done_rows, round_rows
from heapwright.store.book import Book

if TYPE_CHECKING:
    from heapwright.services.forecasting import Track

__all__ = ["DRAWING", "Kept", "TrialView", "trial_view"]


class _Drawing:
    """One figure is drawn at a time: settings of the drawing library hold for the whole process.
    What was drawn before with the same content is kept, see `heapwright.reports.kept`."""

    def __init__(self) -> None:
        self._lock, self._kept = threading.Lock(), ExitStack()

    def __enter__(self) -> None:
        self._lock.acquire()
        self._kept.enter_context(keeping())

    def __exit__(self, *_: object) -> None:
        self._kept.close()
        self._lock.release()


#: held while a page draws
DRAWING = _Drawing()
_RECENT = timedelta(days=36)


@dataclass(frozen=True, slots=True)
class Kept:
    """Forecasts that stand in the book: how many were made and when last, how they did, in words
    and numbers; ahead : (heap, spot, day, range) of the last one, of days still to come."""

    made: int
    last: str
    words: tuple[str, ...]
    track: Track | None
    ahead: tuple[tuple[str, str, str, str], ...]


@dataclass(frozen=True, slots=True)
class TrialView:
    """All that a page shows of a trial; air : the last reading of the air, in words."""

    name: str
    question: str
    invented: bool
    sentence: str
    control: str | None
    curves: Curves | None
    air: str
    done: tuple[DoneRow, ...]
    heaps: tuple[str, ...]
    rounds: tuple[RoundRow, ...]
    kept: Kept

    def figures(self) -> dict[str, tuple[str, str]]:
        """By axis (age, date) the wide and the narrow SVG; empty where nothing was read."""
        if self.curves is None:
            return {}
        with DRAWING:
            return {"age": _pair(self.curves, "age"), "date": _pair(self.curves, "date")}

    def to_json(self) -> dict[str, Any]:
        """All of it but the drawings, as plain values."""
        from heapwright.services.learnwords import track_json

        drawn = self.curves
        return {
            "trial": self.name, "question": self.question, "invented": self.invented,
            "sentence": self.sentence, "unit": drawn.unit if drawn else None,
            "window_d": drawn.window_d if drawn else None, "control": self.control,
            "heaps": [_curve_json(h) for h in drawn.heaps] if drawn else [],
            "air": None if drawn is None or drawn.air is None else {
                "when": [w.isoformat() for w in drawn.air.when], "temp": list(drawn.air.temp),
            },
            "rounds": [asdict(r) for r in self.rounds],
            "done": [asdict(d) for d in self.done],
            "forecasts": {
                "made": self.kept.made, "last": self.kept.last, "words": list(self.kept.words),
                "track": track_json(self.kept.track) if self.kept.track else None,
                "ahead": [list(a) for a in self.kept.ahead],
            },
        }  # fmt: skip


def _curve_json(heap: HeapCurve) -> dict[str, Any]:
    return {
        "heap": heap.name, "way": heap.way, "built": heap.built.isoformat(),
        "when": [w.isoformat() for w in heap.when],
        "age_d": [heap.age_d(w) for w in heap.when], "mean": list(heap.mean),
        "spots": {
            name: {"when": [w.isoformat() for w in when], "temp": list(temps)}
            for name, (when, temps) in heap.spots.items()
        },
        "done": [{"what": m.what, "low": m.low.isoformat(), "high": m.high.isoformat()}
                 for m in heap.marks],
    }  # fmt: skip


def trial_view(book: Book, trial: str, *, now: datetime) -> TrialView:
    """The trial called *trial* as it stands.

    Raises `UnknownNameError` for no such trial, `NotEnoughError` when no plan was locked.
    """
    record = load_record(book, trial)
    plan, locked = record.plan.trial, record.plan.locked
    unit = locked.shown_in
    clock = Clock(local_zone(plan.place.time_zone), unit)
    drawn, rounds = curves(record, clock)
    return TrialView(
        name=record.name, question=locked.question, invented=plan.invented,
        sentence=curves_said(record, drawn, clock), control=locked.control, curves=drawn,
        air=_air(record, clock), done=done_rows(record, clock), heaps=tuple(record.heaps),
        rounds=round_rows(record, drawn, rounds, clock),
        kept=_kept(book, record, clock, now=now),
    )  # fmt: skip


def _pair(drawn: Curves, by: Literal["age", "date"]) -> tuple[str, str]:
    return (
        curves_figure(drawn, by=by, prefix=f"{by}-wide"),
        curves_figure(drawn, by=by, prefix=f"{by}-narrow", wide=False),
    )


def _air(record: TrialRecord, clock: Clock) -> str:
    if not record.air:
        return "Nobody read the air yet. Read it in the shade on every round: the heaps are judged \
by their degrees above it."
    last = max(record.air, key=lambda a: a.when.middle)
    month = [clock.temp(a.value) for a in record.air if last.when.middle - a.when.middle <= _RECENT]
    return (
        f"The air was last read on {clock.moment(last.when.middle)}: "
        f"{clock.temp(last.value):.0f} °{clock.unit}. In the weeks before it lay between "
        f"{min(month):.0f} and {max(month):.0f}."
    )


def _kept(book: Book, record: TrialRecord, clock: Clock, *, now: datetime) -> Kept:
    """What stands in the book of forecasts; nothing is forecast anew."""
    found = book.forecasts(record.name)
    if not found:
        return Kept(0, "", (), None, ())
    from heapwright.services.forecasting import track_of
    from heapwright.services.learning import gather
    from heapwright.services.learnwords import track_words

    moments = {f.made for f in found}
    last = max(moments)
    ahead = tuple(
        (f.heap, f.spot, clock.day(f.due),
         f"{clock.temp(f.low):.0f} to {clock.temp(f.high):.0f} °{clock.unit}")
        for f in found if f.made == last and f.due > now
    )  # fmt: skip
    try:
        task = gather(now=now, trial=record.name, book=book.where, ahead_d=1.0)
        track = track_of(found, task)
        words = tuple(track_words(track))
    except HeapwrightError as error:
        track, words = None, (f"How they did cannot be said now: {error.message}",)
    return Kept(len(moments), clock.moment(last), words, track, ahead)
