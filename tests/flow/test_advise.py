"""``advise`` end to end on a small INVENTED trial: coarse cells, few possible heaps."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from tests.flow.commands import Command

from heapwright.inference import fit as fitting
from heapwright.planning.diagnosis import Seen
from heapwright.services import learning
from heapwright.services.heapnow import seen_of
from heapwright.services.heapview import heap_view
from heapwright.services.record import load_record
from heapwright.services.settings import open_book

NOW = datetime(2026, 5, 5, 12, tzinfo=UTC)

PLAN = """
[trial]
name = "Two bins"
question = "INVENTED: does turning help?"
starts = 2026-05-01
seed = 1
invented = true
[outcome]
decides = "mean_excess_c"
window = "2-20 days"
ends = 2026-06-10
matters = "8 C"
control = "left alone"
[place]
time_zone = "Europe/London"
[barrow]
volume = "90 litres"
[[ingredient]]
name = "shredded apple prunings"
like = "arborist chips green with leaves/twigs"
amount = "16 barrows"
moisture = "44 %"
[[way]]
name = "turned"
kind = "turned"
first_after = "9 days"
every = "14 days"
[[way]]
name = "left alone"
kind = "left alone"
[[heap]]
name = "A"
way = "turned"
volume = "0.6 m3"
shape = "mound"
[[heap]]
name = "B"
way = "left alone"
volume = "0.6 m3"
shape = "mound"
[[spot]]
name = "core"
depth = "40 cm"
position = "top, straight down"
[[spot]]
name = "south"
depth = "25 cm"
position = "south flank, half way up"
[rounds]
every = "2 days"
"""


@pytest.fixture
def book(tmp_path: Path, command: Command, monkeypatch: pytest.MonkeyPatch) -> Command:
    """A command on the book of two heaps, read twice; the clock stands on the fifth day."""
    monkeypatch.setattr(learning, "ROUGH", fitting.Settings(0.25, members=8, passes=1))
    monkeypatch.setattr(learning, "cell_of", lambda volume_m3, careful: 0.25)
    (tmp_path / "two.toml").write_text(PLAN, encoding="utf-8")
    code, _, err = command("plan", "lock", str(tmp_path / "two.toml"))
    assert code == 0, err
    for words in (
        ("event", "built", "A", "--when", "2026-05-01 09:00"),
        ("event", "built", "B", "--when", "2026-05-01 09:00"),
        ("round", "A 30 26 B 28 25 air 12", "--when", "2026-05-03 09:00"),
        ("round", "A 34 29 B 31 27 air 12", "--when", "2026-05-05 09:00"),
    ):
        code, _, err = command("log", *words)
        assert code == 0, err
    monkeypatch.setenv("HEAPWRIGHT_NOW", "2026-05-05T12:00:00+00:00")
    return command


def _json(command: Command, *words: str) -> dict[str, Any]:
    code, out, err = command(*words, "--jobs", "1", "--json")
    assert code == 0, err
    made: dict[str, Any] = json.loads(out)
    return made


def test_a_dusty_core_gets_litres_minutes_and_what_it_breaks(book: Command) -> None:
    words = ("advise", "b", "--squeeze", "dusty", "--hose", "10 L/25 s", "--days", "7")
    code, out, err = book(*words, "--jobs", "1")
    assert code == 0, err
    lines = out.splitlines()
    assert lines[0].startswith("Open heap B and wet it layer by layer in two goes, about")
    for part in (
        "INVENTED DATA", "minutes of your hose", "heap B is left alone", "opening it would end it",
        "heapwright log event turned B", "What is wrong (dry core)", "too dry inside", "spores",
        "left alone", "turn and wet", "How we know:", "8 of the possible heaps", "24 L/min",
    ):  # fmt: skip
        said = " ".join(out.lower().split())
        assert part.lower() in said, part
    found = _json(book, *words)
    first = found["advice"][0]
    assert first["act"] == "moisten"
    assert first["hose_min"] == pytest.approx(first["litres"] / 24.0, abs=1.0)
    assert found["running_trial"]["control"]
    assert found["diagnosis"]["causes"][0]["name"] == "dry"
    assert found["hose_l_min"] == 24.0
    assert {"turn", "cover"} <= set(found["acts"])
    assert set(found["acts"]["turn"]["changes"]) == set(found["figures"])
    assert found["invented"]


def test_the_plan_comes_first(book: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """On the day of its turn heap A is turned; before it an early turn says what it breaks."""
    early = _json(book, "advise", "A", "--days", "3", "--squeeze", "dusty")
    assert "turns heap A on 10 May" in early["advice"][0]["breaks_trial"]
    monkeypatch.setenv("HEAPWRIGHT_NOW", "2026-05-10T12:00:00+00:00")
    code, _, err = book("log", "round", "A 34 29 B 31 27 air 12", "--when", "2026-05-10 08:00")
    assert code == 0, err
    due = _json(book, "advise", "A", "--days", "3")
    assert due["sentence"].startswith("The plan asks for it now: turn A")
    assert due["advice"][0]["act"] == "turn"
    assert due["advice"][0]["breaks_trial"] == ""


def test_what_cannot_stand_is_said_before_anything_is_learned(book: Command) -> None:
    for words, part in (
        (("advise", "Z"), "A, B"),
        (("advise", "A", "--squeeze", "soggy"), "streams, drops"),
        (("advise", "A", "--smell", "roses"), "earthy"),
        (("advise", "A", "--hose", "strong"), "10 L/25 s"),
    ):
        code, out, err = book(*words)
        assert code == 2, (words, out)
        assert part in err, (words, err)


def test_a_squeeze_and_smell_noted_at_the_heap_are_read_back(book: Command) -> None:
    task = learning.gather(now=NOW)
    assert _seen(task) is None
    for note, when in (
        ("squeeze: dusty", "2026-05-04 09:00"), ("smell: earthy", "2026-05-05 09:00"),
        ("smell: a bit odd", "2026-05-05 10:00"),
    ):  # fmt: skip
        code, _, err = book("log", "event", "note", "B", "--note", note, "--when", when)
        assert code == 0, err
    seen = _seen(task)
    assert seen is not None
    assert (seen.complaint, seen.squeeze_core, seen.smell) == ("dry core", "dusty", "earthy")
    told = _seen(task, squeeze="damp", smell="sour")
    assert told is not None
    assert (told.complaint, told.squeeze_core, told.smell) == ("smells", "damp", "sour")
    code, out, err = book("advise", "B", "--days", "3", "--jobs", "1")
    assert code == 0, err
    lines = " ".join(out.split())
    assert "squeeze dusty, noted on 4 May; smell earthy, noted on 5 May." in lines
    assert "What is wrong (dry core)" in lines
    found = _json(book, "advise", "B", "--days", "3", "--smell", "earthy")
    assert found["noted"] == ["squeeze dusty, noted on 4 May"]
    with open_book(None, create=False) as opened:
        facts = heap_view(opened, "Two bins", "B", now=NOW).facts
    assert (facts["squeeze_core"], facts["smell"]) == ("dusty", "earthy")
    code, _, err = book("log", "event", "turned", "B", "--when", "2026-05-05 11:00")
    assert code == 0, err
    assert _seen(task) is None
    with open_book(None, create=False) as opened:
        assert "squeeze_core" not in heap_view(opened, "Two bins", "B", now=NOW).facts


def _seen(task: learning.Task, squeeze: str | None = None, smell: str | None = None) -> Seen | None:
    with open_book(None, create=False) as opened:
        record = load_record(opened, task.trial)
    return seen_of(task, record, record.heaps["B"], 0.6, squeeze, None, smell, None)
