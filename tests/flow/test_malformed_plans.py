"""Malformed plans: one clear message, exit code 2, no traceback, and nothing in the book changes."""

from __future__ import annotations

import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from heapwright.cli.main import run
from heapwright.services.plans import example_plan
from tests.flow.malformed_plans import PLANS


def dump(path: Path) -> str:
    """The whole book as SQL text."""
    link = sqlite3.connect(path)
    try:
        return "\n".join(link.iterdump())
    finally:
        link.close()


@pytest.fixture
def command(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str, str]]:
    """Run the command in this process: (exit code, standard output, standard error)."""

    def call(*words: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["heapwright", *words])
        code = 0
        try:
            run()
        except SystemExit as stop:
            code = int(stop.code or 0)
        out, err = capsys.readouterr()
        return code, out, err

    return call


@pytest.mark.parametrize("case", PLANS, ids=lambda c: c[0])
def test_a_malformed_plan_is_refused_and_the_book_stays_as_it_was(
    case: tuple[str, str, str, str],
    tmp_path: Path,
    command: Callable[..., tuple[int, str, str]],
) -> None:
    _, old, new, words = case
    good, bad = tmp_path / "good.toml", tmp_path / "bad.toml"
    good.write_text(example_plan(), encoding="utf-8")
    text = example_plan()
    assert old in text
    bad.write_text(text.replace(old, new, 1), encoding="utf-8")
    assert command("plan", "lock", str(good))[0] == 0
    book = tmp_path / "book.sqlite"
    before = dump(book)
    for verb in ("check", "lock"):
        code, out, err = command("plan", verb, str(bad))
        assert code == 2, err
        assert out == ""
        assert words in err
        assert err.count("\n") == 1
        assert err.startswith("heapwright: ")
        assert str(bad) in err
        assert "Traceback" not in err
    assert dump(book) == before


@pytest.mark.parametrize(
    ("name", "content"),
    [("missing.toml", None), ("binary.toml", b"\xff\xfe\x00\x01[trial]"), ("folder", "folder")],
)
def test_a_file_that_is_no_plan(
    name: str,
    content: bytes | str | None,
    tmp_path: Path,
    command: Callable[..., tuple[int, str, str]],
) -> None:
    path = tmp_path / name
    if content == "folder":
        path.mkdir()
    elif isinstance(content, bytes):
        path.write_bytes(content)
    code, _, err = command("plan", "check", str(path))
    assert code == 2
    assert err.count("\n") == 1
    assert str(path) in err
