"""The commands that learn from the readings: ``learn``, ``forecast``, ``why``, ``air``, ``inside``.

Conventions: the answer goes to standard output, progress to standard error. What was fitted is kept
in the book, so that a stopped fit goes on where it was and the same question is answered at once.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from heapwright.cli.fitting import (
    CarefulOption,
    ClusterOption,
    JobsOption,
    RightOption,
    WeatherOption,
    fitted_task,
    say_notes,
    telling,
)
from heapwright.cli.logbook import AnswerOption, TrialOption
from heapwright.cli.shared import BookOption, JsonOption, say, say_json, say_wrapped, table
from heapwright.errors import sentence

if TYPE_CHECKING:
    from heapwright.services.learning import Task

__all__ = ["air", "forecast", "inside", "learn", "why"]

OutOption = Annotated[
    Path | None, typer.Option("--out", help="Write the picture there, as .svg or .png.")
]


def learn(
    trial: TrialOption = None,
    weather: WeatherOption = None,
    answer: AnswerOption = None,
    careful: CarefulOption = False,
    labels_are_right: RightOption = False,
    jobs: JobsOption = None,
    cluster: ClusterOption = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Fit the heaps of a trial to their readings and say what was learned.

    Each number is learned, partly learned, or still only what was believed before.
    """
    with fitted_task(
        trial, weather, answer, careful, labels_are_right, jobs, cluster, book, 1.0
    ) as (task, fitted, _):  # fmt: skip
        from heapwright.services.learnwords import (
            alike,
            learned_json,
            learned_rows,
            learned_words,
        )

        if json_:
            say_json(learned_json(task.trial, fitted))
            return
        _begin(task)
        for line in learned_words(fitted):
            say_wrapped(sentence(line))
        table(["heap", "what", "before", "now", "verdict"], alike(learned_rows(fitted.learned())))
        say("Ranges are 80 %; a factor is on what is usual. What is drawn and never fitted is left")
        say("out: it only widens ranges (docs/explain/learning.md).")
        say_notes(task)


