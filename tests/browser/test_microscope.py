"""A field counted on an own picture in a browser, by taps and by keys; the picture is invented."""

from __future__ import annotations

import itertools
import math
import socket
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
import uvicorn
from PIL import Image, ImageDraw
from playwright.sync_api import Browser, Page, sync_playwright

from heapwright.domain.entries import Sample
from heapwright.services.demo import run_demo
from heapwright.store.book import Book
from heapwright.web.access import door_of
from heapwright.web.app import create_app
from heapwright.web.site import Site

NOW = datetime(2026, 6, 21, 8, tzinfo=UTC)
TRIAL = "Ferncombe 2026"
#: the drawn field: 0.25 um a pixel, so that the bar of 400 pixels is 100 um
SIZE, UM = (1200, 900), 0.25
BAR = ((100, 840), (500, 840))
CELLS = ((200, 200), (340, 620), (700, 150), (950, 480), (1080, 760))
HYPHA = ((150, 420), (420, 380), (640, 520), (1000, 300))
WIDE = 16


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """A server on a free port with the invented trial, and its book."""
    folder = tmp_path_factory.mktemp("yard")
    run_demo(folder / "demo", say=lambda _="": None)
    book = folder / "demo" / "book.sqlite"
    app = create_app(Site(str(book), door_of(str(book)), now=lambda: NOW))
    listening = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_level="error"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    until = time.monotonic() + 20
    while not server.started and time.monotonic() < until:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{listening.getsockname()[1]}", book
    server.should_exit = True
    thread.join(20)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as play:
        made = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        yield made
        made.close()


