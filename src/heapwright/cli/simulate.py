"""The command that simulates heaps: ``heapwright simulate``.

Conventions: the table and the words go to standard output, progress to standard error; a terminal
gets bars, anything else a line now and then. Ctrl-C prints and writes what was done until then and
ends with exit code 130.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from heapwright.cli.fitting import JobsOption, WeatherOption, get_ready
from heapwright.cli.logbook import AnswerOption, TrialOption, asked
from heapwright.cli.shared import BookOption, JsonOption, say, say_json, table
from heapwright.errors import sentence

if TYPE_CHECKING:
    from heapwright.engine.simulate import Progress
    from heapwright.services.simulating import Job, Simulated, Tell

__all__ = ["share_of_wind", "simulate"]

#: seconds between lines of progress where there is no terminal
_QUIET_S = 15.0


def simulate(
    plan: Annotated[
        Path | None,
        typer.Option("--plan", help="A plan file: as planned. Left out: as done, from the book."),
    ] = None,
    trial: TrialOption = None,
    heap: Annotated[
        list[str] | None, typer.Option("--heap", help="A heap; may stand many times. Else all.")
    ] = None,
    days: Annotated[
        float | None, typer.Option("--days", help="Days; until the end of the trial if left out.")
    ] = None,
    weather: WeatherOption = None,
    answer: AnswerOption = None,
    cell: Annotated[
        str | None, typer.Option("--cell", help='Edge of a cell, as "5 cm"; 10 cm for most heaps.')
    ] = None,
    exposure: Annotated[
        str | None,
        typer.Option("--exposure", help="open, partly or sheltered, or the share of the wind."),
    ] = None,
    biology: Annotated[
        str, typer.Option("--biology", help='"group curves", or "six groups" for comparison.')
    ] = "group curves",
    out: Annotated[
        Path | None, typer.Option("--out", help="The folder; named after the trial if left out.")
    ] = None,
    every_h: Annotated[
        float, typer.Option("--every-h", help="Hours between the fields that are kept.")
    ] = 24.0,
    jobs: JobsOption = None,
    seed: Annotated[
        int, typer.Option("--seed", min=0, help="Seed of the year made from a described climate.")
    ] = 1,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Simulate heaps from physics: heat, air, water and decay at the spots where you probe.

    From a plan (--plan) or, without it, from what the book says was done. Writes a folder with
    the fields (NetCDF), figures, tables and what to cite. Ctrl-C keeps what was done until then.
    """
    from heapwright.services.settings import now
    from heapwright.services.simfiles import folder_for, write_table
    from heapwright.services.simulating import prepare, simulate_heaps

    moment, share = now(), share_of_wind(exposure)
    cell_m = _metres(cell)
    work = asked(
        lambda answers: prepare(
            now=moment, plan=plan, trial=trial, book=book, heaps=heap or (), days=days,
            cell_m=cell_m, exposure=share, weather=weather, answers=answers, seed=seed,
        ),
        answer,
    )  # fmt: skip
    folder = out or Path(folder_for(work[0].case.trial))
    get_ready()
    with _progress(work) as tell:
        made = simulate_heaps(
            work, biology=biology, every_h=every_h, workers=jobs, out=folder, now=moment,
            on_progress=tell,
        )  # fmt: skip
    if made:
        write_table(made, folder)
    stopped = len(made) < len(work) or any(not m.run.complete for m in made)
    if json_:
        from heapwright.services.simwords import to_json

        say_json(to_json(made) | {"folder": str(folder), "stopped": stopped})
    else:
        _show(work, made, folder)
    if stopped:
        raise typer.Exit(130)


def _metres(cell: str | None) -> float | None:
    from heapwright.units import parse

    return None if cell is None else parse(cell, "length_m", field="cell").typical


def share_of_wind(typed: str | None) -> str | float | None:
    """An exposure as it was typed: a word or a share; raises `InputError` for any other."""
    if typed is None:
        return None
    from heapwright.science.sky import exposure_factor

    word = typed.strip().lower()
    found: str | float = word
    with suppress(ValueError):
        found = float(word.rstrip("% ")) / (100 if word.endswith("%") else 1)
    exposure_factor(found)
    return found


# --- showing -------------------------------------------------------------------------------------