def forecast(
    trial: TrialOption = None,
    days: Annotated[
        float, typer.Option("--days", min=1, max=60, help="How many days ahead.")
    ] = 7.0,
    weather: WeatherOption = None,
    answer: AnswerOption = None,
    careful: CarefulOption = False,
    labels_are_right: RightOption = False,
    jobs: JobsOption = None,
    cluster: ClusterOption = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Say what every spot will probably read in the days ahead, and how earlier forecasts did.

    The forecast is kept in the book and held against the readings that come.
    """
    with fitted_task(
        trial, weather, answer, careful, labels_are_right, jobs, cluster, book, days
    ) as (task, fitted, _):  # fmt: skip
        from heapwright.services.forecasting import look_ahead
        from heapwright.services.learnwords import (
            ahead_rows,
            learned_words,
            outlook_json,
            outlook_words,
            worth_words,
        )

        found = look_ahead(task, fitted, book=book)
        if json_:
            say_json(outlook_json(found))
            return
        _begin(task)
        for line in outlook_words(found):
            say_wrapped(sentence(line))
        table(*ahead_rows(found.ahead))
        say("Ranges of 80 %, with the error of a reading in them.")
        say()
        say("Most useful next:")
        for line in worth_words(found.next):
            say_wrapped(f"  {sentence(line)}", "  ")
        say("How we know:")
        for line in learned_words(fitted):
            say_wrapped(f"  {sentence(line)}", "  ")
        say_notes(task)


def why(
    one: Annotated[str, typer.Argument(help="A heap.")],
    other: Annotated[str, typer.Argument(help="Another heap of the trial.")],
    trial: TrialOption = None,
    weather: WeatherOption = None,
    answer: AnswerOption = None,
    careful: CarefulOption = False,
    labels_are_right: RightOption = False,
    jobs: JobsOption = None,
    cluster: ClusterOption = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Say why one heap is warmer than another: what cannot be told apart, the causes, the heat.

    Each cause is swapped from either heap into the other, in every possible heap that fits.
    """
    with fitted_task(
        trial, weather, answer, careful, labels_are_right, jobs, cluster, book, 1.0, (one, other)
    ) as (task, fitted, crew):  # fmt: skip
        from heapwright.services.learnwords import learned_words
        from heapwright.services.reasons import gap_words, heat_rows, share_rows, to_json, why_of

        with telling("swapping causes") as tell:
            found = why_of(task, fitted, one, other, crew=crew, on_progress=tell)
        if json_:
            say_json(to_json(found))
            return
        _begin(task)
        for line in gap_words(found):
            say_wrapped(sentence(line))
        a, b = found.why.one, found.why.other
        table(
            [f"{a} less {b}, C", "share", "80 %", f"{b}'s in {a}", f"{a}'s in {b}", "comes first"],
            share_rows(found),
        )
        say("A share is the mean of both swaps; where they differ, the order matters. Shares need")
        say("not add up to the gap.")
        say()
        table([f"heat until day {found.days[1]:.0f}, MJ/kg dry", a, b], list(heat_rows(found)))
        say("Where the heat went is bookkeeping of the middle of the heaps that fit, not a cause.")
        for line in learned_words(fitted):
            say_wrapped(sentence(line))
        say_notes(task)


def air(
    heap: Annotated[str, typer.Argument(help="A heap.")],
    out: OutOption = None,
    trial: TrialOption = None,
    weather: WeatherOption = None,
    answer: AnswerOption = None,
    careful: CarefulOption = False,
    labels_are_right: RightOption = False,
    jobs: JobsOption = None,
    cluster: ClusterOption = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Say where and when a heap was probably short of oxygen inside.

    Hatched in the picture where nobody measured oxygen.
    """
    with fitted_task(
        trial, weather, answer, careful, labels_are_right, jobs, cluster, book, 1.0, (heap,)
    ) as (task, fitted, crew):  # fmt: skip
        from heapwright.services.breathing import (
            air_json,
            air_of,
            air_picture,
            air_rows,
            air_words,
        )
        from heapwright.services.pictures import write_picture

        with telling("looking at the air") as tell:
            found = air_of(task, fitted, heap, crew=crew, on_progress=tell)
        written = write_picture(air_picture(found), out) if out is not None else None
        if json_:
            say_json(air_json(found) | {"picture": written and str(written)})
            return
        _begin(task)
        for line in air_words(found):
            say_wrapped(sentence(line))
        table(["day", "oxygen of the core", "core short", "somewhere short"], air_rows(found))
        say("Short is below 5 % of oxygen. Chances are shares of the possible heaps that fit.")
        if written is not None:
            say(f"Written: {written}")
        say_notes(task)


def inside(
    heap: Annotated[str, typer.Argument(help="A heap.")],
    out: OutOption = None,
    trial: TrialOption = None,
    weather: WeatherOption = None,
    answer: AnswerOption = None,
    careful: CarefulOption = False,
    labels_are_right: RightOption = False,
    jobs: JobsOption = None,
    cluster: ClusterOption = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Say how a heap is inside now: heat, water and air, where they went, what to measure next.

    Hatched in the picture where nobody measured; the number in a ring is what was read there.
    """
    from heapwright.services import inside as within

    ahead_d = within.AHEAD_D
    with fitted_task(
        trial, weather, answer, careful, labels_are_right, jobs, cluster, book, ahead_d, (heap,)
    ) as (task, fitted, crew):  # fmt: skip
        from heapwright.services.learnwords import learned_words, worth_words
        from heapwright.services.pictures import write_picture

        with telling("looking inside") as tell:
            found = within.inside_of(task, fitted, heap, crew=crew, on_progress=tell)
        written = write_picture(within.inside_picture(found), out) if out is not None else None
        if json_:
            say_json(within.inside_json(found) | {"picture": written and str(written)})
            return
        _begin(task)
        for line in within.inside_words(found):
            say_wrapped(sentence(line))
        f = found.found
        table(within.READ_HEAD, within.read_rows(found))
        for head, account, held in (
            (within.HEAT_HEAD, f.heat, f.heat_now), (within.WATER_HEAD, f.water, f.water_now),
        ):  # fmt: skip
            say()
            table(head, within.account_rows(account, held))
        say_wrapped(within.ACCOUNTED)
        say()
        say("Most useful next:")
        for line in worth_words(found.next):
            say_wrapped(f"  {sentence(line)}", "  ")
        if written is not None:
            say(f"Written: {written}")
        for line in learned_words(fitted):
            say_wrapped(sentence(line))
        say_notes(task, found.found.heap)


# --- around ---------------------------------------------------------------------------------------


def _begin(task: Task) -> None:
    if task.invented:
        say("INVENTED DATA: nobody built these heaps.")