@pytest.fixture(scope="module")
def picture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An invented field: five cells, one hypha, a scale bar."""
    made = Image.new("RGB", SIZE, "#e9e2d0")
    pen = ImageDraw.Draw(made)
    pen.line(HYPHA, fill="#5b6b4f", width=WIDE, joint="curve")
    for x, y in CELLS:
        pen.ellipse((x - 6, y - 4, x + 6, y + 4), fill="#33402c")
    pen.line(BAR, fill="#000000", width=6)
    path = tmp_path_factory.mktemp("field") / "field.png"
    made.save(path)
    return path


def _opened(browser: Browser, address: str, picture: Path, width: int) -> Page:
    page = browser.new_page(viewport={"width": width, "height": 900})
    page.goto(f"{address}/finish/microscope/count?heap=A")
    page.set_input_files("#picture", picture)
    page.wait_for_selector("#field[width='1200']")
    return page


def _tap(page: Page, kind: str, spots: object) -> None:
    """Taps on the picture, at places of the picture itself."""
    page.check(f"input[name=mark][value={kind}]")
    canvas = page.locator("#field")
    for x, y in spots:  # type: ignore[attr-defined]
        canvas.scroll_into_view_if_needed()
        box = canvas.bounding_box()
        assert box is not None
        scale = box["width"] / SIZE[0]
        canvas.click(position={"x": x * scale, "y": y * scale})


def _long() -> float:
    """Length of the drawn hypha [mm]."""
    return sum(math.dist(a, b) for a, b in itertools.pairwise(HYPHA)) * UM / 1000


def _mark(page: Page) -> None:
    page.fill("#known", "100 um")
    _tap(page, "scale", BAR)
    _tap(page, "cell", [*CELLS, (60, 60)])
    page.click("#undo")
    _tap(page, "point", HYPHA)
    page.click("#end")
    (ax, ay), (bx, by) = HYPHA[0], HYPHA[1]
    along = math.dist(HYPHA[0], HYPHA[1])
    mx, my = (ax + bx) / 2, (ay + by) / 2
    ox, oy = (ay - by) / along * WIDE / 2, (bx - ax) / along * WIDE / 2
    _tap(page, "thick", [(mx + ox, my + oy), (mx - ox, my - oy)])


@pytest.mark.parametrize("width", [360, 1280])
def test_a_picture_is_counted_and_the_book_has_its_length(
    browser: Browser, yard: tuple[str, Path], picture: Path, width: int
) -> None:
    address, book = yard
    asked: list[tuple[str, str]] = []
    page = _opened(browser, address, picture, width)
    page.on("request", lambda r: asked.append((r.method, r.url)))
    _mark(page)
    said = page.inner_text("#said")
    assert "5 cells" in said
    page.click("#add")
    assert page.input_value("#m-fields").startswith("5 cells; ")
    assert float(page.input_value("#m-field").split()[0]) == pytest.approx(
        SIZE[0] * SIZE[1] * (UM / 1000) ** 2, rel=0.02
    )
    page.fill("#m-note", f"{page.input_value('#m-note')}; at {width}")
    page.click("text=Put it in the book")
    page.wait_for_selector("#kept")
    # the picture never left the browser
    assert [m for m, _ in asked if m == "POST"] == ["POST"]
    assert not any(u.endswith(".png") for _, u in asked)
    kept = [s for s in _samples(book) if s.note.endswith(f"at {width}")]
    by_kind = {s.quantity: s.value for s in kept}
    assert by_kind["microbes"] == 5
    assert by_kind["hyphae_mm"] == pytest.approx(_long(), rel=0.02)
    # two taps across 16 pixels: on a phone half a pixel of the screen is a tenth of that
    assert by_kind["hypha_um"] == pytest.approx(WIDE * UM, rel=0.05 if width > 1000 else 0.2)
    assert "field.png" in kept[0].note
    page.close()


def test_without_a_scale_there_is_no_length_and_without_a_picture_nothing(
    browser: Browser, yard: tuple[str, Path], picture: Path
) -> None:
    address, _ = yard
    page = browser.new_page(viewport={"width": 360, "height": 800})
    page.goto(f"{address}/finish/microscope/count")
    page.click("#add")
    assert "Open a picture first" in page.inner_text("#fault")
    page.set_input_files("#picture", {"name": "a.png", "mimeType": "image/png", "buffer": b"no"})
    page.wait_for_selector("#fault:has-text('not a picture')")
    page.set_input_files("#picture", picture)
    page.wait_for_selector("#field[width='1200']")
    page.click("#add")
    assert "Mark what is in it" in page.inner_text("#fault")  # an empty field is not a zero
    _tap(page, "point", HYPHA[:2])
    page.click("#add")
    assert "only with a scale" in page.inner_text("#fault")
    assert page.input_value("#m-fields") == ""
    _tap(page, "scale", BAR)
    page.fill("#known", "wide")
    page.click("#add")
    assert "how long the known distance is" in page.inner_text("#fault")
    page.fill("#known", "0,1 mm")
    page.check("#looked-cells")
    page.click("#add")
    assert page.input_value("#m-fields").startswith("0 cells; 0.06")
    page.click("#add")
    assert "Mark what is in it" in page.inner_text("#fault")
    page.close()


def test_marks_are_set_with_the_keyboard(
    browser: Browser, yard: tuple[str, Path], picture: Path
) -> None:
    address, _ = yard
    page = _opened(browser, address, picture, 1280)
    page.check("input[name=mark][value=cell]")
    page.focus("#field")
    for key in ("Enter", "ArrowLeft", "Shift+ArrowUp", "Enter", "ArrowDown", "Enter", "Backspace"):
        page.keyboard.press(key)
    assert page.inner_text("#said").startswith("no scale yet")
    assert "2 cells" in page.inner_text("#said")
    page.check("input[name=mark][value=point]")
    page.focus("#field")
    for key in ("Enter", "ArrowRight", "ArrowRight", "Enter", "e"):
        page.keyboard.press(key)
    assert "hypha 1" in page.inner_text("#said")
    assert "goes on" not in page.inner_text("#said")
    page.close()


@pytest.mark.parametrize("width", [360, 1280])
def test_it_fits_the_screen_at_any_size_and_targets_are_large(
    browser: Browser, yard: tuple[str, Path], picture: Path, width: int
) -> None:
    page = _opened(browser, yard[0], picture, width)
    for _ in range(3):
        page.click("#closer")
    wide = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert wide[0] <= wide[1]
    small = page.evaluate(
        """[...document.querySelectorAll('main button, main .tap label, main select, '
             + 'main input:not([type=hidden]):not([type=checkbox]):not([type=radio])')]
             .filter(e => e.getClientRects().length && e.getBoundingClientRect().height < 43.5)
             .map(e => e.outerHTML.slice(0, 120))"""
    )
    assert small == []
    page.close()


def _samples(book: Path) -> list[Sample]:
    with Book(book) as opened:
        return [s for s in opened.current("sample", TRIAL)
                if s.quantity in ("microbes", "hyphae_mm", "hypha_um")]  # fmt: skip
