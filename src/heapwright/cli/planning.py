"""Commands for the plan: example, check, lock, show."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from heapwright.cli.shared import BookOption, JsonOption, say, say_json, table

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
    from heapwright.services.plans import describe_plan
    from heapwright.services.settings import now

    summary = describe_plan(file, now=now())
    if json_:
        say_json(summary.to_json())
        return
    say(summary.headline)
    for note in summary.notes:
        say(f"  {note}")
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
        say_json(
            {
                "trial": stored.trial.name,
                "fingerprint": stored.fingerprint,
                "locked_on": stored.locked_on.isoformat(),
                "version": stored.version,
                "edits": len(stored.edits),
            }
        )
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
        say_json(
            {
                "trial": stored.trial.name,
                "fingerprint": stored.fingerprint,
                "locked_on": stored.locked_on.isoformat(),
                "locked": stored.locked.parts(),
                "edits": [
                    {"version": e.version, "part": e.part, "before": e.before, "after": e.after,
                     "why": e.why, "recorded": e.recorded.isoformat()}
                    for e in stored.edits
                ],
            }
        )  # fmt: skip
        return
    say(f"{stored.trial.name}, locked {stored.locked_on:%Y-%m-%d}, {stored.fingerprint}")
    table(["locked", "as"], [[k, str(v)] for k, v in stored.locked.parts().items()])
    for e in stored.edits:
        say(f"Edited {e.recorded:%Y-%m-%d}: {e.part} was {e.before!r}, now {e.after!r} ({e.why})")
