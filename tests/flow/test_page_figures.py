"""What stands on a page is what its command says: figure by figure, page by page."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.flow.commands import Command
from tests.flow.test_web_pages import TRIAL, book, client, finished, page, said
from tests.web.test_access import routes

__all__ = ["book", "client", "finished"]

#: data without a command that asks the same: what they are instead
NO_COMMAND = {
    "/api/openapi.json": "describes the routes",
    "/api/jobs": "the list of calculations; each answer is its command's (test_web_jobs)",
    "/api/jobs/A": "one of them",
    "/api/round": "what a phone takes along: heaps, spots, last readings (test_field_log)",
    "/api/finish": "the answers of the rooms of finish, each held against its command",
    "/api/heaps": "lines of the history (below)",
    "/api/heaps/A": "the history of a heap (below)",
    "/api/trial": "curves of the history (test_web_pages)",
}
#: data with a command, and where it is held against it
HELD = {
    "/api/today": "test_web_pages", "/api/history": "test_web_pages",
    "/api/findings": "test_web_pages", "/api/diagnose": "test_web_pages",
    "/api/start": "test_web_start", "/api/plan": "test_web_start",
    "/api/plan/reach": "test_web_start", "/api/calendar": "test_web_start",
    "/api/deal": "test_web_start", "/api/water": "test_web_sums", "/api/size": "test_web_sums",
    "/api/barrow": "test_web_sums", "/api/spread": "test_web_sums",
    "/api/finish/tests": "test_finish_tests", "/api/finish/blind": "test_finish_tests",
    "/api/hygiene": "test_hygiene_heaps",
    "/api/use": "test_use", "/api/cautions": "test_use",
    "/api/balance": "test_balance", "/api/microscope": "test_microscope",
    "/api/pictures": "test_pictures",
}  # fmt: skip


def test_every_data_route_has_its_command_or_a_reason(client: TestClient) -> None:
    found = {path for method, path in routes(client.app) if method == "GET"}  # type: ignore[arg-type]
    assert {p for p in found if p.startswith("/api/")} == HELD.keys() | NO_COMMAND.keys()
    for where in set(HELD.values()):
        text = (Path(__file__).parent / f"{where}.py").read_text(encoding="utf-8")
        names = [path.removeprefix("/api/") for path, held in HELD.items() if held == where]
        assert all(name in text for name in names), where


def _reach(x: Any) -> Iterator[str]:
    for s in x["splits"]:
        yield f"{s['each']} {s['half_width_c']:.1f} {s['detectable_c']:.1f} {s['found']:.0%}"\
            .replace("%", " %") + f" {s['floor']:.2g}"  # fmt: skip


def _calendar(x: Any) -> Iterator[str]:
    turns = [t for t in x["tasks"] if t["kind"] == "turn" and t["heaps"] == ["A"]]
    assert turns
    for task in turns:
        yield task["due"]
    total = sum(t["minutes"]["typical"] for t in x["tasks"]) / 60
    yield f"about {total:.0f} hours in all"


def _today(x: Any) -> Iterator[str]:
    yield x["sentence"]
    for item in (*x["due"], *x["missed"]):
        yield item["title"]
        yield f"{item['state']}, about {item['minutes']['typical']:.0f} minutes"
        yield item["skipping_costs"]


def _findings(x: Any) -> Iterator[str]:
    for comparison in x["comparisons"]:
        yield from re.split(r"(?<=[.])\s+(?=[A-Z])", comparison["headline"])
        yield f"Claim: {comparison['claim']}"
    yield x["fair_start"]["sentence"]


def _plan(x: Any) -> Iterator[str]:
    yield x["fingerprint"]
    yield x["locked"]["question"]
    for _, way in x["locked"]["ways"]:
        yield way
    yield x["locked"]["ends"]


@pytest.mark.parametrize(
    ("where", "words", "shown"),
    [
        ("/plan/reach", ("plan", "reach", "PLAN"), _reach),
        ("/plan/calendar", ("calendar", TRIAL), _calendar),
        ("/", ("today", TRIAL), _today),
        ("/shows", ("findings", TRIAL), _findings),
        ("/plan", ("plan", "show"), _plan),
    ],
)
def test_figures_of_a_page_are_those_of_its_command(
    client: TestClient, command: Command, book: Path, finished: Path,
    where: str, words: tuple[str, ...], shown: Callable[[Any], Iterator[str]],
) -> None:  # fmt: skip
    plan = str(finished.parent / "plan.toml")
    if "PLAN" in words:
        code, out, err = command(*(plan if w == "PLAN" else w for w in words), "--json")
        assert code == 0, err
        numbers = json.loads(out)
    else:
        numbers = said(command, book, *words)
    text = _seen(page(client, where))
    for line in shown(numbers):
        assert " ".join(line.split()) in text, (line, text[:4000])


def test_a_heap_shows_every_reading_that_the_history_counts(
    client: TestClient, command: Command, book: Path
) -> None:
    rows = [
        r for r in said(command, book, "history", "--heap", "B")
        if r["current"] and r["kind"] == "reading"
    ]  # fmt: skip
    found = client.get("/api/heaps/B").json()
    assert {r["id"] for r in found["read"]} == {r["id"] for r in rows}
    text = _seen(page(client, "/heaps/B"))
    for row in rows:
        assert row["what"].removeprefix("B ") in text


def _seen(text: str) -> str:
    """The words of a page, spaces made one."""
    bare = re.sub(r"<(style|script)\b.*?</\1>|<[^>]+>", " ", text, flags=re.DOTALL)
    return " ".join(html.unescape(bare).split())
