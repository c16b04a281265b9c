"""The demo runs the main job end to end and says what it should."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.flow.commands import Command

from heapwright.store.book import Book


def test_the_demo_goes_from_plan_to_report(command: Command, tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    code, out, err = command("demo", "--folder", str(folder))
    assert code == 0, err
    assert "INVENTED" in out
    assert "113 C, outside -40 to 95 C" in out
    assert "exchanged: 6 readings corrected" in out
    assert "Nothing is claimed before 18 June 2026" in out
    assert "Heap F was turned on 21 May" in out
    assert "As done, without F" in out
    assert str(folder / "report.html") in out
    page = (folder / "report.html").read_text(encoding="utf-8")
    assert "Invented data" in page
    assert (folder / "work.ics").read_text(encoding="utf-8").startswith("BEGIN:VCALENDAR")
    with Book(folder / "book.sqlite") as book:
        readings = book.current("reading", "Ferncombe 2026")
        assert len(readings) == 17 * 18
        fahrenheit = [r for r in readings if r.typed_unit == "F"]
        assert [(r.typed, round(r.value)) for r in fahrenheit] == [("113", 45)]
        corrected = [r for r in readings if r.trail.action == "corrected"]
        assert {r.heap for r in corrected} == {"A", "F"}
    assert command("demo", "--folder", str(folder))[0] == 0


def test_the_demo_is_the_same_each_time(command: Command, tmp_path: Path) -> None:
    findings = []
    for name in ("one", "two"):
        assert command("demo", "--folder", str(tmp_path / name))[0] == 0
        code, out, _ = command(
            "findings", "Ferncombe 2026", "--json", "--book", str(tmp_path / name / "book.sqlite")
        )
        assert code == 0
        findings.append(json.loads(out)["comparisons"])
    assert findings[0] == findings[1]


def test_a_folder_with_other_things_is_left_alone(command: Command, tmp_path: Path) -> None:
    (tmp_path / "letters.txt").write_text("dear aunt", encoding="utf-8")
    code, _, err = command("demo", "--folder", str(tmp_path))
    assert code == 2
    assert "holds other things" in err
    assert (tmp_path / "letters.txt").read_text() == "dear aunt"


@pytest.mark.parametrize("words", [["findings"], ["report"], ["history"], ["today"]])
def test_an_empty_book_teaches_the_next_step(command: Command, words: list[str]) -> None:
    code, _, err = command(*words)
    assert code == 2
    assert "heapwright" in err
    assert err.count("\n") == 1
