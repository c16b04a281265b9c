"""The invented trial put into an empty book: whole or not at all, once, by a keeper."""

from __future__ import annotations

import contextlib
import html
import re
import sqlite3
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi.testclient import TestClient

from heapwright.errors import InputError
from heapwright.services import demo
from heapwright.services.demo import put_demo
from heapwright.services.findings import find
from heapwright.services.log import log_round
from heapwright.services.plans import example_plan, lock_text
from heapwright.store import tables
from heapwright.store.book import Book
from heapwright.store.takeover import take_over
from heapwright.web.access import Role
from heapwright.web.app import create_app
from heapwright.web.site import Site

MOMENT = datetime(2026, 6, 21, 8, tzinfo=UTC)
ENDS = datetime(2026, 6, 20, tzinfo=UTC)
TRIAL = "Ferncombe 2026"  # invented
BUTTON = "Look at an invented trial first"
PAGE = {"accept": "text/html"}
SiteOf = Callable[..., Site]


@pytest.fixture
def bare(tmp_path: Path) -> str:
    """A book without anything in it."""
    where = str(tmp_path / "bare.sqlite")
    with Book(where):
        pass
    return where


@pytest.fixture
def client_of(bare: str, site_of: SiteOf) -> Iterator[Callable[..., TestClient]]:
    """``client_of(role, now=...)`` asks an app over the empty book; ``own_token`` is its token."""
    opened: list[TestClient] = []

    def made(role: Role = Role.KEEPER, now: datetime = MOMENT) -> TestClient:
        site = site_of(bare, now=lambda: now)
        client = TestClient(create_app(site), headers=PAGE, follow_redirects=False)
        cookie = site.door.cookie(role)
        client.cookies.set(site.door.cookie_name(https=False), cookie)
        client.own_token = site.door.visitor(cookie).token  # type: ignore[attr-defined, union-attr]
        opened.append(client)
        return client

    yield made
    for client in opened:
        client.close()


def put(client: TestClient) -> Any:
    return client.post("/invented", data={"token": client.own_token})  # type: ignore[attr-defined]


