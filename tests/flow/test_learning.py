"""``learn``, ``forecast``, ``why`` and ``air`` end to end on a small invented trial."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.flow.commands import Command

from heapwright.inference import fit as fitting
from heapwright.services import learning

PLAN = """
[trial]
name = "Two small heaps"
question = "INVENTED: is a turned heap warmer?"
starts = 2026-05-01
seed = 1
invented = true
[outcome]
decides = "mean_excess_c"
window = "2-20 days"
ends = 2026-05-25
matters = "8 C"
control = "left alone"
[place]
latitude = 51.2
longitude = -2.9
time_zone = "Europe/London"
[barrow]
volume = "90 litres"
[[ingredient]]
name = "shredded apple prunings"
like = "arborist chips green with leaves/twigs"
amount = "16 barrows"
moisture = "50 %"
[[way]]
name = "turned"
kind = "turned"
first_after = "5 days"
every = "14 days"
[[way]]
name = "left alone"
kind = "left alone"
[[heap]]
name = "A"
way = "turned"
volume = "0.7 m3"
shape = "mound"
[[heap]]
name = "B"
way = "left alone"
volume = "0.7 m3"
shape = "mound"
[[spot]]
name = "core"
depth = "45 cm"
position = "top, straight down"
[[spot]]
name = "south"
depth = "30 cm"
position = "south flank, half way up"
[rounds]
every = "1 day"
"""
ROUNDS = {
    "2026-05-02": (24, 21, 20, 18), "2026-05-03": (38, 33, 30, 26),
    "2026-05-04": (47, 41, 38, 33), "2026-05-05": (50, 44, 43, 37),
}  # fmt: skip


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Few possible heaps in coarse cells, so that a test takes seconds."""
    monkeypatch.setattr(learning, "ROUGH", fitting.Settings(0.25, members=16, passes=2))
    monkeypatch.setattr(learning, "cell_of", lambda volume_m3, careful: 0.25)


def _log(command: Command, *words: str) -> None:
    code, _, err = command("log", *words)
    assert code == 0, err


@pytest.fixture
def bare(tmp_path: Path, command: Command, small: None) -> Command:
    """A command on the book of two heaps that were built and never read."""
    (tmp_path / "small.toml").write_text(PLAN, encoding="utf-8")
    code, _, err = command("plan", "lock", str(tmp_path / "small.toml"))
    assert code == 0, err
    for heap in "AB":
        _log(command, "event", "built", heap, "--when", "2026-05-01 09:00")
    return command


@pytest.fixture
def book(bare: Command, monkeypatch: pytest.MonkeyPatch) -> Command:
    """The same, read for four days; the clock stands on the last."""
    for day, (a, b, c, d) in ROUNDS.items():
        _log(bare, "round", f"A {a} {b} B {c} {d} air 12", "--when", f"{day} 09:00")
    monkeypatch.setenv("HEAPWRIGHT_NOW", "2026-05-05T12:00:00+00:00")
    return bare


def _json(command: Command, *words: str) -> dict[str, object]:
    code, out, err = command(*words, "--json")
    assert code == 0, err
    made: dict[str, object] = json.loads(out)
    return made


def test_learn_says_what_was_learned_and_answers_again_at_once(book: Command) -> None:
    found = _json(book, "learn", "--jobs", "1")
    assert found["readings"] == 16
    verdicts = {x["verdict"] for x in found["learned"]}  # type: ignore[attr-defined]
    assert verdicts <= {"learned", "partly", "only prior"}
    assert found == _json(book, "learn", "--jobs", "1")
    code, out, err = book("learn", "--jobs", "1")
    assert code == 0, err
    assert out.startswith("INVENTED DATA")
    assert "Learned from 16 readings of 2 heaps" in out
    assert "rate of the quick matter" in out


