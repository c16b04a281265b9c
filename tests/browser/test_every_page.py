"""Every page in a browser: narrow and wide, light and dark, by touch, with nothing from elsewhere.

Conventions: pages are found by walking the app's routes, so that a new one cannot be forgotten;
pictures of all are kept in build/screens for people to look at.
"""

from __future__ import annotations

import itertools
import json
import re
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Error, Page

from heapwright.services.demo import run_demo
from heapwright.web.access import door_of
from heapwright.web.app import create_app
from heapwright.web.certificate import papers_of
from heapwright.web.site import Site

MOMENT = datetime(2026, 6, 21, 8, tzinfo=UTC)
SCREENS = Path(__file__).parents[2] / "build" / "screens"
#: what stands for a parameter in a path
FILLED = {"heap": "A"}
#: documents of their own, made to be printed or kept: no sentence of the app stands first
DOCUMENTS = {"/plan/deal/sheet", "/plan/deal/lots", "/shows/report", "/finish/hygiene/sheet"}
#: rules of axe that are off by default
RULES = {"color-contrast-enhanced": {"enabled": True}, "target-size": {"enabled": True}}


class Yard:
    """A running server: its address, the paths of its pages, what is in its book."""

    def __init__(self, address: str, paths: list[str], kind: str) -> None:
        self.address, self.paths, self.kind = address, paths, kind


def pages_of(app: Any) -> list[str]:
    """Every page that can be asked for without more than a heap's name."""
    try:
        from fastapi.routing import iter_route_contexts

        found = list(iter_route_contexts(app.routes))
    except ImportError:
        found = list(app.routes)
    asks = {
        path for path, about in app.openapi()["paths"].items()
        if any(p["required"] and p["in"] == "query" for p in about.get("get", {}).get(
            "parameters", ()))
    }  # fmt: skip
    html = []
    for route in found:
        path = getattr(route, "path", "") or ""
        names = re.findall(r"\{([a-z_]+)[^}]*\}", path)
        if "GET" not in (getattr(route, "methods", None) or ()) or path in asks:
            continue
        if not path.startswith(("/api/", "/static")) and all(n in FILLED for n in names):
            html.append(re.sub(r"\{([a-z_]+)[^}]*\}", lambda m: FILLED[m[1]], path))
    return sorted(html)


def serving(site: Site) -> Iterator[str]:
    """The address of a server in a thread of its own."""
    config = uvicorn.Config(create_app(site), port=0, log_level="warning", access_log=False)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield f"http://localhost:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join(10)


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Yard]:
    """The invented trial, with a certificate."""
    folder = tmp_path_factory.mktemp("every") / "demo"
    run_demo(folder, say=lambda _="": None)
    book = str(folder / "book.sqlite")
    papers_of(book, "192.168.7.20", now=datetime.now(UTC))
    site = Site(book, door_of(book), now=lambda: MOMENT, lan=True)
    for address in serving(site):
        yield Yard(address, pages_of(create_app(site)), "full")


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Yard]:
    """A book without anything in it."""
    book = str(tmp_path_factory.mktemp("nothing") / "book.sqlite")
    site = Site(book, door_of(book), now=lambda: MOMENT)
    for address in serving(site):
        yield Yard(address, pages_of(create_app(site)), "empty")


#: (book, width, dark): how pages are looked at
LOOKS = [
    ("full", 360, False), ("full", 360, True), ("full", 768, False), ("full", 1280, False),
    ("empty", 360, False), ("empty", 1280, True),
]  # fmt: skip
_TARGETS = """least => [...document.querySelectorAll(
    'a, button, input, select, textarea, summary, [role=button]')]
  .filter(e => e.type !== 'hidden' && !e.closest('svg, .skip') && e.checkVisibility())
  .map(e => {
    const tick = ['checkbox', 'radio'].includes(e.type);
    const named = tick && e.id ? document.querySelector(`label[for="${e.id}"]`) : null;
    const box = (tick ? e.closest('label') || named || e : e).getBoundingClientRect();
    const around = e.tagName === 'A' && getComputedStyle(e).display === 'inline'
      ? e.closest('p, li, td, dd') : null;
    const inText = around && around.textContent.trim() !== e.textContent.trim();
    return [inText || !box.width || box.height >= least - 0.5,
      e.outerHTML.slice(0, 90) + ' ' + Math.round(box.height)];
  }).filter(x => !x[0]).map(x => x[1])"""
_LEVELS = """[...document.querySelectorAll('h1,h2,h3,h4')]
    .filter(e => e.checkVisibility()).map(e => +e.tagName[1])"""
_UNNAMED = """[...document.querySelectorAll('input,select,textarea')]
    .filter(e => e.type !== 'hidden' && !e.labels.length && !e.ariaLabel
      && !e.getAttribute('aria-labelledby')).map(e => e.outerHTML)"""
_WIDTHS = "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"


