"""The command ``balance``: what came out of heaps, by every method that there is."""

from __future__ import annotations

from typing import Annotated

import typer

from heapwright.cli.shared import BookOption, JsonOption, say, say_json, say_part

__all__ = ["balance"]


def balance(
    heap: Annotated[str | None, typer.Argument(help="One heap; all of them if left out.")] = None,
    per_hour: Annotated[
        str | None, typer.Option("--per-hour", help='What an hour of work costs, as in "15 EUR".')
    ] = None,
    trial: Annotated[
        str | None, typer.Option("--trial", help="Name of the trial, if there are several.")
    ] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say how much came out of heaps: dry mass, volume, water, carbon, nitrogen, minutes.

    The same loss by several methods stands side by side, each with its range, and it is said
    whether what came in, went and is left adds up. Give money only if you want it counted.
    """
    from heapwright.services.balancewords import balance_part
    from heapwright.services.settings import now, open_book
    from heapwright.services.yard import pick_trial

    with open_book(book, create=False) as opened:
        name = pick_trial(opened, trial)
        part = balance_part(opened, name, now=now(), heap=heap, per_hour=per_hour)
    if as_json:
        say_json(part.to_json())
        return
    if part.numbers["invented"]:
        say("INVENTED DATA: nobody built these heaps.")
    say_part(part)
