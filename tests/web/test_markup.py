"""Markup in names and notes is shown as text, on every page."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from heapwright.domain.entries import Event
from heapwright.domain.when import When
from heapwright.services.doings import log_event
from heapwright.services.log import log_round
from heapwright.services.plans import example_plan, lock_plan
from heapwright.store.book import Book
from heapwright.web.access import Role
from heapwright.web.app import create_app
from heapwright.web.site import Site

EVIL = "<img src=x onerror=alert(1)>"
TRIAL = f"Fern{EVIL}"


@pytest.fixture
def marked(tmp_path: Path) -> str:
    """A book whose names and notes are markup, as far as plans let them be."""
    from datetime import UTC, datetime

    text = example_plan().replace('"Ferncombe 2026"', f'"{TRIAL}"')
    text = text.replace('"left alone"\nkind', f'"way{EVIL}"\nkind')
    text = text.replace('control = "left alone"', f'control = "way{EVIL}"')
    text = text.replace('question = "Does', f'question = "{EVIL} does')
    text = text.replace("shredded apple", f"{EVIL} apple")
    text = text.replace("south flank", EVIL)
    plan = tmp_path / "plan.toml"
    plan.write_text(text, encoding="utf-8")
    book = tmp_path / "marked.sqlite"
    start = datetime(2026, 4, 18, 9, tzinfo=UTC)
    with Book(book) as opened:
        stored = lock_plan(opened, plan, now=start - timedelta(days=1))
        name, heaps = stored.trial.name, [h.name for h in stored.trial.heaps]
        log_event(opened, name, heaps, "built", now=start, who=EVIL, note=EVIL)
        for day in (1, 4):
            now = start + timedelta(days=day)
            line = ", ".join(f"{h} {40 + day}/{38 + day}/{37 + day}" for h in heaps)
            log_round(opened, name, f"air 11, {line}", now=now, reader=EVIL, probe=EVIL)
            when = When.instant(now)
            entry = Event(f"n{day}", name, heaps[1], when, "note", who=EVIL, note=EVIL)
            opened.add([entry], now=now)
    return str(book)


def _paths(site: Site) -> list[str]:
    try:
        from fastapi.routing import iter_route_contexts

        found = list(iter_route_contexts(create_app(site).routes))
    except ImportError:
        found = list(create_app(site).routes)
    return sorted(
        re.sub(r"\{[^}]*\}", "A", r.path) for r in found
        if "GET" in (getattr(r, "methods", None) or ()) and not r.path.startswith("/api/")
    )  # fmt: skip


def test_markup_is_shown_as_text_on_every_page(marked: str, site_of: Callable[..., Site]) -> None:
    site = site_of(marked, here=frozenset({"testclient"}))
    client = TestClient(create_app(site), headers={"accept": "text/html"})
    seen = 0
    for path in [*_paths(site), f"/heaps/{EVIL}", f"/?trial={EVIL}", f"/join?code={EVIL}"]:
        answer = client.get(path)
        assert answer.status_code < 500, path
        if answer.headers.get("content-type", "").startswith("text/html"):
            assert "<img src=x" not in answer.text, path
            seen += "&lt;img src=x" in answer.text
    assert seen >= 2


def test_markup_in_an_error_is_shown_as_text(marked: str, site_of: Callable[..., Site]) -> None:
    site = site_of(marked)
    client = TestClient(create_app(site), headers={"accept": "text/html"})
    cookie = site.door.cookie(Role.HELPER)
    client.cookies.set(site.door.cookie_name(https=False), cookie)
    held = site.door.visitor(cookie)
    assert held is not None
    form = {"trial": EVIL, "what": EVIL, "heaps": EVIL, "token": held.token}
    answer = client.post("/did", data=form)
    assert answer.status_code == 404
    assert "<img" not in answer.text
    assert "&lt;img" in answer.text