@dataclass
class Look:
    """What one page was found to be."""

    status: int = 0
    asked: list[str] = field(default_factory=list)
    complained: list[str] = field(default_factory=list)
    widths: tuple[int, int] = (0, 0)
    small: list[str] = field(default_factory=list)
    levels: list[int] = field(default_factory=list)
    sentences: int = 0
    unnamed: list[str] = field(default_factory=list)
    axe: list[str] = field(default_factory=list)


@pytest.fixture(scope="module", params=LOOKS, ids=lambda p: f"{p[0]}-{p[1]}{'-dark' * p[2]}")
def looks(request: pytest.FixtureRequest, browser: Browser) -> dict[str, Look]:
    """Every page of a yard, loaded once and looked at in every respect."""
    kind, width, dark = request.param
    yard: Yard = request.getfixturevalue(kind)
    SCREENS.mkdir(parents=True, exist_ok=True)
    context = browser.new_context(
        viewport={"width": width, "height": 800}, color_scheme="dark" if dark else "light",
        service_workers="block",
    )  # fmt: skip
    found = {}
    for path in yard.paths:
        page = context.new_page()
        look = _look(page, yard, path, thorough=width == 360 or dark)
        if look is not None:
            name = path.strip("/").replace("/", "-") or "today"
            page.screenshot(
                path=SCREENS / f"{name}-{kind}-{width}{'-dark' * dark}.png", full_page=True
            )
            found[path] = look
        page.close()
    context.close()
    return found


def _look(page: Page, yard: Yard, path: str, *, thorough: bool) -> Look | None:
    """Load a page and look at it; None for a file."""
    look = Look()
    page.on("request", lambda r: look.asked.append(r.url))
    page.on("console", lambda m: look.complained.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda e: look.complained.append(str(e)))
    try:
        answer = page.goto(yard.address + path)
    except Error as error:
        if "Download is starting" in str(error):
            return None
        raise
    assert answer is not None
    if not answer.headers.get("content-type", "").startswith("text/html"):
        return None
    look.status = answer.status
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    page.wait_for_timeout(50)
    look.widths = tuple(page.evaluate(_WIDTHS))
    look.small = page.evaluate(_TARGETS, 56 if path == "/round" else 44)
    look.levels, look.unnamed = page.evaluate(_LEVELS), page.evaluate(_UNNAMED)
    look.sentences = page.locator(".lead").count()
    if thorough:
        result = Axe().run(page, options={"resultTypes": ["violations"], "rules": RULES})
        look.axe = [
            f"{v['id']}: {n['target']} {n['any'][0]['message'] if n['any'] else v['help']}"
            for v in result.response["violations"] if v["impact"] in ("serious", "critical")
            for n in v["nodes"]
        ]  # fmt: skip
    return look


def _none(looks: dict[str, Look], what: Callable[[Look], Any]) -> None:
    """No page has *what*; else fail and name all that have."""
    found = {path: said for path, look in looks.items() if (said := what(look))}
    assert not found, json.dumps(found, indent=1)


def test_the_walk_finds_the_pages(full: Yard) -> None:
    assert {"/", "/devices", "/join", "/trust"} <= set(full.paths)


def test_no_page_scrolls_sideways(looks: dict[str, Look]) -> None:
    _none(looks, lambda k: k.widths[0] > k.widths[1] and k.widths)


def test_no_page_asks_elsewhere(looks: dict[str, Look]) -> None:
    own = re.compile(r"(http://localhost:\d+/|data:|blob:)")
    _none(looks, lambda k: [u for u in k.asked if not own.match(u)])


def test_no_page_fails_or_complains(looks: dict[str, Look], request: Any) -> None:
    if "empty" in request.node.name:  # a page may say that there is nothing yet
        _none(looks, lambda k: k.status not in (200, 404, 422) and k.status)
        plain = re.compile("the server responded with a status of 4")
        _none(looks, lambda k: [c for c in k.complained if not plain.search(c)])
    else:
        _none(looks, lambda k: k.status != 200 and k.status)
        _none(looks, lambda k: k.complained)


def test_axe_finds_nothing_serious(looks: dict[str, Look]) -> None:
    _none(looks, lambda k: k.axe)


def test_every_target_is_large_enough_for_a_cold_thumb(looks: dict[str, Look]) -> None:
    _none(looks, lambda k: k.small)


def test_headings_go_down_one_step_at_a_time(looks: dict[str, Look]) -> None:
    def odd(look: Look) -> list[int] | None:
        steps = [b - a for a, b in itertools.pairwise(look.levels)]
        one = look.levels[:1] == [1] and look.levels.count(1) == 1
        return None if one and all(s <= 1 for s in steps) else look.levels

    _none(looks, odd)


def test_every_page_begins_with_a_sentence_and_names_its_fields(looks: dict[str, Look]) -> None:
    own = {path: look for path, look in looks.items() if path not in DOCUMENTS}
    _none(own, lambda k: not k.sentences)
    _none(looks, lambda k: k.unnamed)
