"""Trial, heaps, what it shows, book and calculations in a browser: narrow, wide, dark, by keys."""

from __future__ import annotations

import re
import socket
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import pairwise

import pytest
import uvicorn
from playwright.sync_api import Browser, Page

from heapwright.services.demo import run_demo
from heapwright.web.access import door_of
from heapwright.web.app import create_app
from heapwright.web.board import Board
from heapwright.web.site import Site

NOW = datetime(2026, 6, 21, 8, tzinfo=UTC)
PAGES = (
    "/trial", "/heaps", "/heaps/A", "/heaps/A/wrong?complaint=dry+core&squeeze=dusty", "/shows",
    "/shows/report", "/book", "/book/import", "/book/entry/{entry}", "/jobs", "/jobs/{job}",
)  # fmt: skip
#: a calculation that is quick, with an answer as wide as they come, and one that takes its time
FAKE = """
import time

def run(kind, args, *, book, now, tell, workers):
    if kind == "forecast":
        for n in range(200):
            time.sleep(0.2)
            tell(n, 200)
    rows = [["B", "north foot"] + ["44 to 52"] * 9] * 3
    return {"words": ["INVENTED: B read 7 C warmer.", "And more."], "invented": True,
            "grids": [{"title": "Spots", "head": ["heap", "spot"] + ["12 Jun"] * 9, "rows": rows,
                       "note": "Ranges of 80 %."}],
            "known": ["Assumed: much"], "picture": "", "numbers": {}}
"""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A server on a free port, with the invented trial and two calculations."""
    folder = tmp_path_factory.mktemp("yard")
    run_demo(folder / "demo", say=lambda _="": None)
    (folder / "invented_work.py").write_text(FAKE, encoding="utf-8")
    patch = pytest.MonkeyPatch()
    patch.syspath_prepend(str(folder))
    book = str(folder / "demo" / "book.sqlite")
    app = create_app(Site(book, door_of(book), now=lambda: NOW))
    app.state.board = Board(book, what="invented_work:run")
    listening = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_level="error"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    until = time.monotonic() + 20
    while not server.started and time.monotonic() < until:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    server.should_exit = True
    thread.join(20)
    app.state.board.close()
    patch.undo()


@pytest.fixture(scope="module")
def places(address: str, browser: Browser) -> list[str]:
    """Every page, with the ids that this server has."""
    page = browser.new_page()
    page.goto(f"{address}/heaps/A")
    page.click("button[value=air]")
    page.wait_for_selector("h2:has-text('How we know')", timeout=60_000)
    job = page.url.rsplit("/", 1)[-1]
    page.goto(f"{address}/api/history?heap=A")
    found = re.search(r'"id": "([^"]+)"', page.inner_text("body"))
    assert found is not None
    page.close()
    return [address + p.format(entry=found[1], job=job) for p in PAGES]


def _open(browser: Browser, place: str, width: int, *, dark: bool = False) -> Page:
    scheme = "dark" if dark else "light"
    page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)  # type: ignore[arg-type]
    page.goto(place)
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    return page


@pytest.mark.parametrize("width", [360, 1280])
def test_no_page_scrolls_sideways_with_everything_unfolded(
    browser: Browser, places: list[str], width: int
) -> None:
    for place in places:
        page = _open(browser, place, width)
        wide = page.evaluate(
            "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
        )
        assert wide[0] <= wide[1], place
        page.close()


def test_pages_ask_only_this_server_and_nothing_fails(
    browser: Browser, places: list[str], address: str
) -> None:
    for place in places:
        asked: list[str] = []
        faults: list[str] = []
        page = browser.new_page()
        page.on("request", lambda request, asked=asked: asked.append(request.url))
        page.on("console", lambda message, faults=faults: faults.append(message.text))
        page.on("pageerror", lambda error, faults=faults: faults.append(str(error)))
        page.goto(place)
        page.wait_for_timeout(100)
        assert all(u.startswith((address, "data:")) for u in asked), place
        assert not any("plotly" in u for u in asked), place
        assert faults == [], place
        page.close()


def test_targets_are_large_inputs_are_named_headings_go_down_by_one(
    browser: Browser, places: list[str]
) -> None:
    for place in [p for p in places if "/shows/report" not in p]:
        page = _open(browser, place, 360)
        small = page.evaluate(
            """[...document.querySelectorAll('main button, main summary, main select, main a.row,'
                 + 'main a.button, main label.tick, .switch label, nav a,'
                 + 'main input:not([type=hidden]):not([type=checkbox]):not([type=radio])')]
                 .filter(e => e.getClientRects().length)
                 .filter(e => e.getBoundingClientRect().height < 43.5)
                 .map(e => e.outerHTML.slice(0, 120))"""
        )
        assert small == [], place
        bare = page.evaluate(
            """[...document.querySelectorAll('main input:not([type=hidden]), main select')]
                 .filter(e => !e.labels.length).map(e => e.outerHTML)"""
        )
        assert bare == [], place
        ids = page.evaluate("[...document.querySelectorAll('[id]')].map(e => e.id)")
        assert len(ids) == len(set(ids)), place
        levels = page.evaluate(
            "[...document.querySelectorAll('h1, h2, h3, h4')].map(e => Number(e.tagName[1]))"
        )
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(b - a <= 1 for a, b in pairwise(levels)), place
        assert page.locator(".lead").count() >= 1, place
        page.close()


@pytest.mark.parametrize("dark", [False, True])
def test_text_stands_out_seven_to_one(browser: Browser, places: list[str], dark: bool) -> None:
    for place in [p for p in places if "/shows/report" not in p]:
        page = _open(browser, place, 768, dark=dark)
        ground = _rgb(page.evaluate("getComputedStyle(document.body).backgroundColor"))
        inks = page.evaluate(
            """[...new Set([...document.querySelectorAll('main *')]
                 .filter(e => !e.closest('svg, button, .button, input, select'))
                 .map(e => getComputedStyle(e).color))]"""
        )
        for ink in inks:
            assert _contrast(_rgb(ink), ground) >= 7, (place, ink)
        page.close()


def test_one_switch_changes_between_age_and_date_and_a_dot_leads_to_its_round(
    browser: Browser, address: str
) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.goto(f"{address}/trial")
    page.locator('figure.by-age .wide a[href="#round-3"]').first.dispatch_event("click")
    page.wait_for_timeout(200)
    assert page.locator("#round-3").is_visible()
    page.check("#see-date")
    assert page.locator("figure.by-date").is_visible()
    assert not page.locator("figure.by-age").is_visible()
    page.close()


def test_a_closer_look_is_fetched_when_asked_from_this_server(
    browser: Browser, address: str
) -> None:
    asked: list[str] = []
    faults: list[str] = []
    page = browser.new_page(viewport={"width": 360, "height": 800})
    page.on("request", lambda request: asked.append(request.url))
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda m: faults.append(m.text) if m.type == "error" else None)
    page.goto(f"{address}/trial")
    page.click("#closer")
    page.wait_for_selector("#closer-chart .scatterlayer .trace", timeout=30_000)
    drawn = page.locator("#closer-chart .scatterlayer .trace").count()
    assert drawn >= 6
    page.check("#see-date")
    page.wait_for_timeout(300)
    assert page.locator("#closer-chart .scatterlayer .trace").count() == drawn
    assert all(u.startswith((address, "data:", "blob:")) for u in asked)
    assert faults == []
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 360
    page.close()


def test_a_calculation_is_followed_and_ended(browser: Browser, address: str) -> None:
    page = browser.new_page(viewport={"width": 360, "height": 800})
    page.goto(f"{address}/heaps/B")
    page.click("button[value=forecast]")
    page.wait_for_selector("[data-said]:has-text('of 200 simulations')", timeout=60_000)
    page.click("text=End it")
    page.wait_for_selector("text=You ended this before it was done")
    page.click("text=All calculations")
    assert "cancelled" in page.inner_text("main")
    page.close()


def test_work_is_logged_with_the_keyboard_alone(browser: Browser, address: str) -> None:
    page = browser.new_page(viewport={"width": 360, "height": 800})
    page.goto(f"{address}/heaps/C")
    page.locator("summary", has_text="Something was done").focus()
    page.keyboard.press("Enter")
    page.locator("#what").focus()
    page.keyboard.type("watered")
    for text in ("about Tuesday", "15"):
        page.keyboard.press("Tab")
        page.keyboard.type(text)
    page.keyboard.press("Enter")
    page.wait_for_selector("#kept")
    assert "Kept: watered 15 L" in page.inner_text("#kept")
    page.close()


def _rgb(text: str) -> tuple[float, ...]:
    return tuple(float(x) for x in re.findall(r"[\d.]+", text)[:3])


def _contrast(one: tuple[float, ...], two: tuple[float, ...]) -> float:
    """Contrast of two colours as the accessibility guidelines (WCAG 2.1) define it."""

    def light(colour: tuple[float, ...]) -> float:
        parts = [c / 255 for c in colour]
        red, green, blue = (
            c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts
        )
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    high, low = sorted((light(one), light(two)), reverse=True)
    return (high + 0.05) / (low + 0.05)
