"""What cannot stand: one clear message, exit code 2, no traceback, and the book as it was."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.flow.commands import Command, dump
from tests.flow.malformed_cases import CASES


@pytest.mark.parametrize("case", CASES, ids=lambda c: c[0])
def test_it_is_refused_and_the_book_stays_as_it_was(
    case: tuple[str, bytes, tuple[str, ...], str],
    tmp_path: Path,
    ferncombe: Path,
    command: Command,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    _, sheet, words, part = case
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "sheet.csv"
    path.write_bytes(sheet)
    _, out, _ = command("log", "A 52", "--id", "walk-1", "--when", "1 July 7:10", "--json")
    places = {"SHEET": str(path), "READ": json.loads(out)["ids"][0]}
    before = dump(ferncombe)
    code, out, err = command(*(places.get(w, w) for w in words))
    assert code == 2, err
    assert out == ""
    assert err.startswith("heapwright: ")
    assert err.count("\n") == 1
    assert part in err
    assert "Traceback" not in err
    assert dump(ferncombe) == before


def test_there_are_enough_of_them() -> None:
    assert len(CASES) >= 40
    assert len({c[0] for c in CASES}) == len(CASES)
