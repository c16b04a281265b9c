"""Commands for the wheelbarrow end of the work: mix, size, barrow, water.

Each is a plain function for the main program to register; each calls one service and shows what it
returns, as a page for people or as JSON. Heavy imports wait until a command runs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from heapwright.services import mixwords

if TYPE_CHECKING:
    from heapwright.planning.mix import MixSolution, MixSummary
    from heapwright.planning.sizing import SizingAdvice

__all__ = ["barrow", "mix", "size", "water"]

_Json = Annotated[bool, typer.Option("--json", help="Write JSON instead of a page.")]
_Barrow = Annotated[
    str | None,
    typer.Option(help='What one barrow holds, as in "85-100 L"; measure it with: barrow.'),
]


def mix(
    materials: Annotated[
        list[str],
        typer.Argument(help='Amount and material, as in "6 barrows arborist chips".'),
    ],
    barrow: _Barrow = None,
    goal_cn: Annotated[str | None, typer.Option(help='C:N wished, as in "25-35".')] = None,
    goal_moisture: Annotated[
        str | None, typer.Option(help='Moisture wished, as in "50-60 %".')
    ] = None,
    nitrogen: Annotated[
        str | None, typer.Option(help='A nitrogen product at hand, as in "urea 46 %".')
    ] = None,
    seed: Annotated[int, typer.Option(min=0, help="Seed of the draws behind the ranges.")] = 1,
    as_json: _Json = False,
) -> None:
    """Say what a mix will be, or with goals, how much to take of each material.

    Without a goal all the amounts go in. With --goal-cn, --goal-moisture or --nitrogen the amounts
    are the most there is, and the answer is what to take, how much water, and nitrogen in doses.
    Own measurements stand in square brackets: "6 barrows chips [moisture 50 % dry, N 0.5 %]".
    """
    from heapwright.planning.mix import MixSummary
    from heapwright.services import mix as service

    found = service.answer(
        materials, barrow=barrow, goal_cn=goal_cn, goal_moisture=goal_moisture, nitrogen=nitrogen,
        rng_seed=seed,
    )  # fmt: skip
    if as_json:
        _write_json(mixwords.mix_json(found, seed=seed))
    elif isinstance(found, MixSummary):
        _show_summary(found, barrow)
    else:
        _show_solution(found, barrow)


def size(
    shape: Annotated[
        str | None,
        typer.Argument(help="cone, mound, dome, windrow, cylinder or box; none: only split."),
    ] = None,
    diameter: Annotated[
        str | None, typer.Option(help="Width on the ground of a round heap.")
    ] = None,
    width: Annotated[str | None, typer.Option(help="Width on the ground.")] = None,
    height: Annotated[str | None, typer.Option(help="Height at the top.")] = None,
    length: Annotated[
        str | None, typer.Option(help="Length of a windrow, box or oval dome.")
    ] = None,
    top: Annotated[str | None, typer.Option(help="Width of the flat top of a trapezoid.")] = None,
    section: Annotated[
        str, typer.Option(help="triangle, parabola, trapezoid or half-ellipse.")
    ] = "parabola",
    rounded_ends: Annotated[
        bool, typer.Option("--rounded-ends", help="The windrow ends are rounded.")
    ] = False,
    volume: Annotated[
        str | None, typer.Option(help="Volume instead of height: gives the height, or only splits.")
    ] = None,
    heaps: Annotated[int | None, typer.Option(help="How many heaps you would like.")] = None,
    air: Annotated[str | None, typer.Option(help='Mean air to come, as in "4 C".')] = None,
    as_json: _Json = False,
) -> None:
    """Work out a heap's volume from a tape, and how many warm heaps it makes."""
    from heapwright.errors import InputError
    from heapwright.planning.sizing import SizingAdvice
    from heapwright.services.tape import heap_by_tape

    if shape is None and volume is None:
        raise InputError(
            "neither a shape nor a volume given",
            field="shape",
            way_out="Write size cone --diameter 2m --height 1.2m, or size --volume 7.6m3",
        )
    if shape is not None and not (diameter or width):
        raise InputError("no width given", field="width", way_out="Add --diameter or --width")
    answer = heap_by_tape(
        shape, diameter=diameter, width=width, height=height, length=length, top=top,
        section=section, rounded_ends=rounded_ends, volume=volume, heaps=heaps, air=air,
    )  # fmt: skip
    if as_json:
        _write_json(mixwords.size_json(answer))
        return
    if isinstance(answer, SizingAdvice):
        _show_advice(answer)
        return
    console = _console()
    console.print(mixwords.size_sentence(answer))
    for line in mixwords.sinking_lines(answer):
        console.print(f"  {line}")
    console.print()
    _show_advice(answer.advice)


