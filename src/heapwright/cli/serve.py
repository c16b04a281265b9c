"""The command that shows the book to a browser: serve."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from heapwright.cli.shared import BookOption, say

__all__ = ["serve"]


def serve(
    book: BookOption = None,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port; 0 for any.")] = 8765,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones in the same network join with a code.")
    ] = False,
    https: Annotated[
        bool, typer.Option("--https", help="Speak https with a certificate of this book's own.")
    ] = False,
    new_codes: Annotated[
        bool, typer.Option("--new-codes", help="Make all join codes and sessions invalid first.")
    ] = False,
    language: Annotated[str, typer.Option("--language", help="Language of the pages.")] = "en",
) -> None:
    """Show the book to a browser on this machine, and to phones in the yard with --lan."""
    # small matrices by the hundred: threads of the algebra would only wait for each other
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from heapwright.web.serving import prepare, run

    made = prepare(book, port=port, lan=lan, https=https, renew=new_codes, language=language)
    for line in made.lines:
        say(line)
    run(made)
