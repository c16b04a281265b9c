"""Calculations beside the server: progress, cancel, going on, restart, and one real small fit."""

from __future__ import annotations

import json
import os
import re
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.flow.commands import Command
from tests.flow.test_learning import PLAN, ROUNDS

from heapwright.inference import fit as fitting
from heapwright.services import learning
from heapwright.web.access import door_of
from heapwright.web.app import create_app
from heapwright.web.board import Board, Job
from heapwright.web.site import Site

NOW = datetime(2026, 5, 5, 12, tzinfo=UTC)
#: a calculation of steps that are kept one by one, as a fit keeps its passes in the book
FAKE = """
import os, time
from pathlib import Path
from heapwright.errors import NotEnoughError

def run(kind, args, *, book, now, tell, workers):
    if kind == "fail":
        raise NotEnoughError("nothing was read", field="heap", value=args["heap"])
    if kind == "fault":
        raise ZeroDivisionError("an inside that nobody shall see")
    if kind == "die":
        os._exit(9)
    kept = Path(book + ".steps")
    steps = int(args["steps"])
    for n in range(len(kept.read_text()) if kept.exists() else 0, steps):
        time.sleep(float(args["each"]))
        with kept.open("a") as file:
            file.write("x")
        tell(n + 1, steps)
    return {"words": [f"{steps} steps"], "grids": [], "known": [], "picture": "",
            "invented": True, "numbers": {"now": now, "pid": os.getpid()}}

def small(kind, args, **more):
    from heapwright.inference import fit as fitting
    from heapwright.services import calculating, learning
    learning.ROUGH = fitting.Settings(0.25, members=16, passes=2)
    learning.cell_of = lambda volume_m3, careful: 0.25
    return calculating.calculate(kind, args, **more)
"""


