"""Findings follow the current version of every entry, on SQLite and on PostgreSQL."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from heapwright.services.findings import find
from heapwright.services.log import log_round
from heapwright.services.mend import correct, exchange_heaps, history, restore, withdraw
from heapwright.services.plans import lock_plan
from heapwright.store.book import Book

START = datetime(2026, 4, 1, 10, tzinfo=UTC)
PLAN = """
[trial]
name = "T"
starts = 2026-04-01
[outcome]
window = "0-9 days"
ends = 2026-05-01
matters = "8 C"
control = "left alone"
[[way]]
name = "turned"
kind = "turned"
every = "14 days"
[[way]]
name = "left alone"
kind = "left alone"
[[heap]]
name = "A"
way = "turned"
built = "2026-04-01 10:00"
[[heap]]
name = "B"
way = "left alone"
built = "2026-04-01 10:00"
[[spot]]
name = "core"
depth = "40 cm"
"""


@pytest.fixture
def book(book_url: str, tmp_path: Path) -> Book:
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    opened = Book(book_url)
    lock_plan(opened, plan, now=START - timedelta(days=1))
    for day in (0, 3, 6, 9):
        when = START + timedelta(days=day)
        log_round(opened, "T", "A 50 B 40 air 10", now=when, when=when)
    return opened


def estimate(book: Book, now: datetime) -> float:
    (found,) = find(book, "T", now=now).comparisons
    return found.estimate


def test_correct_withdraw_restore_and_exchange(book: Book, now: datetime) -> None:
    reading = next(
        r for r in book.current("reading", "T")
        if r.heap == "A" and r.when.low == START + timedelta(days=3)
    )  # fmt: skip
    assert estimate(book, now) == pytest.approx(10.0)
    correct(book, "T", reading.id, "80", why="slip of the pen", now=now)
    # one of three equal steps of the mean: the reading weighs a third of the window
    assert estimate(book, now) == pytest.approx(20.0)
    withdraw(book, "T", reading.id, why="probe fell out", now=now)
    assert estimate(book, now) == pytest.approx(10.0)
    restore(book, "T", reading.id, why="it had not", now=now)
    assert estimate(book, now) == pytest.approx(20.0)
    correct(book, "T", reading.id, "50", why="as first written", now=now)
    assert estimate(book, now) == pytest.approx(10.0)
    exchange_heaps(book, "T", START + timedelta(days=3), "A", "B", why="signs exchanged", now=now)
    assert estimate(book, now) == pytest.approx(10.0 - 2 * 10.0 / 3)
    rows = history(book, "T", entry_id=reading.id)
    assert len(rows) == 6
    book.engine.dispose()
