"""The command ``microscope``: fields into the book, and what they show of every heap."""

from __future__ import annotations

from typing import Annotated

import typer

from heapwright.cli.logbook import IdOption, NoteOption, TrialOption, WhenOption
from heapwright.cli.shared import BookOption, JsonOption, say, say_json, say_part

__all__ = ["microscope"]


def microscope(
    heap: Annotated[str | None, typer.Argument(help="Only this heap, with its fields.")] = None,
    field: Annotated[
        list[str] | None,
        typer.Option(
            "--field",
            help='Enter a field first: "12 cells; 0.4 mm at 4 um", "7 crossings" or "no hyphae"; '
            "may stand many times.",
        ),
    ] = None,
    size: Annotated[
        str, typer.Option(help='A field: its diameter "0.45 mm", or its area "0.16 mm2".')
    ] = "",
    cover: Annotated[str, typer.Option(help='Cover slip, as in "18 x 18 mm".')] = "",
    drop: Annotated[str, typer.Option(help='Drop under it, as in "0.05 mL".')] = "",
    dilution: Annotated[
        str, typer.Option(help='Compost in water: "1 g to 9 mL, then 1:10", or "100 mL/g".')
    ] = "",
    grid: Annotated[
        str, typer.Option(help='Length of all lines of a grid in a field, as in "4 mm".')
    ] = "",
    cell: Annotated[
        str, typer.Option(help='Size of the cells: "rod 1.2 x 0.6 um" or "round 0.8 um".')
    ] = "",
    dry: Annotated[
        str, typer.Option(help='Dry matter, as in "45 %"; else from a moisture test of the heap.')
    ] = "",
    stain: Annotated[str, typer.Option(help="Stain; FDA shows active hyphae.")] = "",
    when: WhenOption = None,
    note: NoteOption = "",
    id_: IdOption = None,
    trial: TrialOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say what the microscope shows: cells and hyphae a field and a gram, fungi to bacteria.

    With --field it enters what you saw first. It reports and does not grade: methods differ, and
    no published threshold proves quality.
    """
    from heapwright.errors import InputError
    from heapwright.services.microscope import microscope as answer
    from heapwright.services.settings import now, open_book
    from heapwright.services.slides import log_fields, read_slide

    slide = {"field": size, "cover": cover, "drop": drop, "dilution": dilution, "grid": grid,
             "cell": cell, "dry": dry, "stain": stain}  # fmt: skip
    if field and heap is None:
        raise InputError("say which heap", field="HEAP", way_out="heapwright microscope A --field")
    if not field and any(slide.values()):
        raise InputError("a slide without a field", field="--field",
                         way_out='Add --field "12 cells"')  # fmt: skip
    with open_book(book, create=False) as opened:
        if field and heap is not None:
            made = log_fields(
                opened, trial, heap, field, read_slide(slide), now=now(), when=when, note=note,
                entry_id=id_,
            )  # fmt: skip
            if not as_json:
                new = "Written" if made.added.new else "Already in the book"
                plural = "s" if len(field) > 1 else ""
                say(f"{new}: {len(field)} field{plural}, {len(made.entries)} values. "
                    f"Id {made.ids[0][:8]}.")  # fmt: skip
        part = answer(opened, trial, now=now(), heap=heap)
    if as_json:
        say_json(part.to_json())
        return
    say_part(part)