def plain(text: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def rows(book: str) -> list[str]:
    with contextlib.closing(sqlite3.connect(book)) as link:
        return list(link.iterdump())


def counts(book: Book) -> dict[str, int]:
    with book.read() as link:
        return {
            t.name: link.scalar(sa.select(sa.func.count()).select_from(t)) or 0
            for t in tables.metadata.sorted_tables
        }


# --- the service ---------------------------------------------------------------------------------


def test_the_trial_in_a_given_book_is_that_of_the_demo(book_url: str, invented_file: Path) -> None:
    with Book(book_url) as book, Book(invented_file) as other:
        assert put_demo(book, now=MOMENT) == TRIAL
        assert book.trials() == [TRIAL]
        mine, theirs = counts(book), counts(other)
        assert mine.pop("look") == 1  # on the way; the demo looks at the end as well
        theirs.pop("look")
        assert mine == theirs
        found, expected = (find(b, TRIAL, now=MOMENT, count=False).to_json() for b in (book, other))
        for name in ("headline", "comparisons", "as_done", "deviations", "corrections"):
            assert found[name] == expected[name], name


def test_nothing_of_it_stands_in_the_future_of_its_clock(bare: str) -> None:
    with Book(bare) as book:
        put_demo(book, now=ENDS)
        entries = book.history(TRIAL)
        with book.read() as link:
            recorded = [
                moment for t in tables.metadata.sorted_tables if "recorded" in t.c
                for moment in link.scalars(sa.select(t.c.recorded))
            ]  # fmt: skip
    assert max(e.when.high for e in entries) <= ENDS
    assert len(recorded) > len(entries)
    assert max(recorded) <= ENDS


@pytest.mark.parametrize("name", [TRIAL, "FERNCOMBE 2026"])
def test_a_trial_of_that_name_is_left_as_it_is(bare: str, name: str) -> None:
    with Book(bare) as book:
        log_round(book, name, "A 40 B 41", now=MOMENT, new=True)
        before = rows(bare)
        with pytest.raises(InputError, match="a trial of that name already") as refused:
            put_demo(book, now=MOMENT)
    assert (refused.value.field, refused.value.value) == ("trial", name)
    assert refused.value.way_out
    assert rows(bare) == before


def test_it_does_not_come_between_trials_of_ones_own(bare: str) -> None:
    with Book(bare) as book:
        log_round(book, "My yard", "A 40 B 41", now=MOMENT, new=True)
        before = rows(bare)
        with pytest.raises(InputError, match="another trial already") as refused:
            put_demo(book, now=MOMENT)
    assert (refused.value.field, refused.value.value) == ("trial", "My yard")
    assert rows(bare) == before


def test_a_trial_locked_meanwhile_keeps_the_book_to_itself(bare: str, invented_file: Path) -> None:
    with Book(bare) as book, Book(invented_file) as other:
        log_round(book, "My yard", "A 40 B 41", now=MOMENT, new=True)
        before = rows(bare)
        with pytest.raises(InputError, match="by now") as refused:
            take_over(book, other)
    assert (refused.value.field, refused.value.value) == ("trial", "My yard")
    assert rows(bare) == before


@pytest.mark.parametrize(
    "now",
    [datetime(2026, 4, 1, tzinfo=UTC), datetime(2026, 5, 2, 9, tzinfo=UTC),
     ENDS - timedelta(seconds=1)],
)  # fmt: skip
def test_a_clock_before_the_end_of_the_story_is_said(bare: str, now: datetime) -> None:
    before = rows(bare)
    with Book(bare) as book, pytest.raises(InputError, match="ends on 20 June 2026") as refused:
        put_demo(book, now=now)
    assert "this clock says earlier" in refused.value.what
    assert refused.value.field == "clock"
    assert refused.value.way_out
    assert rows(bare) == before


def test_a_story_that_breaks_off_leaves_nothing(bare: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise KeyboardInterrupt

    before = rows(bare)
    with monkeypatch.context() as patch, Book(bare) as book:
        patch.setattr(demo, "_last_measures", broken)
        with pytest.raises(KeyboardInterrupt):
            put_demo(book, now=MOMENT)
        assert rows(bare) == before
    with Book(bare) as book:
        assert put_demo(book, now=MOMENT) == TRIAL


# --- the page ------------------------------------------------------------------------------------


def test_one_tap_leads_from_nothing_to_what_it_shows(
    client_of: Callable[..., TestClient], bare: str
) -> None:
    keeper = client_of()
    for place in ("/start", "/shows"):
        page = keeper.get(place).text
        assert BUTTON in page
        assert "stays in this book" in page
        assert "heapwright serve --book FILE" in page
    assert keeper.get("/").headers["location"] == "/start"
    done = put(keeper)
    assert (done.status_code, done.headers["location"]) == (303, "/shows?trial=Ferncombe%202026")
    page = plain(keeper.get(done.headers["location"]).text)
    with Book(bare) as book:
        found = find(book, TRIAL, now=MOMENT, count=False)
    decided = [c for c in found.comparisons if c.outcome == found.record.plan.locked.decides]
    assert len(decided) == 2
    assert all(c.sentence in page for c in decided)
    for place in ("/", "/trial", "/shows"):
        page = plain(keeper.get(place).text)
        assert "Invented data" in page, place
        assert "How to be rid of it" in page, place


def test_it_is_offered_only_while_the_book_is_empty_and_once(
    client_of: Callable[..., TestClient], bare: str
) -> None:
    keeper = client_of()
    assert put(keeper).status_code == 303
    for place in ("/start", "/started", "/shows", "/"):
        assert BUTTON not in keeper.get(place).text, place
    before = rows(bare)
    again = put(keeper)
    assert again.status_code == 422
    assert f"trial = {TRIAL}: this book holds a trial of that name already." in plain(again.text)
    assert BUTTON not in again.text
    assert rows(bare) == before


def test_two_taps_at_once_put_it_there_once(
    client_of: Callable[..., TestClient], bare: str
) -> None:
    keepers = [client_of(), client_of()]
    with ThreadPoolExecutor(2) as both:
        answers = sorted(a.status_code for a in both.map(put, keepers))
    assert answers == [303, 422]
    with Book(bare) as book:
        assert book.trials() == [TRIAL]
        assert len(book.current("reading", TRIAL)) == 17 * 18


@pytest.mark.parametrize("role", [Role.READER, Role.HELPER])
def test_only_a_keeper_is_offered_it_and_may(
    client_of: Callable[..., TestClient], bare: str, role: Role
) -> None:
    before = rows(bare)
    visitor = client_of(role)
    for place in ("/start", "/shows"):
        assert BUTTON not in visitor.get(place).text
    assert put(visitor).status_code == 403
    assert client_of().post("/invented").status_code == 403  # without the token of the session
    assert rows(bare) == before


@pytest.mark.parametrize("month", [3, 5])
def test_a_clock_before_its_end_is_said_on_the_page(
    client_of: Callable[..., TestClient], bare: str, month: int
) -> None:
    before = rows(bare)
    keeper = client_of(now=datetime(2026, month, 2, 9, tzinfo=UTC))
    answer = put(keeper)
    assert answer.status_code == 422
    page = plain(answer.text)
    assert "the story of this invented trial ends on 20 June 2026; this clock says earlier" in page
    assert "Set the clock of this machine right" in page
    assert answer.text.count("<fieldset") == 4  # the way out stands there
    assert rows(bare) == before


def test_a_plan_of_ones_own_is_shown_before_it(
    client_of: Callable[..., TestClient], bare: str
) -> None:
    keeper = client_of()
    assert put(keeper).status_code == 303
    own = example_plan().replace(TRIAL, "My yard 2026").replace("invented = true", "")
    with Book(bare) as book:
        lock_text(book, own, now=MOMENT)
    for place in ("/", "/trial", "/heaps", "/plan", "/round"):
        page = keeper.get(place).text
        assert "My yard 2026" in page, place
        assert "Invented data" not in page, place
    assert "Invented data" in keeper.get("/trial?trial=Ferncombe 2026").text
