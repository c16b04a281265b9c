"""Long calculations beside the server: who waits, who runs, how far, and what came of it.

Units: progress as done of total. Conventions: a bounded number run at once, each in a process of
its own (started afresh, not forked), so that one can be cancelled at once and none outlives the
server. What is known of each stands as JSON in a folder beside the book: a restart keeps what is
done and begins again what was not; what a fit had done until then stands in the book.
"""

from __future__ import annotations

import contextlib
import json
import multiprocessing
import os
import queue
import signal
import threading
import time
import traceback
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from pkgutil import resolve_name
from typing import Any, Literal

from heapwright.errors import HeapwrightError, InputError, UnknownNameError
from heapwright.exchange.files import write_whole
from heapwright.services.settings import beside

__all__ = ["CALCULATE", "Board", "Job"]

State = Literal["waiting", "running", "done", "failed", "cancelled"]
#: what is run when nothing else is said: a function of a module, by name
CALCULATE = "heapwright.services.calculating:calculate"
_UNDONE = ("waiting", "running")
#: a calculation that was begun this often without an end is not begun again by itself
_TRIES = 3
#: seconds between looks at a process, and patience with one that was told to end
_LOOK_S, _PATIENCE_S = 0.2, 5.0
_FAULT = "This is a fault of the program, not yours; the log of the server says more."


@dataclass(frozen=True, slots=True)
class Job:
    """One calculation as it stands.

    id; kind; args : by name; asked : when [ISO 8601], which is its now too; state; done, total :
    progress, total 0 while nothing is known; tries : how often it was begun; error : why it failed,
    in words.
    """

    id: str
    kind: str
    args: Mapping[str, str]
    asked: str
    state: State = "waiting"
    done: int = 0
    total: int = 0
    tries: int = 0
    error: str = ""

    @property
    def ended(self) -> bool:
        """Nothing more happens to it by itself."""
        return self.state not in _UNDONE

    @property
    def about(self) -> str:
        """What it is about, in words: trial, heaps, how."""
        who = [self.args.get(k, "") for k in ("trial", "heap")]
        pair = " and ".join(self.args[k] for k in ("one", "other") if k in self.args)
        how = [w for k, w in (("careful", "careful"), ("labels", "labels as written")) if
               k in self.args]  # fmt: skip
        if "weather" in self.args:
            how.append(f"weather of {Path(self.args['weather']).name}")
        return ", ".join(w for w in (*who, pair, *how) if w)

    def to_json(self) -> dict[str, Any]:
        """All of it as plain values."""
        return {
            "id": self.id, "kind": self.kind, "args": dict(self.args), "asked": self.asked,
            "state": self.state, "done": self.done, "total": self.total, "tries": self.tries,
            "error": self.error,
        }  # fmt: skip


