"""Start, plan and paper in a browser: taps, keystrokes, narrow, dark, printed."""

from __future__ import annotations

import re
import socket
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, Page

from heapwright.services.plans import example_plan, lock_text
from heapwright.store.book import Book
from heapwright.web.access import door_of
from heapwright.web.app import create_app
from heapwright.web.site import Site

NOW = datetime(2026, 5, 2, 9, tzinfo=UTC)
TRIAL = "Eight heaps 2026"  # invented
MOST_TAPS, MOST_KEYS, READINGS = 12, 150, 24
PAGES = ("/start", "/plan", "/plan/mix", "/plan/reach", "/plan/calendar", "/plan/deal",
         "/plan/sheet", "/plan/signs", "/plan/lock", "/sheet")  # fmt: skip


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with an invented trial of eight heaps with three spots, so 24 readings a round."""
    path = tmp_path_factory.mktemp("start") / "book.sqlite"
    more = "".join(f'\n[[heap]]\nname = "{name}"\nvolume = "1.15-1.25 m3"\n' for name in "GH")
    text = (
        example_plan()
        .replace("Ferncombe 2026", TRIAL)
        .replace("\n[[spot]]", more + "\n[[spot]]", 1)
    )
    with Book(str(path)) as opened:
        lock_text(opened, text, now=NOW)
    return path


@pytest.fixture(scope="module")
def address(book: Path) -> Iterator[str]:
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    site = Site(str(book), door_of(str(book)), now=lambda: NOW)
    server = uvicorn.Server(uvicorn.Config(create_app(site), log_level="warning"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    server.should_exit = True
    thread.join(10)


def _open(browser: Browser, at: str, width: int = 360, *, dark: bool = False) -> Page:
    scheme = "dark" if dark else "light"
    page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)  # type: ignore[arg-type]
    page.goto(at)
    return page


def test_the_useful_page_takes_at_most_twelve_taps(browser: Browser, address: str) -> None:
    page = _open(browser, address + "/start")
    taps = 0
    for text in (
        "nine barrows of shredded prunings and two of grass mowings",
        "three heaps, today",
        "one turned, one vented, one left alone",
        "50 cm",
    ):
        page.get_by_text(text, exact=True).click()
        taps += 1
    page.get_by_role("button", name="Show what this makes").click()
    taps += 1
    assert taps <= MOST_TAPS
    page.wait_for_url("**/started**")
    said = page.locator("main").inner_text()
    assert "This makes one warm heap, not three" in said
    assert re.search(r"about \d+ litres", said)
    assert re.search(r"core: top, straight down, \d+ cm", said)
    assert "3 heaps in 3 ways, 1 each" in said
    assert 'kind = "vented"' in page.locator("#text").input_value()
    page.get_by_role("button", name="Check").click()
    assert "One heap each" in page.locator("main").inner_text()
    page.close()


def test_without_any_answer_there_is_a_page_too(browser: Browser, address: str) -> None:
    page = _open(browser, address + "/start")
    page.get_by_role("button", name="Show what this makes").click()
    assert page.locator("h1").inner_text() == "What this makes"
    page.close()


def test_a_sheet_of_24_readings_goes_in_by_keyboard_alone(
    browser: Browser, address: str, book: Path
) -> None:
    page = _open(browser, address + "/sheet", 1000)
    digits = others = 0

    def type_digits(text: str) -> None:
        nonlocal digits
        page.keyboard.type(text)
        digits += len(text)

    def press(key: str) -> None:
        nonlocal others
        page.keyboard.press(key)
        others += 1

    for heap in range(8):
        for spot in range(3):
            type_digits(str(45 + heap + 2 * spot))
        press("Enter")  # past the notes
    type_digits("11")
    press("Enter")
    page.wait_for_selector("text=In the book")
    assert digits == 2 * (READINGS + 1)
    assert others < MOST_KEYS
    with Book(str(book)) as opened:
        kept = list(opened.current("reading", TRIAL))
    assert len(kept) == READINGS
    by_place = {(r.heap, r.spot): r.value for r in kept}
    assert by_place["A", "core"] == 45
    assert by_place["H", "north"] == 56
    page.close()


def test_a_decimal_point_after_the_jump_goes_to_its_number(browser: Browser, address: str) -> None:
    page = _open(browser, address + "/sheet", 1000)
    page.keyboard.type("52.5")  # jumps on after 52, back for the point, on again after the 5
    page.keyboard.type("4848")
    page.keyboard.type(".5")
    assert [page.locator(f"#r{k}").input_value() for k in range(3)] == ["52.5", "48", "48.5"]
    page.locator("#r0").focus()
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "r1"
    page.locator("#unit").select_option("F")
    page.locator("#r0").fill("")
    page.locator("#r0").focus()
    page.keyboard.type("126")
    page.keyboard.type("98")
    assert [page.locator(f"#r{k}").input_value() for k in range(2)] == ["126", "98"]
    page.close()


def test_a_doubtful_number_is_asked_beside_its_field_and_nothing_is_lost(
    browser: Browser, address: str
) -> None:
    page = _open(browser, address + "/sheet", 360)
    page.locator("#when").fill("2026-05-01 07:00")
    page.locator("#r0").fill("140")
    page.locator("#r1").fill("48")
    page.locator("#n0").fill("smelt of ammonia")
    page.get_by_role("button", name="Put it in the book").click()
    page.wait_for_selector(".doubt select")
    assert page.locator("#r0").input_value() == "140"
    assert page.locator("#r1").input_value() == "48"
    assert page.locator("#n0").input_value() == "smelt of ammonia"
    assert page.locator("#when").input_value() == "2026-05-01 07:00"
    _fits(page)
    page.locator(".doubt select").select_option("F")
    page.get_by_role("button", name="Put it in the book").click()
    page.wait_for_selector("text=In the book")
    page.close()


def test_the_ranges_of_a_mix_move_as_you_type(browser: Browser, address: str) -> None:
    page = _open(browser, address + "/plan/mix?materials=6 barrows arborist chips")
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    before = page.locator("#lead").inner_text()
    drawn = page.locator("svg.span rect").first.get_attribute("x")
    page.locator("#materials").press("Control+End")
    page.keyboard.type("\n3 barrows grass mowings")
    page.wait_for_function(
        "before => document.querySelector('#lead').innerText !== before"
        " && document.querySelector('#answer').innerText.includes('3 x grass mowings')",
        arg=before,
    )
    assert page.locator("svg.span rect").first.get_attribute("x") != drawn
    assert page.locator("#materials").input_value().endswith("3 barrows grass mowings")
    assert faults == []
    page.close()


@pytest.mark.parametrize("width", [360, 1280])
def test_no_page_scrolls_sideways_and_targets_are_large(
    browser: Browser, address: str, width: int
) -> None:
    for place in PAGES:
        page = _open(browser, address + place, width)
        _fits(page)
        page.close()


def _fits(page: Page) -> None:
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    wide, room = page.evaluate(
        "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
    )
    assert wide <= room, page.url
    small = page.evaluate(
        """[...document.querySelectorAll('main button, main .button, main summary, .tap label, '
             + 'main select, main textarea, main .ways a, main input:not([type=hidden])')]
           .filter(e => !['radio', 'checkbox'].includes(e.type))
           .filter(e => e.getBoundingClientRect().height < 43.9)
           .map(e => e.outerHTML.slice(0, 80))"""
    )
    assert small == [], page.url


@pytest.mark.parametrize("dark", [False, True])
def test_text_stands_out_seven_to_one(browser: Browser, address: str, dark: bool) -> None:
    for place in PAGES:
        page = _open(browser, address + place, 768, dark=dark)
        weak = page.evaluate(_WEAK)
        assert weak == [], place
        page.close()


def test_sheet_and_signs_print_on_a4(browser: Browser, address: str) -> None:
    for place, most in (("/plan/sheet", 1), ("/plan/signs", 8)):
        page = _open(browser, address + place, 1000)
        pdf = page.pdf(prefer_css_page_size=True)
        assert len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf)) == most
        boxes = {tuple(float(x) for x in found.split()) for found in
                 re.findall(rb"/MediaBox\s*\[([^\]]*)\]", pdf)}  # fmt: skip
        for _, _, across, down in boxes:
            assert abs(across - 595) < 2
            assert abs(down - 842) < 2
        page.emulate_media(media="print")
        assert not page.locator("nav").is_visible()
        assert not page.locator(".noprint").first.is_visible()
        page.close()


#: elements with text of their own whose contrast with the ground behind them is below 7
#: (contrast as the accessibility guidelines, WCAG 2.1, define it)
_WEAK = """() => {
  const rgb = text => text.match(/[\\d.]+/g).map(Number);
  const light = c => { const [r, g, b] = c.slice(0, 3).map(v => v / 255).map(
    v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const ground = e => { for (; e; e = e.parentElement) {
    const c = rgb(getComputedStyle(e).backgroundColor);
    if (c.length === 3 || c[3] === 1) return c; } return [255, 255, 255]; };
  return [...document.querySelectorAll('main *')].filter(e => e.offsetParent
      && [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
    .map(e => { const a = light(rgb(getComputedStyle(e).color)), b = light(ground(e));
      return [e.outerHTML.slice(0, 80), (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05)]; })
    .filter(([, ratio]) => ratio < 7);
}"""
