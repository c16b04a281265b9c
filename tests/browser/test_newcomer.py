"""A newcomer with an empty book, in the browser alone: to findings, and to a first round.

Conventions: no command is run and no address typed after the first page; only what stands on a
page is tapped or typed. Pictures are kept in build/screens for people to look at.
"""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page

from heapwright.services.findings import find
from heapwright.store.book import Book
from heapwright.web.access import door_of
from heapwright.web.app import create_app
from heapwright.web.site import Site

MOMENT = datetime(2026, 6, 21, 8, tzinfo=UTC)
NEXT_MORNING = datetime(2026, 6, 22, 8, tzinfo=UTC)
TRIAL = "Ferncombe 2026"  # invented
SCREENS = Path(__file__).parents[2] / "build" / "screens"
WIDTHS = [360, 1280]


class Yard:
    """A server over an empty book, with a clock that stands until it is set."""

    def __init__(self, folder: Path) -> None:
        self.book, self.now = str(folder / "book.sqlite"), MOMENT
        with Book(self.book):
            pass
        site = Site(self.book, door_of(self.book), now=lambda: self.now)
        config = uvicorn.Config(create_app(site), port=0, log_level="warning", access_log=False)
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        while not self.server.started:
            time.sleep(0.05)
        port = self.server.servers[0].sockets[0].getsockname()[1]
        self.address = f"http://localhost:{port}"

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join(10)


@pytest.fixture
def yard(tmp_path: Path) -> Iterator[Yard]:
    made = Yard(tmp_path)
    yield made
    made.stop()


@contextmanager
def visit(browser: Browser, yard: Yard, width: int) -> Iterator[tuple[BrowserContext, Page]]:
    """The first page of the yard; nothing may fail or come from elsewhere meanwhile."""
    SCREENS.mkdir(parents=True, exist_ok=True)
    context = browser.new_context(viewport={"width": width, "height": 800})
    context.clock.set_fixed_time(yard.now)
    page = context.new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("response", lambda r: faults.append(f"{r.status} {r.url}") if r.status >= 400 else None)
    page.on("request", lambda r: None if r.url.startswith((yard.address, "data:", "blob:"))
            else faults.append(r.url))  # fmt: skip
    page.goto(yard.address)
    yield context, page
    assert faults == []
    context.close()


def picture(page: Page, name: str) -> None:
    """Keep a picture of a page that does not scroll sideways."""
    width = page.viewport_size["width"] if page.viewport_size else 0
    page.screenshot(path=SCREENS / f"newcomer-{name}-{width}.png", full_page=True)
    wide, room = page.evaluate(
        "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
    )
    assert wide <= room, name


def words(page: Page) -> str:
    return " ".join(page.locator("main").inner_text().split())


def menu(page: Page, name: str) -> None:
    page.get_by_role("navigation").get_by_role("link", name=name, exact=True).click()
    page.wait_for_load_state()


@pytest.mark.parametrize("width", WIDTHS)
def test_from_an_empty_book_to_findings_by_taps(browser: Browser, yard: Yard, width: int) -> None:
    with visit(browser, yard, width) as (_, page):
        picture(page, "a1-empty")
        assert "stays in this book" in words(page)
        page.get_by_role("button", name="Look at an invented trial first").click()
        page.wait_for_url("**/shows?trial=Ferncombe%202026")
        page.get_by_text("How to be rid of it").click()
        picture(page, "a2-shows")
        with Book(yard.book) as book:
            found = find(book, TRIAL, now=MOMENT, count=False)
        leads = [" ".join(x.split()) for x in page.locator(".lead").all_inner_texts()]
        assert " ".join(leads) == found.headline
        decides = found.record.plan.locked.decides
        for comparison in found.comparisons:
            assert comparison.sentence in words(page)
            if comparison.outcome == decides:
                assert comparison.sentence in leads
        assert "Invented data: nobody built these heaps." in words(page)
        assert "heapwright serve --book FILE" in words(page)
        menu(page, "Trial")
        assert page.locator("h1").inner_text() == TRIAL
        assert page.locator("figure svg:visible").count() == 1
        assert "Invented data" in words(page)
        picture(page, "a3-trial")
        menu(page, "Heaps")
        page.get_by_role("link", name="A", exact=True).click()
        page.wait_for_url("**/heaps/A**")
        picture(page, "a4-heap")
        menu(page, "What it shows")
        page.get_by_role("link", name="The report in full").click()
        page.wait_for_url("**/shows/report**")
        report = " ".join(page.locator("body").inner_text().split())
        assert all(c.sentence in report for c in found.comparisons)
        picture(page, "a5-report")


@pytest.mark.parametrize("width", WIDTHS)
def test_from_four_answers_to_a_first_round(browser: Browser, yard: Yard, width: int) -> None:
    with visit(browser, yard, width) as (context, page):
        for text in (
            "12 barrows of arborist chips",
            "two heaps, today",
            "one turned, one left alone",
            "50 cm",
        ):
            page.get_by_text(text, exact=True).click()
        page.get_by_role("button", name="Show what this makes").click()
        page.wait_for_url("**/started**")
        assert re.search(r"about \d+ litres", words(page))
        picture(page, "b1-first-page")
        page.get_by_role("button", name="Lock").click()
        page.wait_for_url("**/plan/lock")
        assert "is locked. Write this on the shed wall:" in words(page)
        picture(page, "b2-locked")
        page.get_by_role("link", name="What is due").click()
        assert "Round over A and B tomorrow at 07:00" in words(page)
        picture(page, "b3-today")
        yard.now = NEXT_MORNING
        context.clock.set_fixed_time(NEXT_MORNING)
        menu(page, "Today")
        assert "Round over A and B due now" in words(page)
        page.get_by_role("link", name="Walk the round").first.click()
        page.wait_for_selector("body[data-ready=yes]")
        picture(page, "b4-round")
        for number in ("14", "52", "48", "47", "44", "41", "40"):  # the air, then spot by spot
            for digit in number:
                page.get_by_role("button", name=digit, exact=True).click()
            page.get_by_role("button", name="Next", exact=True).click()
        page.get_by_text("Not yet sent: 0").wait_for()
        picture(page, "b5-walked")
        page.get_by_role("link", name="Today").click()
        page.wait_for_url(f"{yard.address}/")
        assert "Round over A and B due now" not in words(page)
        assert "Round over A and B in 3 days, at 07:00" in words(page)
        picture(page, "b6-today")
    with Book(yard.book) as book:
        (name,) = book.trials()
        kept = {(r.heap, r.spot): r.value for r in book.current("reading", name)}
        air = [w.value for w in book.current("weather", name)]
    assert kept == {
        ("A", "core"): 52, ("A", "south"): 48, ("A", "north"): 47,
        ("B", "core"): 44, ("B", "south"): 41, ("B", "north"): 40,
    }  # fmt: skip
    assert air == [14]
