"""Forecasts and kept fits in a book, and books from before they were there."""

from __future__ import annotations

import sqlite3
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from heapwright.domain.entries import Event, Reading, Round, Sample, Weather
from heapwright.domain.forecast import Forecast
from heapwright.domain.when import When
from heapwright.errors import BookError, ConflictError, InputError, UnknownNameError
from heapwright.store import book as book_module
from heapwright.store import tables
from heapwright.store.book import Added, Book, next_version

Rows = dict[str, list[tuple[Any, ...]]]


def _open(url: str, now: datetime) -> Book:
    book = Book(url)
    for name in ("T", "U"):
        book.save_plan(name, "text", heaps=["A", "B"], fingerprint="f", locked=True, now=now)
    return book


def _forecast(now: datetime, days: float = 1.0, **changes: Any) -> Forecast:
    made = Forecast(
        "A", "core", now, now + timedelta(days=days), 48.25, 52.5, 57.125, no_change=55.0,
        cooling=53.0, weather="as the last ten days", print="0123456789abcdef",
    )  # fmt: skip
    return replace(made, **changes)


# --- forecasts -----------------------------------------------------------------------------------


def test_a_forecast_comes_back_as_it_was_made(book_url: str, now: datetime) -> None:
    whole = _forecast(now)
    bare = _forecast(now, heap="B", spot="", no_change=None, cooling=None, weather="")
    with _open(book_url, now) as book:
        assert book.add_forecasts("t", [whole, bare], now=now) == Added(new=2)
    with Book(book_url) as book:
        found = book.forecasts("T")
        assert found == [whole, bare]
        assert [f.recorded for f in found] == [now, now]
        assert book.forecasts("U") == []


def test_the_same_forecast_sent_twice_is_one(book_url: str, now: datetime) -> None:
    zone = timezone(timedelta(hours=2))
    one, other = _forecast(now), _forecast(now, days=2)
    again = replace(
        one, heap="a", made=one.made.astimezone(zone) + timedelta(microseconds=7),
        due=one.due.astimezone(zone),
    )  # fmt: skip
    with _open(book_url, now) as book:
        assert book.add_forecasts("T", []) == Added()
        assert book.add_forecasts("T", [one, one, other]) == Added(new=2, known=1)
        later = now + timedelta(hours=1)
        assert book.add_forecasts("T", [again, other], now=later) == Added(known=2)
        assert book.forecasts("T") == [one, other]


def test_a_forecast_is_never_changed_and_nothing_of_the_call_is_written(
    book_url: str, now: datetime
) -> None:
    one = _forecast(now)
    with _open(book_url, now) as book:
        book.add_forecasts("T", [one])
        for changed in (replace(one, mean=52.6), replace(one, print="other"),
                        replace(one, cooling=None), replace(one, weather="frost")):  # fmt: skip
            with pytest.raises(ConflictError, match=r"heap A, core, .*never changed"):
                book.add_forecasts("T", [_forecast(now, days=3), changed])
        assert book.forecasts("T") == [one]


def test_forecasts_come_oldest_first(book_url: str, now: datetime) -> None:
    early, late = now - timedelta(days=2), now
    wanted = [
        _forecast(early, days=1),
        _forecast(early, days=9),
        _forecast(late, days=1),
        _forecast(late, days=1, heap="B"),
        _forecast(late, days=1, heap="B", spot="edge"),
        _forecast(late, days=2),
    ]
    with _open(book_url, now) as book:
        book.add_forecasts("T", wanted[::-1])
        assert book.forecasts("T") == wanted
        book.add_forecasts("U", wanted[:1])
        assert book.forecasts("U") == wanted[:1]


def test_forecasts_for_unknown_heaps_and_trials_are_refused(book_url: str, now: datetime) -> None:
    with _open(book_url, now) as book:
        with pytest.raises(UnknownNameError, match="Known: A, B"):
            book.add_forecasts("T", [_forecast(now), _forecast(now, heap="Z")])
        with pytest.raises(UnknownNameError, match="no trial"):
            book.add_forecasts("V", [_forecast(now)])
        with pytest.raises(UnknownNameError, match="no trial"):
            book.forecasts("V")
        assert book.forecasts("T") == []


def test_the_tables_themselves_refuse_a_second_one_and_a_turned_range(
    book_url: str, now: datetime
) -> None:
    with _open(book_url, now) as book:
        book.add_forecasts("T", [_forecast(now)])
        with book.read() as link:
            row = dict(link.execute(sa.select(tables.forecast)).mappings().one())
        for changes in ({}, {"due": now + timedelta(days=5), "low": 60.0},
                        {"due": now - timedelta(days=5)}):  # fmt: skip
            bad = row | {"id": "x"} | changes
            with pytest.raises(BookError), book.write() as link:
                link.execute(sa.insert(tables.forecast).values(**bad))
        assert book.forecasts("T") == [_forecast(now)]


# --- fits ----------------------------------------------------------------------------------------


def test_the_fit_that_got_furthest_is_found(book_url: str, now: datetime) -> None:
    payload = bytes(range(256)) * 5000
    with _open(book_url, now) as book:
        assert book.kept_fit("T", "p") is None
        book.keep_fit("T", "p", 2, payload)
        book.keep_fit("T", "p", 1, b"first")
        book.keep_fit("T", "q", 9, b"other")
        book.keep_fit("U", "p", 5, b"elsewhere")
        assert book.kept_fit("t", "p") == (2, payload)
        book.keep_fit("T", "p", 2, b"")
        assert book.kept_fit("T", "p") == (2, b"")


