"""The command ``diagnose``: what is probably the matter with a heap."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Annotated

import typer

from heapwright.cli.shared import JsonOption, say, say_json

if TYPE_CHECKING:
    from heapwright.planning.diagnosis import Diagnosis

__all__ = ["diagnose"]

_SQUEEZE = "streams, drops, damp, crumbles, no_ball or dusty."


def diagnose(
    complaint: Annotated[
        str,
        typer.Argument(
            help="not heating, fell back, too hot, smells, white dust, dry core or wet and sour."
        ),
    ],
    age: Annotated[str | None, typer.Option(help='Age of the heap, as in "14 d".')] = None,
    volume: Annotated[str | None, typer.Option(help='Its size, as in "1.3 m3".')] = None,
    height: Annotated[str | None, typer.Option(help='Its height, as in "1.1 m".')] = None,
    core: Annotated[str | None, typer.Option(help='Core now, as in "38 C".')] = None,
    air: Annotated[str | None, typer.Option(help="Air now.")] = None,
    peak: Annotated[str | None, typer.Option(help="Warmest it has been.")] = None,
    others: Annotated[str | None, typer.Option(help="Mean of the other spots now.")] = None,
    squeeze: Annotated[str | None, typer.Option(help=f"Inside: {_SQUEEZE}")] = None,
    squeeze_skin: Annotated[str | None, typer.Option(help=f"At the skin: {_SQUEEZE}")] = None,
    squeeze_band: Annotated[str | None, typer.Option(help=f"In a white band: {_SQUEEZE}")] = None,
    smell: Annotated[
        str | None,
        typer.Option(help="none, earthy, ammonia, rotten egg, sour, vinegar or burnt."),
    ] = None,
    cn: Annotated[float | None, typer.Option(help="Carbon over nitrogen; see: mix.")] = None,
    since_turn: Annotated[str | None, typer.Option(help='Since a turn, as in "4 d".')] = None,
    rose: Annotated[
        float | None, typer.Option(help="Degrees C it warmed after the last turn.")
    ] = None,
    rain: Annotated[float | None, typer.Option(help="Rain of the last week [mm].")] = None,
    rising: Annotated[
        bool | None, typer.Option("--rising/--falling", help="How the core goes.")
    ] = None,
    fine: Annotated[
        bool | None, typer.Option("--fine/--coarse", help="Finer than a thumbnail throughout?")
    ] = None,
    fast_food: Annotated[
        bool | None,
        typer.Option("--fast-food/--no-fast-food", help="Much fed at once that rots fast?"),
    ] = None,
    fertilised: Annotated[
        bool | None,
        typer.Option("--fertilised/--not-fertilised", help="Nitrogen given from a bag?"),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Say what is probably wrong with a heap, or that nothing is, and what to look at next.

    Give what you have looked at and leave out the rest. Chances are a judgement of published
    advice; nobody has counted them.
    """
    from heapwright.services import judging as service

    found = service.judge(
        complaint, age_d=age, volume_m3=volume, height_m=height, core_c=core, air_c=air,
        peak_c=peak, other_spots_c=others, squeeze_core=squeeze, squeeze_skin=squeeze_skin,
        squeeze_band=squeeze_band, smell=smell, cn=cn, days_since_turn=since_turn,
        rose_after_turn_c=rose, rain_mm_week=rain, rising=rising, fine=fine, fast_food=fast_food,
        fertilised=fertilised,
    )  # fmt: skip
    if as_json:
        say_json(service.judged_json(found))
        return
    _show(found)


def _show(found: Diagnosis) -> None:
    likely = [c for c in found.causes[:4] if c.chance >= 0.05]
    for cause in likely:
        say(f"{100 * cause.chance:3.0f} %  {cause.text}")
    rest = 1.0 - sum(c.chance for c in likely)
    if rest >= 0.005:
        say(f"{100 * rest:3.0f} %  something else")
    for cause in likely[:2]:
        say()
        say(cause.text[0].upper() + cause.text[1:] + ":")
        _indented(cause.advice)
        if cause.guides_differ:
            _indented(f"Guides differ. {cause.guides_differ}")
        _indented(f"Source: {cause.source}")
    say()
    test = found.next_test
    if test is None or len(likely) < 2:
        say("No cheap test would tell much more.")
    else:
        say(f"Look at this next ({test.minutes:.0f} min): {test.how}")
    say("Chances are a judgement of published advice; nobody has counted them. In a running trial,")
    say("what is done to one heap alone changes the comparison: log it.")


def _indented(text: str) -> None:
    say(textwrap.fill(text, 96, initial_indent="  ", subsequent_indent="  "))
