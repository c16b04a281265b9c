"""The command that joins yards and seasons: together."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, Annotated

import typer

from heapwright.cli.shared import JsonOption, say, say_json, say_wrapped, table

if TYPE_CHECKING:
    from heapwright.services.together import Together
    from heapwright.services.togetherwords import PairWords

__all__ = ["together"]


def together(
    books: Annotated[
        list[str] | None,
        typer.Argument(help="Books mailed in, one a yard; they are read and never written to."),
    ] = None,
    trial: Annotated[
        list[str] | None,
        typer.Option("--trial", help="Name of the trial; again for another season."),
    ] = None,
    names: Annotated[
        str | None,
        typer.Option("--names", help="Names of the yards, by commas; from the files if left out."),
    ] = None,
    book: Annotated[
        str | None,
        typer.Option(
            "--book",
            help="Your own book, with trials to join; your usual one if no BOOKS are given.",
        ),
    ] = None,
    json_: JsonOption = False,
) -> None:
    """Say what several yards with the same question, or several seasons, show together.

    Each yard needs one heap of every way. In your own book it is one look at every trial taken.
    """
    from heapwright.services.settings import now, open_book
    from heapwright.services.together import together as join

    with contextlib.ExitStack() as stack:
        own = None
        if book is not None or not books:
            own = stack.enter_context(open_book(book, create=False))
        found = join(
            books or (),
            now=now(),
            trials=trial or (),
            names=names.split(",") if names is not None else (),
            own=own,
        )
    if json_:
        say_json(found.to_json())
        return
    _say_together(found)


def _say_together(found: Together) -> None:
    from heapwright.services.togetherwords import together_words

    words = together_words(found)
    for question in words.questions:
        say_wrapped(question)
    if words.invented:
        say(words.invented)
    say_wrapped(words.state)
    say()
    say_wrapped(words.headline)
    for pair in words.pairs:
        _say_pair(pair)
    for line in words.missing:
        say_wrapped(line)
    if words.as_done:
        say()
        say_wrapped(words.as_done)
        for line in words.as_done_lines:
            say_wrapped(f"  {line}", "  ")
    for title, lines in words.lists:
        say()
        say(title)
        for line in lines:
            say_wrapped(f"  {line}", "    ")


def _say_pair(pair: PairWords) -> None:
    say()
    say(pair.title)
    if pair.headline:
        say_wrapped(f"  {pair.headline}", "  ")
    say(f"  claim: {pair.claim}")
    table(list(pair.columns), [list(row) for row in pair.rows])
    for line in pair.lines:
        say_wrapped(f"  {line}", "    ")