def test_fits_of_other_prints_are_dropped_and_nothing_else(book_url: str, now: datetime) -> None:
    with _open(book_url, now) as book:
        book.add_forecasts("T", [_forecast(now, print="q")])
        for trial, print_ in (("T", "p"), ("T", "q"), ("U", "q")):
            book.keep_fit(trial, print_, 1, b"x")
        book.drop_fits("T", "p")
        assert book.kept_fit("T", "p") == (1, b"x")
        assert book.kept_fit("T", "q") is None
        assert book.kept_fit("U", "q") == (1, b"x")
        assert len(book.forecasts("T")) == 1


def test_a_fit_that_cannot_be_kept_is_refused(book_url: str, now: datetime) -> None:
    with _open(book_url, now) as book:
        with pytest.raises(InputError, match="print"):
            book.keep_fit("T", "x" * 17, 1, b"x")
        with pytest.raises(InputError, match="passes"):
            book.keep_fit("T", "p", -1, b"x")
        with pytest.raises(UnknownNameError):
            book.keep_fit("V", "p", 1, b"x")


def test_several_may_keep_the_same_fit_at_once(book_url: str, now: datetime) -> None:
    _open(book_url, now).engine.dispose()

    def work(_: int) -> None:
        with Book(book_url) as book:
            for passes in range(5):
                book.keep_fit("T", "p", passes, b"x")

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(work, range(4)))
    with Book(book_url) as book:
        assert book.kept_fit("T", "p") == (4, b"x")


# --- books of revision 0001 ----------------------------------------------------------------------


def _old(url: str, now: datetime, monkeypatch: pytest.MonkeyPatch) -> Rows:
    """Make a book as the first revision knew it, with rows in every table."""
    when = When.instant(now - timedelta(days=1))
    with monkeypatch.context() as patch:
        patch.setattr(book_module, "HEAD", "0001")
        with _open(url, now) as book:
            book.add(
                [
                    Reading("e1", "T", "A", "core", when, 55.0, round="r1"),
                    Reading("e2", "T", "B", "core", when, 44.0, round="r1"),
                    Event("v1", "T", "A", when, "watered", water_l=20.0),
                    Sample("s1", "T", "B", when, "temp_c", 41.0),
                    Weather("w1", "T", when, 12.0, round="r1"),
                ],
                rounds=[Round("r1", "T", when, reader="Mo")],
                now=now,
            )
            slip = next_version(book.find("T", "e1"), "corrected", why="slip", source="log",
                                value=50.0)  # fmt: skip
            book.append(slip, now=now)
            book.count_look("T", ended=False, what="findings", now=now)
            with book.write() as link:
                book.remember("head", "{}", now=now, link=link)
            rows = _all_rows(book)
    assert "forecast" not in rows
    assert all(rows.values())
    return rows


def _all_rows(book: Book) -> Rows:
    with book.read() as link:
        names = set(sa.inspect(link).get_table_names()) - {"alembic_version"}
        return {
            n: sorted(map(tuple, link.execute(sa.text(f'select * from "{n}"'))), key=repr)
            for n in names
        }


def _revision(book: Book) -> str:
    with book.read() as link:
        return str(link.scalar(sa.text("select version_num from alembic_version")))


def test_an_old_book_is_brought_up_to_date_and_keeps_every_row(
    book_url: str, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = _old(book_url, now, monkeypatch)
    with Book(book_url) as book:
        assert _revision(book) == book_module.HEAD == "0002"
        after = _all_rows(book)
        assert after == before | {"forecast": [], "fit": []}
        assert {r.value for r in book.current("reading", "T")} == {44.0, 50.0}
        assert book.add_forecasts("T", [_forecast(now)]) == Added(new=1)
    with Book(book_url) as book:
        assert book.forecasts("T") == [_forecast(now)]


def test_a_copy_of_the_old_book_is_kept_with_what_stands_in_its_log(
    tmp_path: Path, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "book.sqlite"
    _old(str(path), now, monkeypatch)
    holder = sqlite3.connect(path, isolation_level=None)  # keeps the log from being folded in
    holder.execute("pragma wal_autocheckpoint=0")
    holder.execute("insert into heap (id, trial, name, recorded) select 'late', trial, 'C', "
                   "recorded from heap limit 1")  # fmt: skip
    assert (tmp_path / "book.sqlite-wal").stat().st_size > 0
    with Book(path):
        pass
    holder.close()
    kept = sqlite3.connect(tmp_path / "book.sqlite.before-0002")
    assert kept.execute("select version_num from alembic_version").fetchall() == [("0001",)]
    assert kept.execute("select count(*) from heap where id = 'late'").fetchall() == [(1,)]
    kept.close()


def test_an_old_book_is_left_alone_when_it_cannot_be_copied(
    tmp_path: Path, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "book.sqlite"
    before = _old(str(path), now, monkeypatch)
    (tmp_path / "book.sqlite.before-0002").mkdir()
    with pytest.raises(BookError, match="cannot be copied"):
        Book(path)
    with monkeypatch.context() as patch:
        patch.setattr(book_module, "HEAD", "0001")
        with Book(path) as book:
            assert _all_rows(book) == before


def test_a_new_book_leaves_no_copy(tmp_path: Path, now: datetime) -> None:
    _open(str(tmp_path / "book.sqlite"), now).engine.dispose()
    assert list(tmp_path.glob("*.before-*")) == []


def test_several_may_open_an_old_book_at_once(
    book_url: str, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = _old(book_url, now, monkeypatch)

    def work(_: int) -> Rows:
        with Book(book_url) as book:
            return _all_rows(book)

    with ThreadPoolExecutor(6) as pool:
        found = list(pool.map(work, range(6)))
    assert found == [before | {"forecast": [], "fit": []}] * 6
    if "://" not in book_url:
        kept = sqlite3.connect(f"{book_url}.before-0002")
        assert kept.execute("select version_num from alembic_version").fetchall() == [("0001",)]
        kept.close()
