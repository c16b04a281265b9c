"""Malformed plans: one clear message, exit code 2, no traceback, an unchanged book."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.flow.commands import Command, dump
from tests.flow.malformed_plans import PLANS

from heapwright.services.plans import example_plan


@pytest.mark.parametrize("case", PLANS, ids=lambda c: c[0])
def test_a_malformed_plan_is_refused_and_the_book_stays_as_it_was(
    case: tuple[str, str, str, str],
    tmp_path: Path,
    command: Command,
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
    command: Command,
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
