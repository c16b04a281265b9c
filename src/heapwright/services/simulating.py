"""Simulate heaps of a plan or of the book, several side by side, and keep what came of it.

Units: days and hours of heap age, wall seconds where said. Conventions: everything is settled and
refused before the first step (`prepare`); heaps run in processes of their own; a stopped run
keeps what was done until then and says so. Called from a script, `simulate_heaps` with more than
one worker needs the usual ``if __name__ == "__main__":``.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from heapwright.domain.trial import Place, Trial
from heapwright.domain.weather import WeatherSeries
from heapwright.engine.kernels import is_compiled
from heapwright.engine.run import Run
from heapwright.engine.simulate import KINETICS, Progress, simulate
from heapwright.errors import (
    HeapwrightError,
    ImpossibleError,
    InputError,
    NotEnoughError,
    UnknownNameError,
)
from heapwright.exchange.planfile import read_plan
from heapwright.services.heapcase import Case, Wishes, book_case, plan_case
from heapwright.services.plans import only_trial, with_lots
from heapwright.services.record import load_record
from heapwright.services.settings import open_book
from heapwright.services.simweather import weather_for
from heapwright.services.weather import air_of_book

__all__ = ["Job", "Simulated", "is_ready", "prepare", "simulate_heaps", "workers_for"]

#: days simulated when neither the keeper nor the plan says how many
_USUAL_D, _MOST_D, _LEAST_D = 60.0, 400.0, 0.05

Tell = Callable[[str, Progress], None]


@dataclass(frozen=True, slots=True)
class Job:
    """One heap ready to run: the case, its weather, and the hour of it when the heap is built."""

    case: Case
    weather: WeatherSeries
    start_h: float
    place: Place

    @property
    def assumed(self) -> tuple[str, ...]:
        """Everything taken for granted, in plain words."""
        matter = self.case.recipe.notes if self.case.recipe is not None else ()
        return (*self.case.assumed, *(f"of the mix: {note}" for note in matter))


@dataclass(frozen=True, slots=True)
class Simulated:
    """A heap and its run; files : what was written of it."""

    job: Job
    run: Run
    files: tuple[Path, ...] = ()

    @property
    def name(self) -> str:
        """Name of the heap."""
        return self.job.case.name


# --- before the first step -----------------------------------------------------------------------


def prepare(
    *,
    now: datetime,
    plan: Path | None = None,
    trial: str | None = None,
    book: str | None = None,
    heaps: Sequence[str] = (),
    days: float | None = None,
    cell_m: float | None = None,
    exposure: str | float | None = None,
    weather: Path | None = None,
    answers: Mapping[str, str] | None = None,
    seed: int = 1,
) -> list[Job]:
    """Heaps of a plan file (as planned) or of a trial in the book (as done), with their weather.

    Parameters
    ----------
    plan : Path, optional
        A plan file; without it the trial of the book is meant.
    heaps : sequence of str
        Names; all heaps when empty.
    days : float, optional
        By default until the end date of the trial.
    weather, answers, seed
        A weather file and what it leaves open, see `heapwright.services.weather.read_weather`;
        without it the air read in the book.

    Raises
    ------
    PlanError, UnknownNameError, BookError, NotEnoughError, QuestionError, InputError
        What cannot stand or is missing, with what to give; nothing was simulated.
    """
    if days is not None and not _LEAST_D <= days <= 1500:
        raise InputError(
            "a simulation runs over 0.05 to 1500 days", field="days", value=f"{days:g}",
            way_out="Write --days 30",
        )  # fmt: skip
    cases, about, air = _cases(
        now=now, plan=plan, trial=trial, book=book, heaps=heaps, days=days,
        wishes=Wishes(_USUAL_D, cell_m, exposure),
    )  # fmt: skip
    jobs = []
    for case in cases:
        case.spec.mesh()
        end = case.built + timedelta(days=case.days)
        series = weather_for(
            case.built, end, path=weather, answers=answers or {}, place=about.place,
            readings=air, seed=seed,
        )  # fmt: skip
        start_h = (case.built - series.start).total_seconds() / 3600
        if not case.start_known:
            case = _as_warm_as_air(case, series, start_h)
        jobs.append(Job(case, series, start_h, about.place))
    return jobs


def _cases(
    *,
    now: datetime,
    plan: Path | None,
    trial: str | None,
    book: str | None,
    heaps: Sequence[str],
    days: float | None,
    wishes: Wishes,
) -> tuple[list[Case], Trial, list[tuple[datetime, float]]]:
    """The heaps asked for, their trial, and readings of the air."""
    if plan is not None:
        about = with_lots(read_plan(plan, now=now))
        wishes = replace(wishes, days=_days(about, days))
        cases = [plan_case(about, n, wishes, now=now) for n in heaps or _names(about)]
        return cases, about, _air_beside(about.name, book)
    with open_book(book, create=False) as opened:
        record = load_record(opened, only_trial(opened, trial))
        air = air_of_book(opened, record.name)
    about = record.plan.trial
    wishes = replace(wishes, days=_days(about, days))
    cases = [book_case(record, n, wishes, now=now) for n in heaps or _names(about)]
    return cases, about, air


def _names(trial: Trial) -> list[str]:
    if not trial.heaps:
        raise NotEnoughError(
            "the plan names no heaps", field="heap", value=trial.name,
            way_out='Write [[heap]] and, below it, name = "A"',
        )  # fmt: skip
    return [h.name for h in trial.heaps]


def _days(trial: Trial, days: float | None) -> float:
    if days is not None:
        return days
    if trial.starts is None:
        return _USUAL_D
    return min(float((trial.locked.ends - trial.starts).days), _MOST_D)


def _air_beside(trial: str, book: str | None) -> list[tuple[datetime, float]]:
    """Readings of the air in the book, if it knows a trial of that name."""
    try:
        with open_book(book, create=False) as opened:
            known = {n.lower(): n for n in opened.trials()}
            return air_of_book(opened, known[trial.lower()]) if trial.lower() in known else []
    except HeapwrightError:
        return []


def _as_warm_as_air(case: Case, series: WeatherSeries, start_h: float) -> Case:
    """The heap as warm as the air when it is built."""
    air = float(series.at(start_h).air_temp_c)
    said = f"start temperature not read: {air:.0f} C, that of the air"
    return replace(case, spec=replace(case.spec, start_c=air), assumed=(*case.assumed, said))


# --- running -------------------------------------------------------------------------------------


def workers_for(jobs: int, wanted: int | None = None) -> int:
    """How many processes: as wished, else as there are cores, and never more than heaps."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return max(1, min(jobs, wanted or cores or 1))