@pytest.fixture
def make(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Board]]:
    """Boards on one invented book, ended after the test."""
    (tmp_path / "invented_work.py").write_text(FAKE, encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    made: list[Board] = []

    def board(what: str = "invented_work:run") -> Board:
        made.append(Board(str(tmp_path / "book.sqlite"), what=what))
        return made[-1]

    yield board
    for one in made:
        one.close()
    sys.modules.pop("invented_work", None)


def until(seen: Callable[[], bool], seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while not seen():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.05)


def ended(board: Board, job: Job, seconds: float = 60.0) -> Job:
    until(lambda: board.job(job.id).ended, seconds)
    return board.job(job.id)


def test_it_tells_how_far_it_is_and_keeps_its_answer(make: Callable[..., Board]) -> None:
    board = make()
    job = board.ask("steps", {"steps": "6", "each": "0.3"}, now=NOW)
    assert board.ask("steps", {"each": "0.3", "steps": "6"}, now=NOW).id == job.id
    assert board.result(job.id) is None
    until(lambda: 0 < board.job(job.id).done < 6)
    assert board.job(job.id).total == 6
    assert ended(board, job).state == "done"
    answer = board.result(job.id)
    assert answer is not None
    assert answer["words"] == ["6 steps"]
    assert answer["numbers"]["now"] == str(NOW)
    assert answer["numbers"]["pid"] != os.getpid()
    board.close()
    later = make()
    assert later.result(job.id) == answer
    assert later.ask("steps", {"steps": "6", "each": "0.3"}, now=NOW).id != job.id


def test_a_cancelled_one_ends_at_once_and_goes_on_where_it_was(
    make: Callable[..., Board], tmp_path: Path
) -> None:
    board = make()
    job = board.ask("steps", {"steps": "40", "each": "0.2"}, now=NOW)
    waits = board.ask("steps", {"steps": "41", "each": "0"}, now=NOW)
    until(lambda: board.job(job.id).done >= 2)
    assert board.job(waits.id).state == "waiting"
    board.cancel(waits.id)
    begun = time.monotonic()
    assert board.cancel(job.id).state == "cancelled"
    assert time.monotonic() - begun < 5
    kept = len((tmp_path / "book.sqlite.steps").read_text())
    assert 2 <= kept < 40
    time.sleep(0.6)
    assert len((tmp_path / "book.sqlite.steps").read_text()) == kept
    assert board.job(waits.id).state == "cancelled"
    (tmp_path / "book.sqlite.steps").write_text("x" * 38)
    assert board.again(job.id).state in ("waiting", "running")
    assert ended(board, job).state == "done"
    assert len((tmp_path / "book.sqlite.steps").read_text()) == 40


def test_a_restart_goes_on_and_loses_no_finished_part(
    make: Callable[..., Board], tmp_path: Path
) -> None:
    board = make()
    job = board.ask("steps", {"steps": "12", "each": "0.3"}, now=NOW)
    until(lambda: board.job(job.id).done >= 2)
    board.close()
    steps = tmp_path / "book.sqlite.steps"
    kept = len(steps.read_text())
    assert kept < 12
    time.sleep(0.8)
    assert len(steps.read_text()) == kept
    later = make()
    assert ended(later, job).state == "done"
    assert later.job(job.id).tries == 2
    assert len(steps.read_text()) == 12


def test_why_one_failed_is_said_without_its_inside(make: Callable[..., Board]) -> None:
    board = make()
    failed = ended(board, board.ask("fail", {"heap": "A"}, now=NOW))
    assert (failed.state, failed.error) == ("failed", "heap = A: nothing was read.")
    for kind in ("fault", "die"):
        fault = ended(board, board.ask(kind, {}, now=NOW))
        assert fault.state == "failed"
        assert "nobody shall see" not in fault.error


def test_one_that_never_ends_well_is_not_begun_for_ever(
    make: Callable[..., Board], tmp_path: Path
) -> None:
    folder = Path(str(tmp_path / "book.sqlite") + ".jobs")
    folder.mkdir()
    job = Job("abc", "steps", {"steps": "1", "each": "0"}, NOW.isoformat(), "running", tries=3)
    (folder / "abc.job.json").write_text(json.dumps(job.to_json()))
    (folder / "half.job.json").write_text('{"id": "ha')
    board = make()
    assert [j.state for j in board.jobs()] == ["failed"]


@dataclass
class Yard:
    """A page's visitor on the small invented trial, its board, and the commands beside them."""

    client: TestClient
    board: Board
    command: Command

    def ask(self, kind: str, **form: str) -> str:
        """Ask for a calculation and wait for its end; its path."""
        place = self.client.post("/jobs", data={"kind": kind, **form}).headers["location"]
        until(lambda: self.board.job(place.rsplit("/", 1)[-1]).ended, 240)
        return str(place)

    def answer(self, place: str) -> Any:
        """What came of it."""
        found = self.client.get(f"/api{place}").json()
        assert found["state"] == "done", found["error"]
        return found["answer"]

    def page(self, place: str) -> str:
        """A page as a person sees it."""
        return str(self.client.get(place, headers={"accept": "text/html"}).text)

    def says(self, *words: str) -> Any:
        """The JSON of a command on the same book."""
        code, out, err = self.command(*words, "--jobs", "1", "--json")
        assert code == 0, err
        return json.loads(out)


@pytest.fixture
def yard(
    make: Callable[..., Board], tmp_path: Path, command: Command, monkeypatch: pytest.MonkeyPatch
) -> Yard:
    (tmp_path / "small.toml").write_text(PLAN, encoding="utf-8")
    assert command("plan", "lock", str(tmp_path / "small.toml"))[0] == 0
    for heap in "AB":
        command("log", "event", "built", heap, "--when", "2026-05-01 09:00")
    for day, (a, b, c, d) in ROUNDS.items():
        typed = f"A {a} {b} B {c} {d} air 12"
        assert command("log", "round", typed, "--when", f"{day} 09:00")[0] == 0
    book = str(tmp_path / "book.sqlite")
    door = door_of(book)
    site = Site(
        book, door, hosts=frozenset({"testserver"}), here=frozenset({"testclient"}),
        now=lambda: NOW,
    )  # fmt: skip
    app = create_app(site)
    app.state.board = board = make("invented_work:small")
    client = TestClient(app, follow_redirects=False)
    client.get("/jobs")
    visitor = door.visitor(client.cookies.get(door.cookie_name(https=False)))
    assert visitor is not None
    client.headers["x-heapwright-token"] = visitor.token
    monkeypatch.setenv("HEAPWRIGHT_NOW", NOW.isoformat())
    monkeypatch.setattr(learning, "ROUGH", fitting.Settings(0.25, members=16, passes=2))
    monkeypatch.setattr(learning, "cell_of", lambda volume_m3, careful: 0.25)
    return Yard(client, board, command)


def test_a_small_fit_runs_as_a_calculation_and_its_page_shows_it(yard: Yard) -> None:
    client = yard.client
    assert client.post("/jobs", data={"kind": "burn"}).status_code == 404
    asked = client.post("/jobs", data={"kind": "forecast"})
    place = asked.headers["location"]
    assert 'src="/static/jobs.js"' in yard.page(place)
    until(lambda: yard.board.job(place.rsplit("/", 1)[-1]).ended, 240)
    found = yard.answer(place)
    assert found["numbers"] == yard.says("forecast")
    text = yard.page(place)
    assert found["words"][0] in text
    assert "Invented data" in text
    assert "Forecasts kept: 1" in yard.page("/trial")
    assert client.get("/api/trial").json()["forecasts"]["made"] == 1


def test_every_kind_says_what_its_command_says_and_the_heap_shows_it(yard: Yard) -> None:
    learned = yard.answer(yard.ask("learn"))
    assert learned["numbers"] == yard.says("learn")
    air = yard.ask("air", heap="A")
    assert "<svg" in yard.page(air)
    assert "Nobody measured oxygen here" in yard.page(air)
    assert _without(yard.answer(air)["numbers"]) == _without(yard.says("air", "A"))
    inside = yard.ask("inside", heap="A")
    assert _without(yard.answer(inside)["numbers"]) == _without(yard.says("inside", "A"))
    why = yard.answer(yard.ask("why", one="A", other="B"))
    assert why["numbers"] == yard.says("why", "A", "B")
    advice = yard.answer(yard.ask("advise", heap="A", squeeze="damp", hose="10 L/25 s"))
    said = yard.says("advise", "A", "--squeeze", "damp", "--hose", "10 L/25 s")
    assert advice["numbers"] == said
    page = yard.page("/heaps/A")
    for shown in ("How it is inside", "Where the heat went", "Where the water went",
                  "What each act would change", "Most useful next", why["words"][0]):  # fmt: skip
        assert shown in page, shown
    assert "<svg" in page
    other = yard.page("/heaps/B")
    assert "How it is inside</h3>" not in other


def test_simulating_by_physics_alone_is_a_calculation(yard: Yard, tmp_path: Path) -> None:
    made = yard.answer(yard.ask("simulate"))
    said = yard.says("simulate", "--out", str(tmp_path / "out"))
    assert [_without(h) for h in made["numbers"]["heaps"]] == [_without(h) for h in said["heaps"]]
    assert made["words"]
    assert made["picture"].count("<svg") == 2 * 4
    ids = re.findall(r'\bid="([^"]+)"', made["picture"])
    assert len(ids) == len(set(ids))


def _without(numbers: dict[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in numbers.items() if k not in ("picture", "files")}


# --- weather -------------------------------------------------------------------------------------

SHEET = "date,temp,rain\n" + "".join(
    f"{day:02d}/05/2026,{8 + day % 5},{day % 3}\n" for day in range(1, 29)
)


def test_a_weather_file_is_asked_about_kept_and_used(yard: Yard, tmp_path: Path) -> None:
    def send(**form: str) -> Any:
        files = {"file": ("ours.csv", SHEET.encode())} if "key" not in form else None
        return yard.client.post(
            "/jobs/weather", data=form, files=files, headers={"accept": "text/html"}
        )

    first = send()
    assert first.status_code == 409, first.text
    key = re.search(r'name="key" value="([0-9a-f]{16})"', first.text)
    assert key is not None
    asked = re.findall(r'name="answer\.([^"]+)"', first.text)
    assert "unit.rain" in asked
    sheet = tmp_path / "ours.csv"
    sheet.write_text(SHEET)
    answers = {"unit.temp": "C", "unit.rain": "mm"}
    assert set(answers) == set(asked)
    done = send(key=key[1], **{f"answer.{k}": v for k, v in answers.items()})
    assert done.status_code == 303, done.text
    assert "ours.csv, 2026-05-01" in yard.page("/jobs")
    made = yard.answer(yard.ask("learn"))
    options = [w for k, v in answers.items() for w in ("--answer", f"{k}={v}")]
    assert made["numbers"] == yard.says("learn", "--weather", str(sheet), *options)
    assert "weather of ours.csv" in yard.page("/jobs")
    yard.client.post("/jobs/weather/drop")
    assert "The air that was read" in yard.page("/jobs")
    assert made["numbers"] != yard.says("learn")


def test_what_is_no_weather_file_is_refused(yard: Yard) -> None:
    for name, content, why in (
        ("w.exe", b"x", "no weather file"), ("w.csv", b"  ", "nothing stands in it"),
        ("w.csv", b"a,b\n1,2\n", ""),
    ):  # fmt: skip
        sent = yard.client.post(
            "/jobs/weather", files={"file": (name, content)}, headers={"accept": "text/html"}
        )
        assert sent.status_code in (409, 422), name
        assert why in sent.text
    for key in ("../../../etc/pass", "0" * 16):
        sent = yard.client.post("/jobs/weather", data={"key": key}, headers={"accept": "text/html"})
        assert sent.status_code == 422
        assert "Choose the file again" in sent.text
    assert yard.client.post("/jobs/weather").status_code == 422