def test_a_forecast_is_kept_and_held_against_what_is_read(
    book: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = _json(book, "forecast", "--jobs", "1")
    assert len(first["ahead"]) == 2 * 2 * 7  # type: ignore[arg-type]
    assert first["track"]["n"] == 0  # type: ignore[index]
    assert all(a["low"] < a["mean"] < a["high"] for a in first["ahead"])  # type: ignore[attr-defined]
    assert first["next"]
    code, out, err = book("forecast", "--jobs", "1")
    assert code == 0, err
    assert "nobody knows how good they are" in out
    assert "Most useful next:" in out
    monkeypatch.setenv("HEAPWRIGHT_NOW", "2026-05-09T12:00:00+00:00")
    _log(book, "round", "A 48 42 B 45 39 air 12", "--when", "2026-05-07 09:00")
    _log(
        book, "round", "A 45 40 B 72 38 air 12", "--when", "2026-05-09 09:00",
        "--answer", "B.core=as-written",
    )  # fmt: skip
    later = _json(book, "forecast", "--jobs", "1")
    track = later["track"]
    assert track["n"] == 8  # type: ignore[index]
    missed = [h for h in track["hits"] if not h["inside"]]  # type: ignore[index]
    assert 72 in [h["read"] for h in missed]
    code, out, err = book("forecast", "--jobs", "1")
    assert "Missed on 09 May, heap B, core: I said" in out


def test_a_heap_never_read_is_as_wide_as_it_gets(
    book: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read = {
        a["heap"]: a["high"] - a["low"] for a in _json(book, "forecast", "--jobs", "1")["ahead"]
    }  # type: ignore[attr-defined]
    (tmp_path / "other.toml").write_text(
        PLAN.replace("Two small heaps", "Never read"), encoding="utf-8"
    )
    book("plan", "lock", str(tmp_path / "other.toml"))
    other = ("--trial", "Never read")
    for heap in "AB":
        _log(book, "event", "built", heap, "--when", "2026-05-01 09:00", *other)
    _log(book, "air", "12", "--when", "2026-05-02 09:00", *other)
    code, out, err = book("forecast", "--trial", "Never read", "--jobs", "1")
    assert code == 0, err
    assert "was never read" in out
    assert "No readings yet" in out
    blind = _json(book, "forecast", "--trial", "Never read", "--jobs", "1")
    wide = {a["heap"]: a["high"] - a["low"] for a in blind["ahead"]}  # type: ignore[attr-defined]
    assert wide["A"] > 1.2 * read["A"]


def test_why_names_a_cause_or_says_it_cannot_tell(book: Command) -> None:
    found = _json(book, "why", "a", "B", "--jobs", "1")
    assert (found["one"], found["other"]) == ("A", "B")
    assert found["read_c"] == pytest.approx(7.0, abs=0.6)
    causes = {s["cause"] for s in found["shares"]}  # type: ignore[attr-defined]
    assert {"material", "air path", "water"} <= causes
    assert found["first"] in {None, *causes}
    assert set(found["heat_mj_kg"]) == {"A", "B"}  # type: ignore[call-overload]
    code, out, err = book("why", "A", "B", "--jobs", "1")
    assert code == 0, err
    assert "A read 7 C warmer than B" in out
    code, _, err = book("why", "A", "Z")
    assert code == 2
    assert "Z" in err


def test_air_says_how_sure_it_is_and_draws_it(book: Command, tmp_path: Path) -> None:
    picture = tmp_path / "air.svg"
    code, out, err = book("air", "A", "--out", str(picture), "--jobs", "1")
    assert code == 0, err
    assert "Nobody measured oxygen here" in out
    text = picture.read_text(encoding="utf-8")
    assert "was there enough air?" in text
    assert "Hatched: nobody measured it within 30 cm" in text


def test_exchanged_labels_are_asked_about(bare: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HEAPWRIGHT_NOW", "2026-05-12T12:00:00+00:00")
    for day in range(3, 12):
        a, b = ("24 22", "56 50") if day == 9 else ("56 50", "24 22")
        hurried = ("--answer", "exchange.A.B=as-written") if day == 9 else ()
        _log(bare, "round", f"A {a} B {b} air 12", "--when", f"2026-05-{day:02} 09:00", *hurried)
    found = _json(bare, "learn", "--jobs", "1")
    (asked,) = found["doubted"]  # type: ignore[misc]
    assert "Day 8: A reads 23 where I expected about" in asked
    assert "Exchanged?" in asked
    right = _json(bare, "learn", "--jobs", "1", "--labels-are-right")
    assert right["doubted"] == []
    assert right["readings"] == found["readings"] + 4  # type: ignore[operator]
