"""The round page on phones: no signal, killed, the server away, two phones at once."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import socket
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import BrowserContext, Error, Page, Playwright, sync_playwright

from heapwright.domain.entries import Reading
from heapwright.services.log import log_round
from heapwright.store.book import Book
from heapwright.web.access import Role, door_of
from heapwright.web.app import create_app
from heapwright.web.site import Site

TRIAL = "Invented yard"
LEVELS = {"A": 52, "B": 40, "D": 58, "E": 45}
SPOTS = 6
YARD = "yard.test"  # a name that is not this machine: there a browser has no service worker
PHONE = {"width": 360, "height": 740}


class Server:
    """The app on a port that stays the same when it is stopped and started again."""

    def __init__(self, book: str, language: str = "en") -> None:
        self.book, self.language = book, language
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.start()

    def start(self) -> None:
        self.site = Site(
            self.book, door_of(self.book), hosts=frozenset({"localhost", YARD}),
            language=self.language, now=lambda: datetime.now(UTC),
        )  # fmt: skip
        config = uvicorn.Config(
            create_app(self.site),
            host="127.0.0.1",
            port=self.port,
            log_level="error",
            timeout_graceful_shutdown=2,
        )
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        ends = time.monotonic() + 20
        while not self.server.started and time.monotonic() < ends:
            time.sleep(0.02)
        assert self.server.started

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join(20)
        assert not self.thread.is_alive()

    def url(self, host: str = "localhost", path: str = "/round") -> str:
        return f"http://{host}:{self.port}{path}"


@pytest.fixture(scope="module")
def play() -> Iterator[Playwright]:
    with sync_playwright() as made:
        yield made


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    made = Server(_book(tmp_path))
    yield made
    made.stop()


def _book(folder: Path) -> str:
    """Four INVENTED heaps of six spots, read on five days."""
    where = str(folder / "yard.sqlite")
    now = datetime.now(UTC)
    with Book(where) as book:
        for n in range(5, 0, -1):
            words = " ".join(
                f"{h} " + " ".join(str(level + (n + k) % 3 - 1) for k in range(SPOTS))
                for h, level in LEVELS.items()
            )
            when = now - timedelta(days=2 * n)
            log_round(book, TRIAL, words + " air 12", now=now, when=when, new=True)
    return where


def phone(play: Playwright, folder: Path) -> BrowserContext:
    """A phone: a browser with a store of its own that outlives it."""
    return play.chromium.launch_persistent_context(
        folder, executable_path="/usr/bin/chromium", viewport=PHONE, has_touch=True,
        args=["--no-sandbox", f"--host-resolver-rules=MAP {YARD} 127.0.0.1"],
    )  # fmt: skip


def empty_battery(context: BrowserContext, folder: Path) -> None:
    """End every process of a phone at once, as no browser expects it."""
    mine, killed = f"--user-data-dir={folder}".encode(), 0
    for about in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):
            if mine in about.read_bytes().split(b"\0"):
                os.kill(int(about.parent.name), signal.SIGKILL)
                killed += 1
    assert killed > 0
    with contextlib.suppress(Error):
        context.close()


def opened(context: BrowserContext, address: str) -> Page:
    page = context.pages[0] if context.pages else context.new_page()
    page.goto(address)
    page.wait_for_selector("body[data-ready=yes]")
    return page


def read(page: Page, text: str) -> None:
    """One reading by keys."""
    for digit in text:
        page.click(f'[data-key="{digit}"]')
    page.click("#next")


def until(page: Page, expression: str, *, seconds: float = 20) -> None:
    """Wait for an expression; asked from outside, as the page allows no other script."""
    ends = time.monotonic() + seconds
    while not page.evaluate(expression):
        if time.monotonic() > ends:
            raise AssertionError(f"{expression}: {page.inner_text('body')[:600]}")
        page.wait_for_timeout(50)


def wait_unsent(page: Page, count: int) -> None:
    until(page, f"document.getElementById('unsent').textContent === 'Not yet sent: {count}'")


def walk(page: Page, heaps: str, add: int = 0) -> None:
    for heap in heaps:
        for k in range(SPOTS):
            read(page, str(LEVELS[heap] + (k + add) % 2))


def todays(server: Server) -> list[Reading]:
    with Book(server.book) as book:
        since = datetime.now(UTC) - timedelta(hours=6)
        return [r for r in book.current("reading", TRIAL) if r.when.low >= since]


def _placed(rows: list[Reading]) -> dict[tuple[str, str], int]:
    out: dict[tuple[str, str], int] = {}
    for r in rows:
        out[r.heap, r.spot] = out.get((r.heap, r.spot), 0) + 1
    return out


def _every_spot(times: int) -> dict[tuple[str, str], int]:
    return {(h, f"spot{k}"): times for h in LEVELS for k in range(1, SPOTS + 1)}


def test_two_phones_in_flight_mode_one_killed_and_the_server_restarted(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    one, two = phone(play, tmp_path / "one"), phone(play, tmp_path / "two")
    first, second = opened(one, server.url()), opened(two, server.url())
    for page in (first, second):
        until(page, "document.getElementById('open').textContent.includes('also opens')")
        page.click("#skip")  # the air
    one.set_offline(True)
    two.set_offline(True)
    walk(first, "AB")
    walk(second, "ABD", add=1)
    wait_unsent(first, 12)
    empty_battery(one, tmp_path / "one")
    server.stop()
    one = phone(play, tmp_path / "one")
    one.set_offline(True)
    first = opened(one, server.url())
    wait_unsent(first, 12)
    assert "heap D, spot1" in first.inner_text("#lead")
    walk(first, "DE")
    walk(second, "E", add=1)
    wait_unsent(first, 24)
    wait_unsent(second, 24)
    server.start()
    one.set_offline(False)
    two.set_offline(False)
    first.click("#send")
    second.click("#send")
    wait_unsent(first, 0)
    wait_unsent(second, 0)
    for page in (first, second):
        page.click("#send")
    rows = todays(server)
    assert len(rows) == 48
    assert _placed(rows) == _every_spot(2)
    assert len({r.id for r in rows}) == 48
    assert {r.trail.version for r in rows} == {1}
    one.close()
    two.close()


def test_an_answer_that_is_lost_on_its_way_makes_no_double(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    one = phone(play, tmp_path / "one")
    page = opened(one, server.url())
    lost: list[int] = []

    def lose(route) -> None:  # type: ignore[no-untyped-def]
        if len(lost) < 2:
            route.fetch()  # the server has it
            lost.append(1)
            route.abort()
        else:
            route.continue_()

    page.route("**/api/field", lose)
    page.click("#skip")
    walk(page, "A")
    page.wait_for_timeout(300)
    page.click("#send")
    page.click("#send")
    wait_unsent(page, 0)
    assert len(lost) == 2
    assert len(todays(server)) == SPOTS
    one.close()


def test_over_plain_http_it_works_while_it_stays_open_and_says_so(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    pages = []
    for name in ("one", "two"):
        context = phone(play, tmp_path / name)
        code = server.site.door.code(Role.HELPER)
        start = context.pages[0]  # a tab behind another would be slowed down
        start.goto(server.url(YARD, f"/join?code={code}"))
        start.click("main button")
        page = opened(context, server.url(YARD))
        assert not page.evaluate("window.isSecureContext")
        assert "as long as it stays open" in page.inner_text("#open")
        pages.append((context, page))
    for n, (context, page) in enumerate(pages):
        context.set_offline(True)
        page.click("#skip")
        walk(page, "AB", add=n)
    server.stop()
    for n, (_, page) in enumerate(pages):
        walk(page, "DE", add=n)
        wait_unsent(page, 24)
    server.start()
    for context, page in pages:
        context.set_offline(False)
        wait_unsent(page, 0)  # by itself, on the event of being online or within some seconds
    rows = todays(server)
    assert len(rows) == 48
    assert _placed(rows) == _every_spot(2)
    for context, _ in pages:
        context.close()


def test_140_is_asked_about_and_the_good_ones_beside_it_arrive(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    one = phone(play, tmp_path / "one")
    page = opened(one, server.url())
    page.click("#skip")
    read(page, "52")
    read(page, "140")
    read(page, "52")
    page.wait_for_selector(".ask")
    assert "140" in page.inner_text(".ask")
    unsent = "document.getElementById('unsent').textContent"
    until(page, f"{unsent} === 'Not yet sent: 1, to answer: 1'")
    assert sorted(r.value for r in todays(server)) == [52, 52]
    page.fill(".ask input", "54")
    page.click(".ask button:has-text('Put it in')")
    wait_unsent(page, 0)
    assert sorted((r.value, r.note) for r in todays(server)) == [
        (52, ""), (52, ""), (54, "typed 140 at first"),
    ]  # fmt: skip
    one.close()


def test_exchanged_heaps_are_asked_about_and_put_right_after_a_yes(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    one = phone(play, tmp_path / "one")
    page = opened(one, server.url())
    page.click("#skip")
    one.set_offline(True)
    for level in (40, 52):
        for _ in range(SPOTS):
            read(page, str(level))
    one.set_offline(False)
    page.click("#send")
    page.wait_for_selector(".ask button:has-text('Exchanged')")
    assert page.locator(".ask").count() == 1
    assert todays(server) == []
    page.click(".ask button:has-text('Exchanged')")
    wait_unsent(page, 0)
    rows = todays(server)
    assert {(r.heap, r.value) for r in rows} == {("A", 52), ("B", 40)}
    assert len(rows) == 12
    assert all("exchanged" in r.trail.why for r in rows)
    one.close()


def test_undo_takes_back_what_was_typed_sent_or_not(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    one = phone(play, tmp_path / "one")
    page = opened(one, server.url())
    page.click("#skip")
    read(page, "52")
    wait_unsent(page, 0)
    assert len(todays(server)) == 1
    page.click("#undo")
    assert "heap A, spot1" in page.inner_text("#lead")
    ends = time.monotonic() + 20
    while todays(server) and time.monotonic() < ends:
        page.wait_for_timeout(100)
    assert todays(server) == []
    one.set_offline(True)
    read(page, "53")
    wait_unsent(page, 1)
    one.set_offline(False)
    page.click("#send")
    wait_unsent(page, 0)
    assert [r.value for r in todays(server)] == [53]
    one.close()


def test_notes_squeeze_smell_photo_line_air_and_file(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    one = phone(play, tmp_path / "one")
    page = opened(one, server.url())
    assert "the air" in page.inner_text("#lead")
    read(page, "9.5")
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    page.fill("#note", "steam at dawn")
    page.click("#noteform button")
    page.select_option("#squeeze", "damp")
    page.select_option("#smell", "earthy")
    picture = tmp_path / "p.png"
    page.locator("#sketch").screenshot(path=picture)
    page.set_input_files("#photo", picture)
    until(page, "document.querySelectorAll('#list li').length === 5")
    page.fill("#line", "D 58 58 58 57 58 58")
    page.click("#lineform button")
    wait_unsent(page, 0)
    with Book(server.book) as book:
        notes = sorted(e.note.split()[0] for e in book.current("event", TRIAL))
        air = [w.value for w in book.current("weather", TRIAL)]
    assert len([n for n in notes if n.endswith(".jpg")]) == 1
    assert set(notes) >= {"steam", "squeeze:", "smell:"}
    assert air[-1] == 9.5
    assert len(todays(server)) == SPOTS
    one.set_offline(True)
    read(page, "52")
    wait_unsent(page, 1)
    with page.expect_download() as waiting:
        page.click("#save")
    saved = json.loads(Path(waiting.value.path()).read_text("utf-8"))
    assert [(e["heap"], e["text"]) for e in saved["entries"]] == [("A", "52")]
    one.close()


def test_three_taps_a_reading_targets_sizes_and_requests(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    one = phone(play, tmp_path / "one")
    page = one.new_page()
    asked: list[tuple[str, int]] = []
    faults: list[str] = []
    page.on("console", lambda m: faults.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda e: faults.append(str(e)))
    page.on(
        "requestfinished",
        lambda r: (
            asked.append((r.url, len(r.response().body())))  # type: ignore[union-attr]
            if "/api/" not in r.url and not r.url.startswith("data:")
            else None
        ),
    )
    page.goto(server.url())
    page.wait_for_selector("body[data-ready=yes]")
    page.wait_for_timeout(500)
    assert len(asked) <= 3, asked
    assert sum(size for _, size in asked) <= 60_000, asked
    page.evaluate(
        "window.taps = 0; document.addEventListener('click', () => { window.taps += 1; }, true)"
    )
    page.click("#skip")
    page.evaluate("window.taps = 0")
    walk(page, "ABDE")
    assert page.evaluate("window.taps") == 3 * 24
    assert "Every spot is read" in page.inner_text("#lead")
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    small = page.evaluate(
        "[...document.querySelectorAll('button, a, input, select, textarea, summary')]"
        ".map(e => [e.id || e.textContent, e.getBoundingClientRect()])"
        ".filter(([, r]) => r.height < 55.9 || r.width < 55.9).map(([n]) => n)"
    )
    assert small == []
    wide = page.evaluate(
        "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
    )
    assert wide[0] <= wide[1]
    unnamed = page.evaluate(
        "[...document.querySelectorAll('input, select, textarea')].filter(e => !e.labels.length)"
        ".map(e => e.id)"
    )
    assert unnamed == []
    assert faults == []
    one.close()


def test_no_raw_word_in_the_pseudo_language(play: Playwright, tmp_path: Path) -> None:
    server = Server(_book(tmp_path), "zz")
    one = phone(play, tmp_path / "one")
    page = opened(one, server.url())
    read(page, "12")
    page.click("#wait")
    page.click("#undo")
    page.click("#skip")
    read(page, "52")
    page.click("#next")
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    until(page, "document.getElementById('unsent').textContent.includes(' 0')")
    page.wait_for_timeout(300)
    texts = page.evaluate(
        """() => {
          const out = [document.title];
          const walker = document.createTreeWalker(document.documentElement, 4);
          while (walker.nextNode()) {
            const own = walker.currentNode.parentElement;
            if (!own.closest('script, style, noscript')) out.push(walker.currentNode.textContent);
          }
          for (const e of document.querySelectorAll('[aria-label], [alt], [title]'))
            for (const name of ['aria-label', 'alt', 'title']) out.push(e.getAttribute(name) || '');
          return out;
        }"""
    )
    data = {TRIAL, "C", "F", *LEVELS, *(f"spot{k}" for k in range(1, SPOTS + 1))}
    raw = []
    for text in texts:
        rest = re.sub(r"⟦[^⟧]*⟧", " ", text)
        for name in sorted(data, key=len, reverse=True):
            rest = re.sub(rf"\b{re.escape(name)}\b", " ", rest)
        if re.search(r"[^\W\d_]", rest):
            raw.append(text)
    assert raw == []
    one.close()
    server.stop()
