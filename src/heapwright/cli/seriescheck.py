"""The command ``check-forecast``: a forecast held against a series that was measured.

Conventions: the answer goes to standard output, progress to standard error; nothing is written and
no book is read.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from heapwright.cli.fitting import (
    CarefulOption,
    ClusterOption,
    JobsOption,
    WeatherOption,
    get_ready,
    telling,
)
from heapwright.cli.logbook import AnswerOption, asked
from heapwright.cli.shared import JsonOption, say, say_json, say_wrapped, table
from heapwright.errors import sentence

if TYPE_CHECKING:
    from heapwright.services.seriescheck import Checked

__all__ = ["check_forecast"]


def check_forecast(
    file: Annotated[Path, typer.Argument(help="The series: a CSV or TSV sheet.")],
    plan: Annotated[
        Path, typer.Option("--plan", help="The plan of its heaps, or of vessels ([[vessel]]).")
    ],
    fit_until: Annotated[
        float, typer.Option("--fit-until", help="Age in days: fitted up to it, scored after it.")
    ],
    hold_out: Annotated[
        list[str] | None,
        typer.Option("--hold-out", help="A heap or vessel that is only scored; many times."),
    ] = None,
    weather: WeatherOption = None,
    answer: AnswerOption = None,
    exposure: Annotated[
        str | None,
        typer.Option("--exposure", help="open, partly or sheltered, or the share of the wind."),
    ] = None,
    careful: CarefulOption = False,
    jobs: JobsOption = None,
    cluster: ClusterOption = None,
    json_: JsonOption = False,
) -> None:
    """Fit the first part of a measured series and score the forecast of the rest.

    For heaps with a plan, and for laboratory vessels with a stated wall, air flow, mass, moisture
    and C:N. All share one material; one that is held out is scored with what the others taught.
    """
    from heapwright.cli.simulate import share_of_wind
    from heapwright.services.cluster import crew_for
    from heapwright.services.seriescase import read_bench
    from heapwright.services.seriescheck import check
    from heapwright.services.serieswords import check_json
    from heapwright.services.settings import now

    moment, share = now(), share_of_wind(exposure)
    bench = asked(
        lambda answers: read_bench(
            file, plan, now=moment, hold_out=hold_out or (), weather=weather, answers=answers,
            exposure=share,
        ),
        answer,
    )  # fmt: skip
    get_ready()
    with crew_for(jobs, cluster) as crew, telling("learning") as tell:
        found = check(bench, fit_until, careful=careful, crew=crew, on_progress=tell)
    if json_:
        say_json(check_json(found))
    else:
        _show(found)


def _show(found: Checked) -> None:
    from heapwright.services.learnwords import alike
    from heapwright.services.serieswords import check_rows, check_words, taught_rows

    first, *others = check_words(found)
    say_wrapped(sentence(first))
    if found.bench.invented:
        say("INVENTED DATA: nobody measured this.")
    for line in others:
        say_wrapped(sentence(line))
    table(*check_rows(found))
    say("Errors are root mean squares; range is the mean width of the 80 % range.")
    say()
    taught = taught_rows(found)
    if taught:
        say("Learned (ranges of 80 %; a factor is on what is usual):")
        table(["heap", "what", "before", "now", "verdict"], alike(taught))
    else:
        say("Nothing was learned: every number is still what was believed before.")
    for title, lines in (("Assumed:", found.assumed), ("Sources:", found.bench.sources)):
        say(title if lines else f"{title} nothing.")
        for line in lines:
            say_wrapped(f"  {sentence(line)}", "  ")
