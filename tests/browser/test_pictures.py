"""A picture marked by taps and by keys in a browser, read and kept; a photo taken by its outline.

All pictures are drawn by the test and invented.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright
from tests.reference.drawn import WARM, as_file, cast_on, discs

from heapwright.science.pictures import chart
from heapwright.services.plans import example_plan, lock_text
from heapwright.store.book import Book
from heapwright.web.access import door_of
from heapwright.web.app import create_app
from heapwright.web.site import Site

NOW = datetime(2026, 6, 2, 9, tzinfo=UTC)
TRIAL = "Ferncombe 2026"  # invented
RULES = {"color-contrast-enhanced": {"enabled": True}, "target-size": {"enabled": True}}
WIDE, HIGH = 1200, 900


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("pictures") / "book.sqlite"
    with Book(str(path)) as opened:
        lock_text(opened, example_plan(), now=NOW)
    return path


@pytest.fixture(scope="module")
def address(book: Path) -> Iterator[str]:
    site = Site(str(book), door_of(str(book)), now=lambda: NOW)
    server = uvicorn.Server(uvicorn.Config(create_app(site), port=0, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield f"http://localhost:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join(10)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as play:
        made = play.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=["--no-sandbox", "--use-fake-device-for-media-stream",
                  "--use-fake-ui-for-media-stream"],
        )  # fmt: skip
        yield made
        made.close()


def _open(browser: Browser, at: str) -> Page:
    page = browser.new_page(viewport={"width": 360, "height": 800})
    page.goto(at)
    return page


def _fit(page: Page) -> None:
    """Nothing is wider than the screen, and axe has nothing against the page."""
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    found = Axe().run(page, options={"rules": RULES})
    assert found.response["violations"] == [], found.generate_report()


def _tap(page: Page, x: float, y: float) -> None:
    """A tap at a place of the picture, in its own pixels."""
    picture = page.locator(".sight img")
    box = picture.bounding_box()
    assert box is not None
    picture.click(position={"x": x * box["width"] / WIDE, "y": y * box["height"] / HIGH})


def _send(page: Page, file: Path, what: str) -> None:
    page.set_input_files("#p-file", file)
    page.check(f"input[name=what][value={what}]")
    page.get_by_role("button", name="Send it").click()
    page.wait_for_function("document.querySelector('.sight img').complete")


def test_colour_by_four_taps_is_read_and_kept(
    browser: Browser, address: str, book: Path, tmp_path: Path
) -> None:
    linear = np.full((HIGH, WIDE, 3), np.array(chart()[0].light))
    linear[100:300, 100:400] = 0.88
    file = tmp_path / "heap.jpg"
    file.write_bytes(as_file(cast_on(linear, WARM), "JPEG"))
    page = _open(browser, address + "/finish/pictures")
    _fit(page)
    _send(page, file, "colour")
    _tap(page, 380, 120)
    assert page.locator("#marked").inner_text() == "1 more"
    _tap(page, 120, 280)  # corners in any order
    page.check("input[name=mark][value=area]")
    _tap(page, 500, 400)
    _tap(page, 1100, 800)
    page.get_by_role("button", name="Read it").click()
    said = page.locator("#read + p").inner_text()
    assert said.startswith("The place marked is L* 37."), said
    _fit(page)
    page.select_option("#k-heap", "B")
    page.get_by_role("button", name="Put it in the book").click()
    assert page.locator("#kept").is_visible()
    with Book(str(book)) as opened:
        kept = {s.quantity: s.value for s in opened.current("sample", TRIAL, heap="B")}
    assert kept["colour_l"] == pytest.approx(chart()[0].lab[0], abs=1.0)
    page.close()


def test_a_scale_is_marked_by_keyboard_and_a_closer_look_changes_no_mark(
    browser: Browser, address: str, tmp_path: Path
) -> None:
    drawn = discs([40.0] * 24, columns=8)
    whole = np.full((HIGH, WIDE), 0.9)
    whole[: drawn.shape[0], : drawn.shape[1]] = drawn
    file = tmp_path / "pieces.png"
    file.write_bytes(as_file(np.repeat((whole * 255).astype(np.uint8)[..., None], 3, axis=-1)))
    page = _open(browser, address + "/finish/pictures")
    _send(page, file, "size")
    page.get_by_role("button", name="Read it").click()
    assert "no scale is marked" in page.locator("#p-wrong").inner_text()
    page.focus(".sight")
    for _ in range(10):  # 24 px each
        page.keyboard.press("ArrowDown")
    for _ in range(10):
        page.keyboard.press("ArrowLeft")
    page.keyboard.press("Enter")
    for _ in range(20):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    assert page.input_value("#m-ends") == "360,690,840,690"
    page.get_by_role("button", name="Closer").click()
    page.check("input[name=mark][value=area]")
    _tap(page, 2, 2)
    _tap(page, drawn.shape[1], drawn.shape[0])
    x, y, w, h = (float(v) for v in page.input_value("#m-area").split(","))
    assert (x, y) == pytest.approx((2, 2), abs=4)
    assert (w, h) == pytest.approx((drawn.shape[1] - 2, drawn.shape[0] - 2), abs=6)
    page.fill("#m-scale", "120 mm")
    page.get_by_role("button", name="Read it").click()
    said = page.locator("#read + p").inner_text()
    assert "finer than 10 mm" in said or "finer than 9.9 mm" in said, said
    assert page.locator("figure svg image").is_visible()
    _fit(page)
    page.close()


def test_the_outline_of_the_last_photo_lies_over_the_camera(
    browser: Browser, address: str, book: Path, tmp_path: Path
) -> None:
    view = np.full((300, 400, 3), 200, dtype=np.uint8)
    view[120:260, 100:300] = (80, 60, 40)
    file = tmp_path / "view.jpg"
    file.write_bytes(as_file(view, "JPEG"))
    page = _open(browser, address + "/finish/pictures/pair?heap=C")
    assert page.locator("#outline").count() == 0
    page.set_input_files("#p-file", file)
    assert page.locator("#seen").is_visible()
    page.get_by_role("button", name="Put it in the book").click()
    page.wait_for_selector("#kept")
    page.get_by_role("button", name="Open the camera").click()
    page.get_by_role("button", name="Take it").wait_for()
    over, under = (page.locator(s).bounding_box() for s in ("#outline", "#stand video"))
    assert over is not None
    assert under is not None
    assert over["y"] == pytest.approx(under["y"], abs=1)
    assert over["width"] == pytest.approx(under["width"], abs=1)
    _fit(page)
    page.uncheck("#lines")
    assert not page.locator("#outline").is_visible()
    page.get_by_role("button", name="Take it").click()
    page.locator("#seen").wait_for()
    page.get_by_role("button", name="Put it in the book").click()
    page.wait_for_selector(".pair figure:nth-child(2)")
    with Book(str(book)) as opened:
        photos = [e for e in opened.current("event", TRIAL, heap="C") if e.what == "photo"]
    assert len(photos) == 2
    page.close()
