"""Commands for the work: calendar and today."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from heapwright.cli.shared import BookOption, JsonOption, say, say_json, say_wrapped, table

if TYPE_CHECKING:
    from heapwright.planning.today import Due

__all__ = ["calendar", "today"]


def calendar(
    plan: Annotated[str, typer.Argument(help="A plan file, or the name of a trial in the book.")],
    ics: Annotated[
        Path | None, typer.Option("--ics", help="Write an iCalendar file for phone or laptop.")
    ] = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """List all work of a trial: turns, rounds, checks, pipes, first and last measures."""
    from heapwright.planning.workwords import long_day
    from heapwright.services.calendar import calendar_of_work, rows_of, totals, write_ics
    from heapwright.services.settings import now

    moment = now()
    found = calendar_of_work(plan, book=book, now=moment)
    if ics is not None:
        write_ics(found, ics, now=moment)
    if json_:
        say_json(found.to_json())
        return
    mark = " (invented)" if found.trial.invented else ""
    hours = totals(found.tasks)
    say(
        f"{found.trial.name}{mark}: {len(rows_of(found.tasks))} jobs until "
        f"{long_day(found.trial.locked.ends)}, about {hours['typical']:.0f} hours in all "
        f"({hours['low']:.0f} to {hours['high']:.0f})."
    )
    for note in found.notes:
        say(f"  {note}")
    rows = [
        [
            f"{r.due:%a} {r.due.isoformat()}",
            f"{r.tasks[0].at:%H:%M}" if r.tasks[0].at else "",
            r.title,
            f"{r.minutes.typical:.0f} ({r.minutes.low:.0f}-{r.minutes.high:.0f})",
            r.tasks[0].skipping_short,
        ]
        for r in rows_of(found.tasks)
    ]
    table(["day", "hour", "work", "minutes", "skipping costs"], rows)
    say("Minutes are common practice, no source; log your own and they show in the findings.")
    if ics is not None:
        say(f"Written: {ics}. Import it again after an edit: entries move, none is doubled.")


def today(
    trial: Annotated[
        str | None, typer.Argument(help="Name of the trial; not needed if there is only one.")
    ] = None,
    minutes: Annotated[
        float | None, typer.Option("--minutes", help="Minutes you have; picks what fits.")
    ] = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Say what is due now, what comes next, and what skipping it costs."""
    from heapwright.services.calendar import due_today, today_json
    from heapwright.services.settings import now

    planned, answer = due_today(trial, book=book, now=now(), minutes=minutes)
    if json_:
        say_json(today_json(planned, answer, minutes=minutes))
        return
    say(answer.sentence)
    mark = " (invented)" if planned.invented else ""
    clock = "" if planned.place.time_zone else ", clock as typed"
    day = answer.moment
    say(f"{planned.name}{mark}, {day:%A} {day.day} {day:%B} {day:%H:%M}{clock}")
    for item in answer.due:
        _say_due(item)
    if answer.soon:
        say()
        say("Coming")
        next_ones = {(i.kind, i.heaps): i for i in reversed(answer.soon)}
        for item in [i for i in answer.soon if i in next_ones.values()]:
            say(f"  {item.state}: {item.title}; skipping costs {item.tasks[0].skipping_short}")
    if answer.missed:
        say()
        say("Missed by the plan. If it was done, write it down (heapwright log), about will do:")
        for item in answer.missed:
            say(f"  {item.title}, {item.state}")
    if answer.cautions:
        say()
        say("Mind:")
        for met in answer.cautions:
            say_wrapped(f"  {met.text} ({met.sourced})", "    ")


def _say_due(item: Due) -> None:
    task = item.tasks[0]
    say()
    fits = "" if item.fits is None else " · fits" if item.fits else " · does not fit"
    say(f"{item.title}: {item.state}{fits}")
    if item.parts:
        say(f"  Measure {', '.join(item.parts)}.")
    say(f"  Why: {task.reason}." + (f" {task.note.capitalize()}." if task.note else ""))
    if item.why:
        say(f"  {item.why[:1].upper()}{item.why[1:]}.")
    else:
        m = item.minutes
        say(f"  About {m.typical:.0f} minutes ({m.low:.0f} to {m.high:.0f}).")
    say(f"  Skipping costs {task.skipping_costs}.")