def _show(work: Sequence[Job], made: Sequence[Simulated], folder: Path) -> None:
    from heapwright.services.simwords import (
        NOT_MEASURED,
        account_rows,
        cautions,
        compared,
        findings,
    )

    if any(j.case.invented for j in work):
        say("INVENTED DATA: nobody built these heaps.")
    if not made:
        say("Stopped before anything was simulated; nothing was written.")
        return
    missing = [j.case.name for j in work if j.case.name not in {m.name for m in made}]
    if missing:
        say(f"Stopped: not begun with {', '.join(missing)}.")
    for line in [*compared(made), *cautions(made), NOT_MEASURED]:
        say(sentence(line))
    say()
    _table(made)
    for m in made:
        for line in findings(m):
            say(sentence(line))
        held = "; ".join(f"{name} {error}" for name, _, error in account_rows(m))
        say(f"Errors of its accounts: {held}.")
        say()
    _assumed(made)
    say(f"Written: {folder} (fields, figures, tables, and what to cite).")


def _table(made: Sequence[Simulated]) -> None:
    """Spots by day; the name of a heap once, the air once where heaps share it."""
    from heapwright.services.simwords import heap_rows, shown_days

    days = max((shown_days(m.run) for m in made), key=len)
    rows, last, airs = [], "", set()
    for m in made:
        for row in heap_rows(m, shown_days(m.run)):
            temps = [f"{t:.0f}" for t in row.temp_c] + [""] * (len(days) - len(row.temp_c))
            if row.spot == "air" and tuple(temps) in airs:
                continue
            if row.spot == "air":
                airs.add(tuple(temps))
            name, last = ("" if row.heap == last else row.heap), row.heap
            rows.append([name, row.spot, *temps, f"{row.highest_c:.0f} on day {row.highest_d:.1f}"])
    table(["heap", "spot, C", *[f"d{d:g}" for d in days], "highest"], rows)


def _assumed(made: Sequence[Simulated]) -> None:
    """What was taken for granted, once where it holds for all heaps."""
    everywhere = [a for a in made[0].job.assumed if all(a in m.job.assumed for m in made)]
    say("Assumed:" if everywhere or any(m.job.assumed for m in made) else "Nothing was assumed.")
    for line in everywhere:
        say(f"  {sentence(line)}")
    for m in made:
        for line in (a for a in m.job.assumed if a not in everywhere):
            say(f"  {m.name}: {sentence(line)}")
    say("Weather:")
    for line in dict.fromkeys(s for m in made for s in m.job.weather.source):
        say(f"  {sentence(line)}")


# --- progress ------------------------------------------------------------------------------------


@contextmanager
def _progress(work: Sequence[Job]) -> Iterator[Tell]:
    """Bars on a terminal, else a line now and then, on standard error."""
    if sys.stderr.isatty():
        with _bars(work) as tell:
            yield tell
        return
    yield _Lines(len(work))


class _Lines:
    """A line of progress now and then."""

    def __init__(self, heaps: int) -> None:
        self.heaps, self.said = heaps, time.monotonic()
        self.latest: dict[str, Progress] = {}

    def __call__(self, name: str, progress: Progress) -> None:
        self.latest[name] = progress
        if time.monotonic() - self.said < _QUIET_S:
            return
        self.said = time.monotonic()
        days = ", ".join(f"{n} day {p.day:.0f} of {p.days:g}" for n, p in self.latest.items())
        left = max((p.left_s or 0.0 for p in self.latest.values()), default=0.0)
        more = f"; {self.heaps - len(self.latest)} to come" if len(self.latest) < self.heaps else ""
        sys.stderr.write(f"heapwright: {days}; about {_time(left)} left{more}\n")
        sys.stderr.flush()


@contextmanager
def _bars(work: Sequence[Job]) -> Iterator[Tell]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    shown = Progress(
        TextColumn("{task.description}"), BarColumn(bar_width=30),
        TextColumn("{task.fields[said]}"),
        console=Console(stderr=True, highlight=False), transient=True,
    )  # fmt: skip
    with shown:
        rows: dict[str, Any] = {
            j.case.name: shown.add_task(j.case.name, total=j.case.days, said="waiting")
            for j in work
        }

        def tell(name: str, progress: Any) -> None:
            left = "" if progress.left_s is None else f", about {_time(progress.left_s)} left"
            shown.update(
                rows[name], completed=progress.day,
                said=f"day {progress.day:.1f} of {progress.days:g}, core {progress.core_c:.0f} C"
                + left,
            )  # fmt: skip

        yield tell


def _time(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 100 else f"{seconds / 60:.0f} min"
