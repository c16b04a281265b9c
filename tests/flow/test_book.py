"""A book keeps what it was given: same on SQLite and on PostgreSQL."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
import sqlalchemy as sa

from heapwright.domain.entries import Reading, Round, Weather
from heapwright.domain.when import When
from heapwright.errors import BookError, ConflictError, UnknownNameError
from heapwright.store import tables
from heapwright.store.book import Added, Book, next_version


def _open(url: str, now: datetime) -> Book:
    book = Book(url)
    book.save_plan("T", "text", heaps=["A", "B"], fingerprint="f", locked=True, now=now)
    return book


def _reading(now: datetime, id: str = "e1", value: float = 55.0) -> Reading:
    return Reading(id, "T", "A", "core", When.instant(now), value, typed="55", typed_unit="C")


def test_the_same_entry_sent_twice_is_one_entry(book_url: str, now: datetime) -> None:
    with _open(book_url, now) as book:
        walk = Round("r1", "T", When.instant(now))
        air = Weather("w1", "T", When.instant(now), 12.0, round="r1")
        reading = _reading(now)
        assert book.add([reading, air], rounds=[walk], now=now) == Added(new=2)
        assert book.add([reading, air], rounds=[walk], now=now) == Added(known=2)
        assert len(book.current("reading", "T")) == 1
        assert book.current("reading", "T")[0].value == 55.0
        assert book.current("weather", "T")[0].round == "r1"


def test_a_known_id_with_other_content_is_refused_and_nothing_is_written(
    book_url: str, now: datetime
) -> None:
    with _open(book_url, now) as book:
        book.add([_reading(now)], now=now)
        with pytest.raises(ConflictError, match="already stands for another reading"):
            book.add([_reading(now, "e2"), _reading(now, value=56.0)], now=now)
        assert [r.id for r in book.current("reading", "T")] == ["e1"]


def test_an_unknown_heap_is_refused(book_url: str, now: datetime) -> None:
    with _open(book_url, now) as book:
        other = Reading("e9", "T", "Z", "core", When.instant(now), 50.0)
        with pytest.raises(UnknownNameError, match="Known: A, B"):
            book.add([other], now=now)


def test_a_chain_keeps_every_version_and_never_forks(book_url: str, now: datetime) -> None:
    with _open(book_url, now) as book:
        book.add([_reading(now)], now=now)
        first = book.find("T", "e1")
        second = next_version(first, "corrected", why="slip", source="log", value=50.0)
        book.append(second, now=now)
        fork = next_version(first, "corrected", why="other", source="log", value=51.0)
        with pytest.raises(ConflictError, match="changed meanwhile"):
            book.append(fork, now=now)
        third = next_version(book.find("T", "e1"), "withdrawn", why="fell out", source="log")
        book.append(third, now=now)
        assert book.current("reading", "T") == []
        assert [e.trail.action for e in book.history("T")] == ["entered", "corrected", "withdrawn"]


def test_the_migrated_schema_is_the_declared_one(book_url: str) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with Book(book_url) as book, book.read() as link:
        assert compare_metadata(MigrationContext.configure(link), tables.metadata) == []


def test_something_that_is_not_a_book_is_left_alone(tmp_path: Path) -> None:
    other = tmp_path / "other.sqlite"
    engine = sa.create_engine(f"sqlite:///{other}")
    with engine.begin() as link:
        link.execute(sa.text("create table birds (name text)"))
    with pytest.raises(BookError, match="holds something else"):
        Book(other)
    with engine.connect() as link:
        assert sa.inspect(link).get_table_names() == ["birds"]
    note = tmp_path / "note.txt"
    note.write_text("not a database at all, just a note that is long enough to be read" * 40)
    with pytest.raises(BookError, match="Is this file a book"):
        Book(note)


def test_a_newer_book_is_refused(tmp_path: Path, now: datetime) -> None:
    path = tmp_path / "book.sqlite"
    with _open(str(path), now) as book, book.write() as link:
        link.execute(sa.text("update alembic_version set version_num = '9999'"))
    with pytest.raises(BookError, match="newer Heapwright"):
        Book(path)


def test_looks_are_counted(book_url: str, now: datetime) -> None:
    with _open(book_url, now) as book:
        assert book.count_look("T", ended=False, what="findings", now=now) == (1, 1)
        assert book.count_look("T", ended=False, what="findings", now=now) == (2, 2)
        assert book.count_look("T", ended=True, what="findings", now=now) == (2, 3)
