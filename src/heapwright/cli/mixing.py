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
    from heapwright.services import mix as service
    from heapwright.units import parse

    def metres(text: str | None, name: str) -> float | None:
        return None if text is None else parse(text, "length_m", field=name).typical

    much = None if volume is None else parse(volume, "volume_m3", field="volume")
    air_temp_c = None if air is None else parse(air, "air_temp_c", field="air").typical
    if shape is None:
        if much is None:
            raise InputError(
                "neither a shape nor a volume given",
                field="shape",
                way_out="Write size cone --diameter 2m --height 1.2m, or size --volume 7.6m3",
            )
        advice = service.split_volume(much, heaps, air_temp_c)
        if as_json:
            _write_json({"advice": advice})
            return
        _show_advice(advice)
        return
    foot = metres(diameter, "diameter") or metres(width, "width")
    if foot is None:
        raise InputError("no width given", field="width", way_out="Add --diameter or --width")
    answer = service.size_heap(
        shape,  # type: ignore[arg-type]  # checked by Body
        width_m=foot,
        height_m=metres(height, "height"),
        volume_m3=None if much is None else much.typical,
        length_m=metres(length, "length"),
        top_m=metres(top, "top") or 0.0,
        section=section,  # type: ignore[arg-type]  # checked by Body
        rounded_ends=rounded_ends,
        heaps=heaps,
        air_temp_c=air_temp_c,
    )
    if as_json:
        _write_json({"size": answer, "volume_m3": answer.volume_m3})
        return
    console = _console()
    console.print(
        f"A {shape} of this size holds about {mixwords.sig(answer.volume_m3)} m3 "
        f"({mixwords.sig(0.9 * answer.volume_m3)}-{mixwords.sig(1.1 * answer.volume_m3)}), "
        f"{answer.body.height_m:.2f} m high, with {mixwords.sig(answer.surface_m2)} m2 to the air."
    )
    for later in answer.after:
        left = later.volume_left.scaled(answer.volume_m3)
        console.print(f"  after {later.age_d:.0f} days about {mixwords.range_of(left, 2)} m3")
    console.print(f"  {answer.after[0].note}")
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
        _write_json({"barrow": found})
        return
    mean, one = found.mean_m3.scaled(1000), found.one_m3.scaled(1000)
    console = _console()
    console.print(
        f"Your barrow holds {mixwords.range_of(mean, 2)} L on average, from {found.loads} loads."
    )
    console.print(f"A single load lies within {one.low:.0f}-{one.high:.0f} L nine times in ten.")
    if found.note:
        console.print(found.note)
    console.print(f'Use it as --barrow "{mean.low:.0f}-{mean.high:.0f} L".')


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
        _write_json({"water": answer})
        return
    console, advice = _console(), answer.advice
    console.print(f"Give {mixwords.litres(advice.litres)} in all.")
    if advice.minutes_full is not None and advice.minutes_half is not None:
        console.print(
            f"The hose runs {mixwords.range_of(advice.minutes_full, 2)} minutes if all of it soaks "
            f"in, {mixwords.range_of(advice.minutes_half, 2)} if half runs through."
        )
    console.print(
        f"From {mixwords.percent(answer.moisture_wb)} to {100 * answer.goal_moisture_wb:.0f} % "
        f"moisture, {mixwords.range_of(answer.dry_density, 2)} kg dry matter per m3 "
        f"({answer.material}; {mixwords.seen(answer.seen)})."
    )
    console.print(advice.note)
    console.print(f"Source: {answer.source} ({mixwords.seen(answer.seen)})")


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
    for column in ("heaps", "m3 each", "stays warm", "smallest chance figure, two ways"):
        table.add_column(column)
    for option in advice.options:
        floor = "-" if option.chance_floor is None else f"{option.chance_floor:.2g}"
        table.add_row(str(option.heaps), mixwords.range_of(option.each_m3, 2), option.warm, floor)
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
    import dataclasses
    import json

    def plain(value: Any) -> Any:
        if dataclasses.is_dataclass(value) and not isinstance(value, type):
            return dataclasses.asdict(value)
        return value.isoformat() if hasattr(value, "isoformat") else str(value)

    typer.echo(json.dumps(what, default=plain, indent=2, ensure_ascii=False))
