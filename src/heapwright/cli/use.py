"""Commands ``use`` and ``cautions``: what compost is fit for, how far it goes; what to mind."""

from __future__ import annotations

from typing import Annotated

import typer

from heapwright.cli.logbook import TrialOption
from heapwright.cli.shared import BookOption, JsonOption, say_part

__all__ = ["cautions", "use"]


def use(
    heap: Annotated[
        str | None, typer.Argument(help="The heap; all of the trial if left out.")
    ] = None,
    depth: Annotated[
        str | None, typer.Option("--depth", help='How deep to spread it, as in "5 cm".')
    ] = None,
    for_: Annotated[
        str | None, typer.Option("--for", help="mulch, bed, pots or seedlings; all if left out.")
    ] = None,
    volume: Annotated[
        str | None, typer.Option("--volume", help='What there is now, as in "0.6 m3", each heap.')
    ] = None,
    trial: TrialOption = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Say what a heap's compost may be used for by its tests, and how far it goes."""
    from heapwright.services.plans import only_trial
    from heapwright.services.settings import now, open_book
    from heapwright.services.use import use_of

    with open_book(book, create=False) as opened:
        part = use_of(
            opened, only_trial(opened, trial), heap, depth=depth, purpose=for_, volume=volume,
            now=now(),
        )  # fmt: skip
    say_part(part, json_)


def cautions(
    work: Annotated[
        str | None,
        typer.Argument(help="turning, watering, opening, sieving, filling ...; all if left out."),
    ] = None,
    core: Annotated[
        str | None, typer.Option("--core", help='The core of the heap, as in "72 C".')
    ] = None,
    material: Annotated[
        list[str] | None, typer.Option("--material", help="What is in it; may be repeated.")
    ] = None,
    shed: Annotated[bool, typer.Option("--shed", help="In a shed or container.")] = False,
    fertilised: Annotated[
        bool, typer.Option("--fertilised", help="With nitrogen from a bag.")
    ] = False,
    json_: JsonOption = False,
) -> None:
    """List what to take care of, each with its source; or only what the work given meets."""
    from heapwright.services.cautions import cautions_part

    part = cautions_part(
        work, core=core, materials=material or (), shed=shed, fertilised=fertilised
    )
    say_part(part, json_)
