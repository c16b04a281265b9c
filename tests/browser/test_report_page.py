"""The report in a browser: narrow, wide, dark and printed; loads nothing."""

from __future__ import annotations

import importlib.util
import re
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from heapwright.services.report import write_report

_path = Path(__file__).parents[1] / "flow" / "invented.py"
_spec = importlib.util.spec_from_file_location("invented_for_browser", _path)
assert _spec is not None
assert _spec.loader is not None
invented = importlib.util.module_from_spec(_spec)
sys.modules["invented_for_browser"] = invented
_spec.loader.exec_module(invented)

NOW = datetime(2026, 7, 2, 8, tzinfo=UTC)


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("page")
    with invented.invented_book(folder) as book:
        return write_report(book, invented.TRIAL, folder / "r.html", now=NOW).as_uri()


def _open(browser: Browser, address: str, width: int, *, dark: bool = False) -> Page:
    scheme = "dark" if dark else "light"
    page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)  # type: ignore[arg-type]
    page.goto(address)
    return page


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_no_sideways_scrolling_also_with_everything_unfolded(
    browser: Browser, address: str, width: int
) -> None:
    page = _open(browser, address, width)
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    page.check("#see-date")
    sizes = page.evaluate(
        "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
    )
    assert sizes[0] <= sizes[1]
    page.close()


def test_nothing_is_asked_from_any_network_and_nothing_fails(
    browser: Browser, address: str
) -> None:
    asked: list[str] = []
    faults: list[str] = []
    page = browser.new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: faults.append(message.text))
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(address)
    page.wait_for_timeout(200)
    assert asked == [address]
    assert faults == []
    page.close()


def test_one_switch_changes_between_age_and_date(browser: Browser, address: str) -> None:
    page = _open(browser, address, 1280)
    assert page.locator("figure.by-age").is_visible()
    assert not page.locator("figure.by-date").is_visible()
    page.check("#see-date")
    assert page.locator("figure.by-date").is_visible()
    assert not page.locator("figure.by-age").is_visible()
    page.close()


def test_a_dot_leads_to_the_row_of_its_round(browser: Browser, address: str) -> None:
    page = _open(browser, address, 1280)
    assert not page.locator("#round-3").is_visible()
    page.locator('figure.by-age .wide a[href="#round-3"]').first.dispatch_event("click")
    page.wait_for_timeout(200)
    assert page.locator("#round-3").is_visible()
    page.close()


def test_a_phone_gets_the_narrow_figures_in_letters_that_can_be_read(
    browser: Browser, address: str
) -> None:
    page = _open(browser, address, 360)
    assert page.locator("figure.by-age .narrow svg").is_visible()
    assert not page.locator("figure.by-age .wide svg").is_visible()
    smallest = page.evaluate(
        """Math.min(...[...document.querySelectorAll('.narrow svg')]
             .filter(s => s.getBoundingClientRect().width)
             .flatMap(s => [...s.querySelectorAll('text')]
             .map(t => parseFloat(t.style.fontSize) * s.getBoundingClientRect().width
                  / s.viewBox.baseVal.width)))"""
    )
    assert smallest >= 10
    assert page.evaluate("getComputedStyle(document.body).fontSize") == "18px"
    for target in page.locator(".switch label, nav a, summary").all():
        box = target.bounding_box()
        assert box is not None
        assert box["height"] >= 44
    page.close()


@pytest.mark.parametrize("dark", [False, True])
def test_text_stands_out_seven_to_one(browser: Browser, address: str, dark: bool) -> None:
    page = _open(browser, address, 768, dark=dark)
    ground = _rgb(page, "document.body", "backgroundColor")
    for selector in ("body", ".soft", ".invented", "summary", "nav a", "figcaption", ".trial"):
        ink = _rgb(page, f"document.querySelector('{selector}')", "color")
        assert _contrast(ink, ground) >= 7, selector
    paper = _rgb(page, "document.querySelector('figure svg')", "backgroundColor")
    assert min(paper) > 240
    page.close()


def test_printed_it_is_a_few_pages_with_both_views(
    browser: Browser, address: str, tmp_path: Path
) -> None:
    page = _open(browser, address, 768)
    pdf = page.pdf(path=tmp_path / "r.pdf", prefer_css_page_size=True)
    pages = len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))
    assert 3 <= pages <= 10
    page.emulate_media(media="print")
    assert page.locator("figure.by-age .wide svg").is_visible()
    assert page.locator("figure.by-date .wide svg").is_visible()
    assert not page.locator("nav").is_visible()
    page.close()


def _rgb(page: Page, element: str, which: str) -> tuple[float, ...]:
    text = page.evaluate(f"getComputedStyle({element}).{which}")
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