def is_ready() -> bool:
    """False before the first run, which first translates the simulator, for about a minute."""
    return is_compiled()


def simulate_heaps(
    jobs: Sequence[Job],
    *,
    biology: str = "group curves",
    every_h: float = 24.0,
    workers: int | None = None,
    out: Path | None = None,
    now: datetime | None = None,
    on_progress: Tell | None = None,
) -> list[Simulated]:
    """Run all heaps, side by side where there is more than one core, in the order given.

    Parameters
    ----------
    every_h : float
        Hours between kept fields.
    out : Path, optional
        A folder; every heap gets a folder of its own in it (`heapwright.services.simfiles`).
    on_progress : callable, optional
        Called with the name of a heap and its `Progress`.

    Returns
    -------
    list of Simulated
        After Ctrl-C: what was done until then, ``run.complete`` False; heaps that had not begun are
        left out.

    Raises
    ------
    UnknownNameError, InputError, ImpossibleError
        No such kinetics, a setting out of range, a file that cannot be written, or too little
        memory.
    """
    if biology not in KINETICS:
        raise UnknownNameError(
            "there is no such kinetics", field="biology", value=biology,
            way_out="One of " + ", ".join(KINETICS),
        )  # fmt: skip
    count = workers_for(len(jobs), workers)
    settings = _Settings(biology, every_h, out, now)
    if count == 1:
        return _one_by_one(jobs, settings, on_progress)
    return _side_by_side(jobs, settings, count, on_progress)


