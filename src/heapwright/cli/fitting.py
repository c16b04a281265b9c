"""What the commands share that run many simulations: options, getting ready, progress, the fit.

Conventions: progress goes to standard error: a bar on a terminal, else a line now and then.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from heapwright.cli.logbook import asked
from heapwright.cli.shared import say, say_wrapped
from heapwright.errors import sentence

if TYPE_CHECKING:
    from heapwright.inference.crew import Crew
    from heapwright.inference.fit import Fitted
    from heapwright.services.learning import Task

__all__ = [
    "CarefulOption", "ClusterOption", "JobsOption", "RightOption", "WeatherOption", "fitted_task",
    "get_ready", "say_notes", "telling",
]  # fmt: skip

#: seconds between lines of progress
_QUIET_S = 10.0

WeatherOption = Annotated[
    Path | None,
    typer.Option("--weather", help="Sheet, TMY3, EPW or described climate; else the air read."),
]
CarefulOption = Annotated[
    bool, typer.Option("--careful", help="Smaller cells and more possible heaps; minutes.")
]
RightOption = Annotated[
    bool, typer.Option("--labels-are-right", help="You looked: no label is exchanged.")
]
JobsOption = Annotated[
    int | None, typer.Option("--jobs", min=1, help="Processes side by side; else all cores.")
]
ClusterOption = Annotated[
    str | None, typer.Option("--cluster", help="Address of a Dask scheduler to run it there.")
]


def get_ready() -> None:
    """Say so where the simulator has to be translated first."""
    from heapwright.services.simulating import is_ready

    if not is_ready():
        _note("getting the simulator ready, once, for about a minute")


def _note(text: str) -> None:
    sys.stderr.write(f"heapwright: {text}\n")
    sys.stderr.flush()


@contextmanager
def fitted_task(
    trial: str | None,
    weather: Path | None,
    answer: list[str] | None,
    careful: bool,
    trusted: bool,
    jobs: int | None,
    cluster: str | None,
    book: str | None,
    ahead_d: float,
    heaps: Sequence[str] = (),
) -> Iterator[tuple[Task, Fitted, Crew]]:
    """The task of a trial, fitted, with who ran it; heaps : names that must be in it."""
    from heapwright.services.cluster import crew_for
    from heapwright.services.learning import gather
    from heapwright.services.learning import learn as fit_it
    from heapwright.services.settings import now

    moment = now()
    task = asked(
        lambda answers: gather(
            now=moment, trial=trial, book=book, ahead_d=ahead_d, weather=weather, answers=answers
        ),
        answer,
    )
    for heap in heaps:
        task.heap(heap)  # refuses one that is not there, before minutes of work
    get_ready()
    with crew_for(jobs, cluster) as crew:
        with telling("learning") as tell:
            fitted = fit_it(
                task, careful=careful, crew=crew, book=book, trusted=trusted, on_progress=tell
            )
        yield task, fitted, crew


def say_notes(task: Task, heap: str | None = None) -> None:
    """What was taken for granted, of all heaps or one: what holds for all once, without names."""
    jobs = [j for j in task.jobs if heap in (None, j.case.name)]
    said: dict[str, list[str]] = {}
    for job in jobs:
        for line in job.assumed:
            said.setdefault(line, []).append(job.case.name)
    notes = list(task.left_out)
    for line, heaps in said.items():
        notes.append(line if len(heaps) == len(jobs) else f"heap {', '.join(heaps)}: {line}")
    for title, lines in (("Assumed", notes), ("Weather", jobs[0].weather.source)):
        if lines:
            say(f"{title}:")
        for line in lines:
            say_wrapped(f"  {sentence(line)}", "  ")


@contextmanager
def telling(what: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on a terminal, else a line now and then, on standard error."""
    if sys.stderr.isatty():
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

        shown = Progress(
            TextColumn("{task.description}"), BarColumn(bar_width=30),
            TextColumn("{task.completed} of {task.total}"), TimeRemainingColumn(),
            console=Console(stderr=True, highlight=False), transient=True,
        )  # fmt: skip
        with shown:
            row: Any = shown.add_task(what, total=None)
            yield lambda done, total: shown.update(row, completed=done, total=total)
        return
    said = [time.monotonic()]

    def tell(done: int, total: int) -> None:
        if time.monotonic() - said[0] < _QUIET_S:
            return
        said[0] = time.monotonic()
        _note(f"{what}: {done} of {total} simulations")

    yield tell
