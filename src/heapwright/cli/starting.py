"""The command that begins everything: four questions, one useful page."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from heapwright.cli.shared import JsonOption, is_terminal, say, say_json

if TYPE_CHECKING:
    from heapwright.domain.answers import Answers

__all__ = ["start"]


def start(
    answers: Annotated[
        list[str] | None,
        typer.Argument(help="All answers in one line; leave out to be asked.", show_default=False),
    ] = None,
    what: Annotated[str, typer.Option("--what", help="What there is and how much.")] = "",
    heaps: Annotated[str, typer.Option("--heaps", help="How many heaps, made when.")] = "",
    ways: Annotated[
        str, typer.Option("--ways", help="All alike, or what is done differently.")
    ] = "",
    probe: Annotated[str, typer.Option("--probe", help="How far the probe reaches.")] = "",
    barrow: Annotated[str, typer.Option("--barrow", help="What one barrow load holds.")] = "",
    out: Annotated[Path, typer.Option("--out", help="Where the plan is written.")] = Path(
        "plan.toml"
    ),
    json_: JsonOption = False,
) -> None:
    """Four answers, and at once: heaps, litres, probe spots, and what this trial can show."""
    from heapwright.domain.answers import read_answers
    from heapwright.services.firstplan import write_plan
    from heapwright.services.settings import now
    from heapwright.services.start import first_page
    from heapwright.units import parse

    line = " ".join(answers or [])
    if not (line or what or heaps or ways or probe):
        if is_terminal():
            what, heaps, ways, probe = _ask()
        else:
            from heapwright.errors import Question, QuestionError

            raise QuestionError(
                [Question(key, text) for key, text in _QUESTIONS.items()],
                way_out='Nothing was written. Answer any of them: --what "9 barrows of chips"',
            )
    moment = now()
    told = read_answers(line, now=moment) if line else read_answers("", now=moment)
    told = _with_options(told, what=what, heaps=heaps, ways=ways, probe=probe, now=moment)
    size = parse(barrow, "volume_m3", field="barrow", default_unit="litre") if barrow else None
    page = first_page(told, now=moment, barrow_m3=size)
    if json_:
        say_json({**page.to_json(), "plan": str(write_plan(page.plan, out))})
        return
    path = write_plan(page.plan, out)
    say(page.headline)
    for section in page.sections:
        say()
        say(section.title)
        for text in section.lines:
            _wrapped(text)
    say()
    say("What would sharpen this, whenever you like:")
    for text in page.sharpen:
        _wrapped(text)
    say()
    say(f"The plan behind this page is {path}. Edit it, then: heapwright plan check {path}")


_QUESTIONS = {
    "--what": "What have you got and how much? (nine barrows of shredded prunings)",
    "--heaps": "How many heaps, made when? (three heaps, today)",
    "--ways": "All treated alike, or differently? (one turned, one left alone)",
    "--probe": "How far does the probe reach? (50 cm)",
}


def _ask() -> tuple[str, str, str, str]:
    """The four questions at the terminal; an empty answer or ``skip`` leaves it open."""
    given = []
    for text in _QUESTIONS.values():
        answer = typer.prompt(text, default="skip", show_default=True)
        given.append("" if answer.strip().lower() == "skip" else answer)
    return given[0], given[1], given[2], given[3]


def _with_options(
    told: Answers, *, what: str, heaps: str, ways: str, probe: str, now: datetime
) -> Answers:
    """The answers with whatever came as an option put in their place."""
    from dataclasses import replace

    from heapwright.domain.answers import parse_heaps, parse_probe, parse_ways, parse_what
    from heapwright.errors import InputError

    if what:
        told = replace(told, ingredients=parse_what(what))
    if heaps:
        count, made = parse_heaps(heaps, now=now)
        told = replace(told, heaps=count or told.heaps, made=made or told.made)
    if ways:
        kinds, alike = parse_ways(ways)
        if not kinds and alike is None:
            raise InputError(
                "no way of managing found",
                field="ways",
                value=ways,
                way_out="Write all alike, or one turned, one vented, one left alone",
            )
        told = replace(told, ways=kinds, alike=alike)
    if probe:
        told = replace(told, probe_m=parse_probe(probe))
    return told


def _wrapped(text: str) -> None:
    import textwrap

    for line in textwrap.wrap(text, width=88, initial_indent="  ", subsequent_indent="    "):
        say(line)
