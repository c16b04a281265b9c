"""Commands for the plan: example, check, lock, show."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from heapwright.cli.shared import BookOption, JsonOption, say, say_json, say_wrapped, table

if TYPE_CHECKING:
    from heapwright.services.reach import Reach, SplitRow

__all__ = ["plan_app"]

plan_app = typer.Typer(
    help="Write, check, lock and show plans.", no_args_is_help=True, rich_markup_mode=None
)


@plan_app.command()
def example() -> None:
    """Print an example plan with every table (the invented Ferncombe trial)."""
    from heapwright.services.plans import example_plan

    typer.echo(example_plan(), nl=False)


@plan_app.command()
def check(
    file: Annotated[Path, typer.Argument(help="The plan file.")], json_: JsonOption = False
) -> None:
    """Read a plan and say what it means, or what is wrong: file, line, key, value, way out."""
    from heapwright.services.plancheck import check_plan
    from heapwright.services.settings import now

    checked = check_plan(file, now=now())
    summary, can_show = checked.summary, checked.can_show
    if json_:
        say_json(checked.to_json())
        return
    say(summary.headline)
    for note in (*summary.notes, *can_show):
        say(f"  {note}")
    if can_show:
        say("  More on what these heaps can show: heapwright plan reach")
    for line in checked.cautions:
        say_wrapped(f"  Mind: {line}", "    ")
    say(f"Fingerprint of what will be locked: {summary.fingerprint}")


@plan_app.command()
def lock(
    file: Annotated[Path, typer.Argument(help="The plan file.")],
    edit: Annotated[
        bool, typer.Option("--edit", help="Store a changed locked part openly; needs --why.")
    ] = False,
    why: Annotated[str, typer.Option("--why", help="Why a locked part changes.")] = "",
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Put a plan into the book and lock its question before the first barrow."""
    from heapwright.services.plans import lock_plan
    from heapwright.services.settings import now, open_book

    with open_book(book) as opened:
        stored = lock_plan(opened, file, now=now(), why=why, unlock=edit)
    if json_:
        say_json(stored.locked_json())
        return
    say(f"{stored.trial.name} is locked. Write this on the shed wall: {stored.fingerprint}")
    if stored.edits:
        say(f"Locked parts edited since, shown in every report: {len(stored.edits)}")


@plan_app.command()
def show(
    trial: Annotated[str | None, typer.Argument(help="Name of the trial.")] = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Show what was locked for a trial, and what was edited since."""
    from heapwright.services.plans import only_trial, stored_plan
    from heapwright.services.settings import open_book

    with open_book(book, create=False) as opened:
        stored = stored_plan(opened, only_trial(opened, trial))
    if json_:
        say_json(stored.to_json())
        return
    say(f"{stored.trial.name}, locked {stored.locked_on:%Y-%m-%d}, {stored.fingerprint}")
    table(["locked", "as"], [[k, str(v)] for k, v in stored.locked.parts().items()])
    for e in stored.edits:
        say(f"Edited {e.recorded:%Y-%m-%d}: {e.part} was {e.before!r}, now {e.after!r} ({e.why})")


@plan_app.command()
def reach(
    file: Annotated[Path, typer.Argument(help="The plan file.")],
    weather: Annotated[
        Path | None,
        typer.Option("--weather", help="A weather file, for how warm heaps of each size run."),
    ] = None,
    json_: JsonOption = False,
) -> None:
    """Say what this plan can show before building: heaps, sizes, a neighbour's pair."""
    from heapwright.services.reach import reach_of
    from heapwright.services.settings import now
    from heapwright.services.simulating import workers_for

    found = reach_of(file, now=now(), weather=weather, workers=workers_for(4))
    if json_:
        say_json(found.to_json())
        return
    for sentence in found.sentences():
        say(sentence)
    say()
    _say_tables(found)
    if found.spots:
        say(found.spots)
        say()
    if not found.sizes:
        say(found.without_sizes)
        return
    say("The same material in more and smaller heaps, left alone, in this weather (simulated; low,")
    say("middle and high of what is likely before anything is read):")
    table(
        ["each", "m3 a heap", "peak of the core [C]", "days above 45 C", "stays cold"],
        [
            [f"{s.each}", f"{s.volume_m3:.2f}", _three(s.peak_c), _three(s.days_hot),
             f"{100 * s.cold:.0f} %"]
            for s in found.sizes
        ],
    )  # fmt: skip
    say("Stays cold: chance of less than three days above 45 C. Smaller heaps show more and heat "
        "less.")  # fmt: skip


@plan_app.command()
def spread(
    trials: Annotated[
        list[str] | None, typer.Argument(help="Ended trials of the book; its only one if none.")
    ] = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Say how far heaps treated alike differed in your own earlier trials, for the next plan."""
    from heapwright.services.settings import now, open_book
    from heapwright.services.spread import spread_of

    with open_book(book, create=False) as opened:
        found = spread_of(opened, trials or [], now=now())
    if json_:
        say_json(found.to_json())
        return
    for name, sd, df in found.trials:
        say(f"{name}: standard deviation {sd:.1f} C, {df:g} degrees of freedom")
    for name, why in found.left_out:
        say(f"{name} left out: {why}")
    say(found.sentence)
    say("For [outcome] of the next plan, before it is locked:")
    for line in found.lines:
        say(f"  {line}")


_REACH_HEAD = ("each", "apart by chance", "found in 4 of 5", "yours is found", "chance floor")


def _three(values: tuple[float, float, float]) -> str:
    low, mid, high = values
    return f"{mid:.0f} ({low:.0f} to {high:.0f})"


def _say_tables(found: Reach) -> None:
    """More or fewer heaps, and yards, in degrees or in standard deviations."""
    if not found.temperature:
        say(
            f"Heaps of each way, {found.title}; the difference found in 4 of 5 trials, in times how"
        )
        say("far heaps of one way usually differ (their standard deviation):")
        table(
            ["each", "found in 4 of 5", "chance floor"],
            [[f"{r.each}", _or_dash(r.in_sds), f"{r.floor:.2g}"] for r in found.splits],
        )
        say()
        return
    say(f"Heaps of each way, {found.title} [C]:")
    table(list(_REACH_HEAD), [_reach_row(r) for r in found.splits])
    say()
    say("Yards with one heap of either way each, paired by yard, nothing assumed about the spread")
    say("[C]. Three yards are the least for a claim; two can only lean:")
    table(["yards", *_REACH_HEAD[1:]], [_reach_row(r) for r in found.yards])
    say("Apart by chance: as far can ways that do nothing at all come out apart. Chance floor: the")
    say("smallest chance figure that so many heaps can give, however the lots fall.")
    say()


def _or_dash(number: float | None) -> str:
    return "-" if number is None else f"{number:.1f}"


def _reach_row(row: SplitRow) -> list[str]:
    found = "-" if row.found is None else f"{100 * row.found:.0f} %"
    return [
        f"{row.each}", _or_dash(row.half_width_c), _or_dash(row.detectable_c), found,
        f"{row.floor:.2g}",
    ]  # fmt: skip
