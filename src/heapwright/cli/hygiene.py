"""The command ``hygiene``: heat over time held against published rules; what it means for seeds.

Conventions: the first sentence answers; a rule is never passed, its time-temperature part is met.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from heapwright.cli.logbook import TrialOption
from heapwright.cli.shared import BookOption, JsonOption, say, say_part

__all__ = ["hygiene"]


def hygiene(
    heap: Annotated[str | None, typer.Argument(help="The heap; all heaps if left out.")] = None,
    trial: TrialOption = None,
    rule: Annotated[
        str | None,
        typer.Option("--rule", help="One rule by its key, as in us_pfrp; else that of the plan, "
                     "else all."),
    ] = None,
    read_as: Annotated[
        str | None,
        typer.Option("--as", help="What a plan cannot say, by your word: closed_reactor, in_vessel "
                     "or housed_windrow."),
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option("--sheet", help="Write the inspector's sheet of the heap here, to print; "
                     "needs HEAP."),
    ] = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:  # fmt: skip
    """Hold the heat of heaps against published rules of time and temperature.

    The coldest measured point decides, and a time without readings counts against. The most that
    is said is that the time-temperature part of a rule is met at the measured points; your local
    rule decides. With it: what studies found of weed seeds at such heat.
    """
    from heapwright.errors import InputError
    from heapwright.services.hygiene import hygiene_part
    from heapwright.services.settings import now, open_book
    from heapwright.services.yard import pick_trial

    if sheet is not None and heap is None:
        raise InputError(
            "a sheet is of one heap", field="--sheet", value=sheet,
            way_out="Name the heap: heapwright hygiene A --sheet FILE",
        )  # fmt: skip
    with open_book(book, create=False) as opened:
        name = pick_trial(opened, trial)
        part = hygiene_part(opened, name, now=now(), heap=heap, rule=rule, read_as=read_as)
        if sheet is not None and heap is not None:
            from heapwright.services.hygienesheet import sheet_of, write_sheet

            written = write_sheet(
                sheet_of(opened, name, heap, now=now(), rule=rule, read_as=read_as), sheet
            )
    say_part(part, json_)
    if sheet is not None:
        say()
        say(f"The inspector's sheet of heap {heap}: {written}")
