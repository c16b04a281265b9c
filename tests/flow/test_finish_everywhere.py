"""Finish and use by command, by page and in the report: the same words in all three."""

from __future__ import annotations

import html
import json
import re
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from tests.flow.commands import Command
from tests.flow.test_web_pages import TRIAL, client_of, finished, page

from heapwright.web.finish import ROOMS

__all__ = ["finished"]

NOW = datetime(2026, 6, 21, 8, tzinfo=UTC)
#: INVENTED tests of the end, by heap
TESTS = (
    ("A", "reheating", "peak 46 C, air 22 C"), ("B", "reheating", "peak 28 C, air 21 C"),
    ("A", "germination index", "18/20 24 mm, control 20/20 30 mm"),
    ("B", "germination index", "19/20 29 mm, control 20/20 30 mm"),
    ("A", "ammonia", "530 ppm"), ("A", "nitrate", "7.5 ppm"),
    ("A", "mass", "310 kg"), ("A", "moisture", "52 %"), ("A", "ash", "31 %"),
)  # fmt: skip
#: command, its page, and its data
ANSWERS = (
    (("finish", "heap"), "/finish/tests", "/api/finish/tests"),
    (("balance",), "/finish/balance", "/api/balance"),
    (("hygiene", "--rule", "us_pfrp"), "/finish/hygiene?rule=us_pfrp",
     "/api/hygiene?rule=us_pfrp"),
    (("use",), "/finish/use", "/api/use"),
    (("microscope",), "/finish/microscope", "/api/microscope"),
)  # fmt: skip


@pytest.fixture
def book(finished: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: Command) -> Path:
    """The invented trial with tests of its end."""
    monkeypatch.setenv("HEAPWRIGHT_NOW", NOW.isoformat())
    made = Path(shutil.copy(finished, tmp_path / "book.sqlite"))
    for heap, what, typed in TESTS:
        code, _, err = command("log", "sample", heap, what, typed, "--book", str(made))
        assert code == 0, (what, err)
    for field in ("12 cells; 0.4 mm at 4 um", "9 cells; 0.2 mm at 3 um", "15 cells; no hyphae"):
        code, _, err = command(
            "microscope", "A", "--field", field, "--size", "0.45 mm", "--book", str(made)
        )
        assert code == 0, err
    return made


def seen(text: str) -> str:
    bare = re.sub(r"<(style|script)\b.*?</\1>|<[^>]+>", " ", text, flags=re.DOTALL)
    return " ".join(html.unescape(bare).split())


def test_command_page_and_report_say_the_same(book: Path, command: Command) -> None:
    client: TestClient = client_of(book)
    report = seen(page(client, "/shows/report"))
    whole = client.get("/api/finish").json()
    assert whole
    for words, where, data in ANSWERS:
        code, out, err = command(*words, "--json", "--book", str(book))
        assert code == 0, (words, err)
        said = json.loads(out)
        assert client.get(data).json() == said, words
        parts = said if isinstance(said, list) else [said]
        shown = seen(page(client, where))
        for part in parts:
            assert part["words"], words
            first = " ".join(part["words"][0].split()).rstrip(".")
            assert first in shown, (where, first)
    for part in whole:
        for line in part["words"]:
            assert " ".join(line.split()).rstrip(".") in report, (part["title"], line)
    assert "it is still rotting" in report or "not done" in report.lower()


def test_every_room_opens_and_is_linked(book: Path) -> None:
    client = client_of(book)
    hub = page(client, f"/finish?trial={TRIAL}")
    for where, name, _ in ROOMS:
        assert name in hub
        assert f'href="{where}' in hub
        assert page(client, where)
