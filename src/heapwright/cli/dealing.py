"""The command for sharing out loads: deal."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from heapwright.cli.shared import BookOption, JsonOption, say, say_json, table

if TYPE_CHECKING:
    from heapwright.services.deal import Deal

__all__ = ["deal"]


def deal(
    plan: Annotated[str, typer.Argument(help="A plan file, or the name of a trial in the book.")],
    loads: Annotated[int | None, typer.Option("--loads", help="Number of loads in all.")] = None,
    scores: Annotated[
        str | None, typer.Option("--scores", help='Leaf in each load by eye, %, as "20 35 50".')
    ] = None,
    scores_file: Annotated[
        Path | None, typer.Option("--scores-file", help="The same from a text file.")
    ] = None,
    next_: Annotated[
        str | None, typer.Option("--next", help="Score of the load in hand: where does it go?")
    ] = None,
    rule: Annotated[
        str,
        typer.Option("--rule", help="buffered (a load for every heap stands by) or one-at-a-time."),
    ] = "buffered",
    lots: Annotated[
        bool, typer.Option("--lots", help="Show which heap gets which way. Not for the dealer.")
    ] = False,
    sheet: Annotated[
        Path | None, typer.Option("--sheet", help="Write the dealer's sheet (HTML, to print).")
    ] = None,
    lots_sheet: Annotated[
        Path | None, typer.Option("--lots-sheet", help="Write the lots as a sheet to be sealed.")
    ] = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Share out barrow loads so that all heaps start alike; lots stay hidden from the dealer."""
    from heapwright.services import deal as service
    from heapwright.services.settings import now

    moment = now()
    made = service.share_out(
        plan, book=book, now=moment, loads=loads, rule=rule,
        scores=_scores(scores, scores_file), next_score=_next(next_),
    )  # fmt: skip
    if lots:
        service.needed_lots(made)
    _write(made, sheet, lots_sheet)
    if json_:
        say_json(made.to_json(lots=lots))
        return
    _say(made, brief=sheet is not None)
    if lots:
        _say_lots(made)
    for name, path in (("dealer's sheet", sheet), ("lots, to be sealed", lots_sheet)):
        if path is not None:
            say(f"Written: {path} ({name})")


def _scores(text: str | None, file: Path | None) -> list[float]:
    from heapwright.errors import InputError
    from heapwright.services.scores import parse_scores, read_scores

    if text is not None and file is not None:
        raise InputError(
            "scores are given twice", field="scores", way_out="Give --scores or --scores-file"
        )
    if file is not None:
        return read_scores(file)
    if text is None:
        return []
    found = parse_scores(text)
    if not found:
        raise InputError(
            "there is no score in it",
            field="scores",
            value=repr(text),
            way_out='Write one score a load, in per cent, as in "20 35 50"',
        )
    return found


def _next(text: str | None) -> float | None:
    from heapwright.errors import InputError
    from heapwright.services.scores import parse_scores

    if text is None:
        return None
    found = parse_scores(text, field="next")
    if len(found) != 1:
        raise InputError(
            "one score was expected",
            field="next",
            value=repr(text),
            way_out="Write the score of the load in hand, as in --next 50",
        )
    return found[0]


def _write(made: Deal, sheet: Path | None, lots_sheet: Path | None) -> None:
    from heapwright.services import deal as service
    from heapwright.services.settings import now

    if sheet is None and lots_sheet is None:
        return
    from heapwright.reports.sheets import deal_sheet_html, lots_sheet_html

    if sheet is not None:
        page = deal_sheet_html(service.deal_sheet(made, now=now()))
        service.write_page(page, sheet, field="sheet")
    if lots_sheet is not None:
        page = lots_sheet_html(service.lots_sheet(made, now=now()))
        service.write_page(page, lots_sheet, field="lots-sheet")


def _say(made: Deal, *, brief: bool) -> None:
    mark = " (invented)" if made.invented else ""
    if made.next_load is not None:
        load = made.next_load
        if load.heap is not None:
            say(f"Load {load.number} ({load.score:g} % leaf) goes to heap {load.heap}.")
        else:
            wait = -load.number % len(made.heaps)
            say(
                f"Load {load.number} stands by: {wait} more before the {len(made.heaps)} are dealt."
            )
    dealt = sum(1 for x in made.loads if x.heap is not None)
    say(
        f"{made.trial}{mark}, plan {made.fingerprint}: {len(made.loads)} loads for "
        f"{len(made.heaps)} heaps, {dealt} dealt."
    )
    for note in made.notes:
        say(f"  {note}")
    say()
    for number, step in enumerate(made.steps, 1):
        say(f"  {number}. {step}")
    say()
    if not brief:
        table(
            ["load", "leaf, %", "heap", "its sum"],
            [
                [
                    str(x.number),
                    "" if x.score is None else f"{x.score:g}",
                    x.heap or ("stands by" if x.score is not None else ""),
                    "" if x.total is None else f"{x.total:g}",
                ]
                for x in made.loads
            ],
        )
    for line in (*made.balance_lines, *made.site):
        say(line)
    for line in made.questions:
        say(f"Asked: {line}")
    for line in made.safety:
        say(line)


def _say_lots(made: Deal) -> None:
    from heapwright.services.deal import needed_lots

    found = needed_lots(made)
    say()
    say(f"Lots, drawn with seed {found.seed} (plan {made.fingerprint}); not for the dealer:")
    for heap, way in found.ways.items():
        how = " (set in the plan)" if heap in found.fixed else ""
        say(f"  {heap}: {way}{how}")
    for note in found.notes:
        say(f"  {note}")