def barrow(
    counts: Annotated[
        list[str] | None, typer.Argument(help="Bucketfuls of each load, as in 4.5 5 4.7.")
    ] = None,
    bucket: Annotated[str, typer.Option(help="What one bucket holds to its line.")] = "20 L",
    loads: Annotated[int | None, typer.Option(help="Loads counted together.")] = None,
    buckets: Annotated[float | None, typer.Option(help="Bucketfuls of all those loads.")] = None,
    as_json: _Json = False,
) -> None:
    """Measure a barrow with a bucket: what it holds, and how evenly it is filled."""
    from heapwright.services import mix as service

    found = service.calibrate_barrow(counts or [], bucket=bucket, loads=loads, buckets=buckets)
    if as_json:
        _write_json(mixwords.barrow_json(found))
        return
    console = _console()
    for line in mixwords.barrow_lines(found):
        console.print(line)
    console.print(f'Use it as --barrow "{mixwords.barrow_span(found)}".')


def water(
    amount: Annotated[str, typer.Argument(help='How much material, as in "1 m3" or "9 barrows".')],
    goal: Annotated[str, typer.Option(help='Moisture wished, as in "60 %".')] = "55 %",
    like: Annotated[str, typer.Option(help="The material.")] = "arborist chips",
    squeeze: Annotated[
        str | None, typer.Option(help="streams, drops, damp, crumbles, no_ball or dusty.")
    ] = None,
    moisture: Annotated[str | None, typer.Option(help="Moisture now, if you know it.")] = None,
    flow: Annotated[str | None, typer.Option(help='Flow of the hose, as in "15 L/min".')] = None,
    barrow: _Barrow = None,
    as_json: _Json = False,
) -> None:
    """Work out how many litres to add, and how long to run the hose."""
    from heapwright.services import mix as service

    answer = service.water_for(
        amount,
        like=like,
        goal=goal,
        moisture=moisture,
        squeeze=squeeze,
        flow=flow,
        barrow=barrow,
    )
    if as_json:
        _write_json(mixwords.water_json(answer))
        return
    console = _console()
    for line in mixwords.water_lines(answer):
        console.print(line)


# --- pages --------------------------------------------------------------------------------------


def _show_summary(summary: MixSummary, barrow: str | None) -> None:
    from rich.table import Table

    console = _console()
    console.print(mixwords.summary_sentence(summary))
    console.print()
    table = Table(box=None, pad_edge=False)
    for column in ("", "about", "range (nine in ten)"):
        table.add_column(column)
    for row in mixwords.summary_rows(summary):
        table.add_row(row.name, row.about, row.span)
    console.print(table)
    console.print()
    parts = Table(box=None, pad_edge=False)
    for column in ("material", "read as", "m3", "kg", "C:N", "from"):
        parts.add_column(column)
    for cells in mixwords.material_rows(summary):
        parts.add_row(*cells)
    console.print(parts)
    for line in summary.lines:
        for note in line.notes:
            console.print(f"  {line.name}, {mixwords.words(note)}")
    _list(console, "Beside the guides", summary.against)
    _list(console, "Look twice", summary.warnings)
    _list(console, "Taken for granted", mixwords.taken_for_granted(summary, barrow))
    _list(
        console, "Sources", [f"{source} ({mixwords.seen(how)})" for source, how in summary.sources]
    )


def _show_solution(solution: MixSolution, barrow: str | None) -> None:
    console = _console()
    console.print(mixwords.taken_sentence(solution))
    for note in solution.notes:
        console.print(note)
    plan = solution.nitrogen
    if plan is not None:
        console.print()
        for line in mixwords.nitrogen_lines(plan, solution.cn_with_doses):
            console.print(line)
    console.print()
    if plan is not None and plan.doses:
        console.print("Before any nitrogen:")
    _show_summary(solution.summary, barrow)


def _show_advice(advice: SizingAdvice) -> None:
    from rich.table import Table

    console = _console()
    console.print(advice.headline)
    console.print()
    table = Table(box=None, pad_edge=False)
    for column in mixwords.SPLIT_COLUMNS:
        table.add_column(column)
    for cells in mixwords.split_rows(advice):
        table.add_row(*cells)
    console.print(table)
    for note in advice.notes:
        console.print(note)


def _console() -> Any:
    from rich.console import Console

    return Console(markup=False, highlight=False, soft_wrap=True)


def _list(console: Any, title: str, lines: Any) -> None:
    if not lines:
        return
    console.print()
    console.print(f"{title}:")
    for line in lines:
        console.print(f"  - {line}")


def _write_json(what: dict[str, Any]) -> None:
    import json

    typer.echo(json.dumps(what, indent=2, ensure_ascii=False))
