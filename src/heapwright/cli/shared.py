"""What all commands share: the option for the book, printing, and the one place errors end.

Conventions: answers go to standard output, everything about them to standard error; exit code 0
for an answer, 2 for input that cannot stand, 3 for a question that must be answered first.
"""

from __future__ import annotations

import json
import sys
import textwrap
from typing import TYPE_CHECKING, Annotated, Any

import typer

from heapwright.errors import sentence

if TYPE_CHECKING:
    from heapwright.reports.part import Part

__all__ = [
    "BookOption", "JsonOption", "is_terminal", "say", "say_json", "say_part", "say_wrapped",
    "table",
]  # fmt: skip

BookOption = Annotated[
    str | None,
    typer.Option("--book", help="Path or database URL of the book.", envvar="HEAPWRIGHT_BOOK"),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the answer as JSON.")]


def say(text: str = "") -> None:
    """One line of the answer on standard output."""
    sys.stdout.write(text + "\n")


def say_wrapped(text: str, after: str = "") -> None:
    """Text of the answer in lines of at most 96; after : what later lines begin with. Blanks that
    *text* begins with stand before its first line."""
    first = text[: len(text) - len(text.lstrip())]
    say(textwrap.fill(text.lstrip(), 96, initial_indent=first, subsequent_indent=after))


def say_json(answer: Any) -> None:
    """The answer as JSON on standard output."""
    say(json.dumps(answer, indent=2, ensure_ascii=False, default=str))


def is_terminal() -> bool:
    """True when a person can be asked."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def table(columns: list[str], rows: list[list[str]], *, title: str = "") -> None:
    """A plain table on standard output; columns wrap to the terminal, no colour is needed."""
    from rich import box
    from rich.console import Console
    from rich.table import Table

    made = Table(title=title or None, title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False)
    for column in columns:
        made.add_column(column, overflow="fold")
    for row in rows:
        made.add_row(*row)
    width = None if sys.stdout.isatty() else 100
    Console(width=width, highlight=False, markup=False).print(made)


def say_part(part: Part, json_: bool = False) -> None:
    """An answer as text: its words, tables, cautions, grounds and sources; or as JSON."""
    if json_:
        say_json(part.to_json())
        return
    for line in part.words:
        say_wrapped(sentence(line))
    for grid in part.grids:
        if grid.rows:
            table(list(grid.head), [list(r) for r in grid.rows], title=grid.title)
            if grid.note:
                say_wrapped(grid.note)
    for title, lines in (
        ("Mind:", part.cautions), ("How we know:", part.known), ("Sources:", part.sources),
    ):  # fmt: skip
        if lines:
            say()
            say(title)
        for line in lines:
            say_wrapped(f"  {sentence(line)}", "    ")
