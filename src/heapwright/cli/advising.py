"""The command ``advise``: what to do with a heap now, what it buys, and what it breaks.

Conventions: the first line answers; the rest says why. Progress goes to standard error.
"""

from __future__ import annotations

import re
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

if TYPE_CHECKING:
    from heapwright.services.advising import AdviceFor

__all__ = ["advise"]

_SQUEEZES = "streams, drops, damp, crumbles, no_ball or dusty."


def advise(
    heap: Annotated[str, typer.Argument(help="The heap.")],
    trial: TrialOption = None,
    days: Annotated[
        float, typer.Option("--days", min=1, max=60, help="How many days ahead to look.")
    ] = 14.0,
    weather: WeatherOption = None,
    answer: AnswerOption = None,
    squeeze: Annotated[
        str | None, typer.Option("--squeeze", help=f"A handful from 40 cm in: {_SQUEEZES}")
    ] = None,
    squeeze_skin: Annotated[
        str | None, typer.Option("--squeeze-skin", help=f"A handful from the skin: {_SQUEEZES}")
    ] = None,
    smell: Annotated[
        str | None,
        typer.Option("--smell", help="none, earthy, ammonia, rotten egg, sour, vinegar or burnt."),
    ] = None,
    hose: Annotated[
        str | None,
        typer.Option("--hose", help='Your hose by a bucket: "10 L/25 s"; or "15 L/min".'),
    ] = None,
    careful: CarefulOption = False,
    labels_are_right: RightOption = False,
    jobs: JobsOption = None,
    cluster: ClusterOption = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Say what to do with a heap now, or that nothing needs doing, and what it would buy.

    The heaps that fit your readings are run on under each act: leave, turn, water, turn and wet,
    pipes, cover. In a running trial the plan comes first, and what would break it says so.
    """
    from heapwright.services.advisewords import advice_json
    from heapwright.services.advising import advice_for, check_seen, hose_flow

    check_seen(squeeze, squeeze_skin, smell)
    flow = None if hose is None else hose_flow(hose)
    with fitted_task(
        trial, weather, answer, careful, labels_are_right, jobs, cluster, book, days, (heap,)
    ) as (task, fitted, crew), telling("trying each act") as tell:  # fmt: skip
        made = advice_for(
            task, fitted, heap, book=book, days=days, squeeze=squeeze, squeeze_skin=squeeze_skin,
            smell=smell, hose_l_min=flow, rain_known=weather is not None, crew=crew,
            on_progress=tell,
        )  # fmt: skip
    if json_:
        say_json(advice_json(made))
    else:
        _show(made)


def _show(made: AdviceFor) -> None:
    from heapwright.services.advisewords import (
        COLUMNS,
        act_rows,
        cause_lines,
        grounds,
        item_lines,
    )

    first, *rest = re.split(r"(?<=[.])\s+", made.advised.sentence, maxsplit=1)
    say(first)
    for more in rest:
        say_wrapped(more)
    if made.task.invented:
        say("INVENTED DATA: nobody built these heaps.")
    told: set[str] = set()
    for number, item in enumerate(made.advised.items):
        say()
        if number == 1:
            say("Then:")
        if number:
            say_wrapped(f"- {item.words}", "  ")
        for title, text in item_lines(item):
            # what holds for every hose or turn is said once
            if title not in ("Hose", "Care") or text not in told:
                say_wrapped(f"  {title}: {text}", "    ")
            told.add(text)
    causes = cause_lines(made)
    if causes:
        say()
    for line in causes:
        say_wrapped(line, "    ")
    say()
    say("What each act would change against leaving the heap: mean of the core, days it is above")
    say("55 C, water of core and crust at the end, time the core is short of air, dry mass lost.")
    table(COLUMNS, act_rows(made))
    say("How we know:")
    for line in grounds(made):
        say_wrapped(f"  {line}", "  ")
    say_notes(made.task, made.heap)
