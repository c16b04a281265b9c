"""Calculations beside the server: progress, cancel, going on, restart, and one real small fit."""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from tests.flow.commands import Command
from tests.flow.test_learning import PLAN, ROUNDS

from heapwright.web.access import door_of
from heapwright.web.app import create_app
from heapwright.web.board import Board, Job, folder_of
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
    folder = folder_of(str(tmp_path / "book.sqlite"))
    folder.mkdir()
    job = Job("abc", "steps", {"steps": "1", "each": "0"}, NOW.isoformat(), "running", tries=3)
    (folder / "abc.job.json").write_text(json.dumps(job.to_json()))
    (folder / "half.job.json").write_text('{"id": "ha')
    board = make()
    assert [j.state for j in board.jobs()] == ["failed"]


def test_a_small_fit_runs_as_a_calculation_and_its_page_shows_it(
    make: Callable[..., Board], tmp_path: Path, command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
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
    assert client.post("/jobs", data={"kind": "burn"}).status_code == 404
    asked = client.post("/jobs", data={"kind": "forecast"})
    place = asked.headers["location"]
    assert 'src="/static/jobs.js"' in client.get(place, headers={"accept": "text/html"}).text
    until(lambda: board.job(place.rsplit("/", 1)[-1]).ended, 240)
    found = client.get(f"/api{place}").json()
    assert found["state"] == "done", found["error"]
    monkeypatch.setenv("HEAPWRIGHT_NOW", NOW.isoformat())
    from heapwright.inference import fit as fitting
    from heapwright.services import learning

    monkeypatch.setattr(learning, "ROUGH", fitting.Settings(0.25, members=16, passes=2))
    monkeypatch.setattr(learning, "cell_of", lambda volume_m3, careful: 0.25)
    code, out, err = command("forecast", "--jobs", "1", "--json")
    assert code == 0, err
    assert found["answer"]["numbers"] == json.loads(out)
    text = client.get(place, headers={"accept": "text/html"}).text
    assert found["answer"]["words"][0] in text
    assert "Invented data" in text
    assert "Forecasts kept: 1" in client.get("/trial", headers={"accept": "text/html"}).text
    assert client.get("/api/trial").json()["forecasts"]["made"] == 1
    again = client.post("/jobs", data={"kind": "air", "heap": "A"}).headers["location"]
    until(lambda: board.job(again.rsplit("/", 1)[-1]).ended, 240)
    text = client.get(again, headers={"accept": "text/html"}).text
    assert "<svg" in text
    assert "Nobody measured oxygen here" in text