@dataclass(frozen=True, slots=True)
class _Settings:
    biology: str
    every_h: float
    out: Path | None
    now: datetime | None


def _one(job: Job, how: _Settings, tell: Callable[[Progress], None] | None) -> Simulated:
    run = simulate(
        job.case.spec, weather=job.weather, days=job.case.days, start_h=job.start_h,
        recipe=job.case.recipe, biology=how.biology, actions=job.case.actions,
        field_every_h=how.every_h, on_progress=tell,
    )  # fmt: skip
    files: tuple[Path, ...] = ()
    if how.out is not None:
        from heapwright.services.simfiles import write_heap

        files = write_heap(job, run, how.out, now=how.now)
    return Simulated(job, run, files)


def _one_by_one(jobs: Sequence[Job], how: _Settings, on_progress: Tell | None) -> list[Simulated]:
    made = []
    for job in jobs:
        name = job.case.name
        tell = None if on_progress is None else lambda p, n=name: on_progress(n, p)
        made.append(_one(job, how, tell))
        if not made[-1].run.complete:
            break
    return made


def _side_by_side(
    jobs: Sequence[Job], how: _Settings, count: int, on_progress: Tell | None
) -> list[Simulated]:
    """In worker processes; on Ctrl-C they are asked to stop, and what they have is collected."""
    from multiprocessing import get_context

    context = get_context("spawn")
    stop, told = context.Event(), context.Queue()
    pool = ProcessPoolExecutor(count, context, initializer=_begin, initargs=(stop, told))
    # Workers are born deaf to Ctrl-C, which reaches them too; they look at `stop` instead.
    with _deaf():
        futures = [pool.submit(_work, job, how) for job in jobs]
    pending: set[Future[Simulated | None]] = set(futures)
    try:
        while pending:
            try:
                _, pending = wait(pending, timeout=0.2, return_when=FIRST_COMPLETED)
                _pass_on(told, on_progress)
                failed = [f for f in futures if f.done() and not f.cancelled() and f.exception()]
                if failed:
                    stop.set()
                    failed[0].result()
            except KeyboardInterrupt:
                stop.set()
                pending = {f for f in pending if not f.cancel()}
        made = [f.result() for f in futures if not f.cancelled()]
    except BrokenProcessPool:
        raise ImpossibleError(
            "a simulation ended without an answer, probably for want of memory",
            way_out="Take larger cells (--cell), fewer heaps at a time (--jobs 1) or fewer days",
        ) from None
    finally:
        stop.set()
        pool.shutdown(cancel_futures=True)
        told.close()
    return [m for m in made if m is not None]


def _pass_on(told: Any, on_progress: Tell | None) -> None:
    """Hand on what the workers told, the latest of every heap."""
    from queue import Empty

    latest: dict[str, Progress] = {}
    while True:
        try:
            name, progress = told.get_nowait()
        except Empty:
            break
        latest[name] = progress
    if on_progress is not None:
        for name, progress in latest.items():
            on_progress(name, progress)


@contextmanager
def _deaf() -> Iterator[None]:
    """Hold Ctrl-C back; processes started meanwhile never get it (where signals can be masked)."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


_stop: Any = None
_told: Any = None


def _begin(stop: Any, told: Any) -> None:
    """In a worker: Ctrl-C is the parent's to handle."""
    global _stop, _told
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _stop, _told = stop, told


def _work(job: Job, how: _Settings) -> Simulated | None:
    """In a worker: one heap; None when it was told to stop before it began."""
    if _stop.is_set():
        return None

    def tell(progress: Progress) -> None:
        _told.put((job.case.name, progress))
        if _stop.is_set():
            raise KeyboardInterrupt

    return _one(job, how, tell)