class Board:
    """All calculations of one book.

    book : path or address; side_by_side : how many run at once; what : the function that is run, as
    ``module:name``, called as `heapwright.services.calculating.calculate`.
    """

    def __init__(self, book: str, *, side_by_side: int = 1, what: str = CALCULATE) -> None:
        self.book, self.what, self.folder = book, what, beside(book, ".jobs")
        self._jobs: dict[str, Job] = {}
        self._running: dict[str, multiprocessing.process.BaseProcess] = {}
        self._todo: queue.Queue[str | None] = queue.Queue()
        self._lock = threading.RLock()
        self._closed = threading.Event()
        self._load()
        self._hands = [
            threading.Thread(target=self._work, daemon=True) for _ in range(side_by_side)
        ]
        for hand in self._hands:
            hand.start()

    # -- asking ---------------------------------------------------------------------------------

    def ask(self, kind: str, args: Mapping[str, str], *, now: datetime) -> Job:
        """Put a calculation on the board; the same that has not ended is not put there twice."""
        wanted = {k: v for k, v in sorted(args.items()) if v}
        with self._lock:
            for job in self._jobs.values():
                if not job.ended and (job.kind, dict(job.args)) == (kind, wanted):
                    return job
            made = Job(uuid.uuid4().hex[:12], kind, wanted, now.isoformat())
            self._keep(made)
            self._todo.put(made.id)
        return made

    def jobs(self) -> list[Job]:
        """All, the last one asked for first."""
        with self._lock:
            return sorted(self._jobs.values(), key=lambda j: j.asked, reverse=True)

    def job(self, name: str) -> Job:
        """The calculation of that id; raises `UnknownNameError`."""
        with self._lock:
            if name in self._jobs:
                return self._jobs[name]
        raise UnknownNameError(
            "no calculation of that name is kept", field="job", value=name[:40],
            way_out="See them all under Calculations",
        )  # fmt: skip

    def result(self, name: str) -> dict[str, Any] | None:
        """What came of it; None before it is done. Raises `UnknownNameError`."""
        job = self.job(name)
        if job.state != "done":
            return None
        found: dict[str, Any] = json.loads(self._answer(name).read_text(encoding="utf-8"))
        return found

    def latest(self, kind: str, args: Mapping[str, str]) -> tuple[Job, dict[str, Any]] | None:
        """The last one of a kind that is done and whose args hold these, with its answer."""
        for job in self.jobs():
            if (job.kind, job.state) != (kind, "done") or not args.items() <= job.args.items():
                continue
            with contextlib.suppress(OSError, ValueError):
                found = self.result(job.id)
                if found is not None:
                    return job, found
        return None

    def cancel(self, name: str) -> Job:
        """End it if it has not ended; raises `UnknownNameError`."""
        with self._lock:
            job = self.job(name)
            if job.ended:
                return job
            job = self._keep(replace(job, state="cancelled"))
            process = self._running.get(name)
        if process is not None:
            _end(process)
        return job

    def again(self, name: str) -> Job:
        """Go on with one that was cancelled or failed; what a fit had done is not done again.

        Raises `UnknownNameError`, and `InputError` for one that is done.
        """
        with self._lock:
            job = self.job(name)
            if job.state == "done":
                raise InputError("this is done", field="job", value=name, way_out="Ask it anew")
            if job.ended:
                job = self._keep(replace(job, state="waiting", error="", tries=0, done=0, total=0))
                self._todo.put(name)
            return job

    def close(self) -> None:
        """End what runs without marking it: it goes on when the board is there again."""
        self._closed.set()
        with self._lock:
            running = list(self._running.values())
        for _ in self._hands:
            self._todo.put(None)
        for process in running:
            _end(process)
        for hand in self._hands:
            hand.join(_PATIENCE_S)

    # -- keeping --------------------------------------------------------------------------------

    def _answer(self, name: str) -> Path:
        return self.folder / f"{name}.answer.json"

    def _keep(self, job: Job, *, write: bool = True) -> Job:
        with self._lock:
            self._jobs[job.id] = job
            if write:
                self.folder.mkdir(parents=True, exist_ok=True)
                write_whole(self.folder / f"{job.id}.job.json", json.dumps(job.to_json()))
        return job

    def _load(self) -> None:
        """Read what is kept; what has not ended begins again, but not for ever."""
        for path in sorted(self.folder.glob("*.job.json")):
            try:
                job = Job(**json.loads(path.read_text(encoding="utf-8")))
            except (OSError, ValueError, TypeError):
                continue  # half written when the power went: it had not begun
            if not job.ended and self._answer(job.id).exists():
                job = replace(job, state="done")
            elif not job.ended and job.tries >= _TRIES:
                job = replace(job, state="failed", error=f"Begun {job.tries} times without an end.")
            elif not job.ended:
                job = replace(job, state="waiting", done=0, total=0)
            self._keep(job)
        for job in reversed(self.jobs()):
            if not job.ended:
                self._todo.put(job.id)

    # -- working --------------------------------------------------------------------------------

    def _work(self) -> None:
        while not self._closed.is_set():
            name = self._todo.get()
            if name is None or self._closed.is_set():
                return
            try:
                self._run(name)
            except OSError as error:  # no process, or no room on the disk
                self._keep(
                    replace(self.job(name), state="failed", error=f"{error.strerror}."), write=False
                )

    def _run(self, name: str) -> None:
        spawn = multiprocessing.get_context("spawn")
        with self._lock:
            job = self.job(name)
            if job.state != "waiting":
                return
            job = self._keep(replace(job, state="running", tries=job.tries + 1))
            told: Any = spawn.Queue()
            process = spawn.Process(
                target=_calculate, name=f"heapwright {job.kind}",
                args=(job.to_json(), self.what, self.book, str(self._answer(name)), told),
            )  # fmt: skip
            process.start()
            self._running[name] = process
        try:
            said = self._follow(name, process, told)
        finally:
            with self._lock:
                self._running.pop(name, None)
            told.close()
        if self._closed.is_set():
            return
        with self._lock:
            job = self.job(name)
            if job.state == "running" and self._answer(name).exists():
                self._keep(replace(job, state="done"))
            elif job.state == "running":
                self._keep(replace(job, state="failed", error=said or _FAULT))

    def _follow(self, name: str, process: Any, told: Any) -> str:
        """Take in what a process tells until it has ended; returns why it failed, if it said."""
        said = ""
        while True:
            alive = process.is_alive()
            try:
                told_now = told.get(timeout=_LOOK_S)
            except (queue.Empty, EOFError, OSError):
                if alive:
                    continue
                process.join(_PATIENCE_S)
                return said
            if isinstance(told_now, str):
                said = told_now
            else:
                with self._lock:
                    job = self.job(name)
                    if job.state == "running":
                        done, total = told_now
                        self._keep(replace(job, done=done, total=total), write=False)


def _end(process: multiprocessing.process.BaseProcess) -> None:
    """End a process and those it started."""
    if process.pid is None:
        return
    for sign in (signal.SIGTERM, getattr(signal, "SIGKILL", signal.SIGTERM)):
        with contextlib.suppress(ProcessLookupError, PermissionError):
            if hasattr(os, "killpg") and os.getpgid(process.pid) == process.pid:
                os.killpg(process.pid, sign)
            else:
                os.kill(process.pid, sign)
        process.join(_PATIENCE_S)
        if not process.is_alive():
            return


# --- in the other process -------------------------------------------------------------------------


def _calculate(job: dict[str, Any], what: str, book: str, answer: str, told: Any) -> None:
    """Run one calculation, write its answer, and say why there is none."""
    if hasattr(os, "setsid"):
        os.setsid()  # Ctrl-C at the server is the server's to handle
    with contextlib.suppress(OSError, AttributeError):
        os.nice(5)  # pages come first
    threading.Thread(target=_not_alone, daemon=True).start()
    try:
        made = resolve_name(what)(
            job["kind"], job["args"], book=book, now=datetime.fromisoformat(job["asked"]),
            tell=lambda done, total: told.put((done, total)),
            workers=max(1, (os.cpu_count() or 2) - 1),
        )  # fmt: skip
        write_whole(Path(answer), json.dumps(made, ensure_ascii=False, default=str))
    except HeapwrightError as error:
        told.put(error.message)
    except Exception:
        traceback.print_exc()
        told.put(_FAULT)


def _not_alone() -> None:
    """End with the server, however that ended."""
    server = multiprocessing.parent_process()
    while server is not None and server.is_alive():
        time.sleep(1.0)
    if hasattr(os, "killpg") and os.getpgid(0) == os.getpid():
        os.killpg(os.getpid(), signal.SIGKILL)
    os._exit(1)
