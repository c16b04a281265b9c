"""An invented trial in a book: three ways, two heaps each, 60 days; used by report tests."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from heapwright.domain.entries import Entry, Event, Reading, Round, Weather
from heapwright.domain.when import When
from heapwright.services.ferncombe import rounds, work
from heapwright.services.plans import example_plan, lock_plan
from heapwright.store.book import Book, next_version

TRIAL = "Ferncombe 2026"
LOCKED = datetime(2026, 4, 17, 18, 0, tzinfo=UTC)


def invented_book(
    folder: Path, *, plan: str | None = None, missed: tuple[int, ...] = (9, 10), seed: int = 7
) -> Book:
    """A book with the whole trial: a wrong-heap turn, a missed stretch, one correction."""
    file = folder / "plan.toml"
    file.write_text(plan or example_plan(), encoding="utf-8")
    book = Book(folder / "b.sqlite")
    stored = lock_plan(book, file, now=LOCKED)
    trial = stored.trial
    entries: list[Entry] = []
    walks: list[Round] = []
    for i, (when, temps, air) in enumerate(rounds(trial, seed=seed)):
        if i in missed:
            continue
        walk = Round(f"r{i}", trial.name, When.instant(when), reader="Ada")
        walks.append(walk)
        entries.append(Weather(f"w{i}", trial.name, When.instant(when), air, round=walk.id))
        for k, (heap, values) in enumerate(temps.items()):
            moment = When.instant(when + timedelta(minutes=4 * k))
            entries += [
                Reading(
                    f"r{i}{heap}{spot.name}", trial.name, heap, spot.name, moment, value,
                    typed=f"{value:.0f}", typed_unit="C", round=walk.id,
                    depth_m=spot.depth_m, pipe_distance_m=spot.pipe_distance_m,
                )
                for spot, value in zip(trial.spots, values, strict=True)
            ]  # fmt: skip
    for i, done in enumerate(work(trial, seed=seed)):
        entries.append(
            Event(
                f"e{i}", trial.name, done.heap, When.instant(done.when), done.what,
                water_l=done.water_l, minutes=done.minutes, who=done.who,
            )
        )  # fmt: skip
    left = [h.name for h in trial.heaps if h.way == "left alone"]
    about = datetime(2026, 5, 21, 12, tzinfo=UTC)
    entries.append(
        Event(
            "wrong", trial.name, left[-1],
            When(about - timedelta(days=1.5), about + timedelta(days=1.5), "about 21 May"),
            "turned", minutes=25, who="Cole", note="mistook the heap",
        )
    )  # fmt: skip
    book.add(entries, rounds=walks, now=LOCKED + timedelta(days=61))
    slip = book.find(trial.name, "r3Acore")
    assert isinstance(slip, Reading)
    fixed = next_version(slip, "corrected", why="misread", source="log", value=slip.value + 1)
    book.append(fixed, now=LOCKED + timedelta(days=62))
    return book
