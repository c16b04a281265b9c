"""Changes of a book are counted without its values, and moments are read as they were written."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from tests.flow.commands import Command

from heapwright.services.record import load_record
from heapwright.store.book import Book
from heapwright.store.tables import UtcText


def test_trails_are_those_of_the_history(ferncombe: Path, command: Command) -> None:
    assert command("log", "event", "built", "A", "--when", "2026-04-18 09:00")[0] == 0
    assert command("log", "round", "A 52 48 44 air 12", "--when", "2026-04-20 07:10")[0] == 0
    with Book(ferncombe) as book:
        name = book.trials()[0]
        one, other = (r.id for r in book.current("reading", name)[:2])
    assert command("correct", one, "53", "--why", "misread")[0] == 0
    assert command("withdraw", other, "--why", "wrong heap")[0] == 0
    assert command("restore", other, "--why", "it was right")[0] == 0
    with Book(ferncombe) as book:
        versions = book.history(name)
        assert sorted(book.trails(name)) == sorted(
            (e.trail.action, e.trail.root, e.trail.source) for e in versions
        )
        record = load_record(book, name)
    assert (record.corrections, record.withdrawn) == (1, 1)


def test_a_moment_is_read_as_it_was_written() -> None:
    kind = UtcText()
    moment = datetime(2026, 5, 3, 7, 10, 59, tzinfo=UTC)
    text = kind.process_bind_param(moment, None)
    assert text == "2026-05-03T07:10:59Z"
    found = kind.process_result_value(text, None)
    assert found == moment
    assert found is not None
    assert found.tzinfo is UTC
