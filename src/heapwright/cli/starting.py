"""The command that begins everything: four questions, one useful page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from heapwright.cli.shared import JsonOption, is_terminal, say, say_json

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
    from heapwright.services.firstplan import write_plan
    from heapwright.services.settings import now
    from heapwright.services.start import first_page, told_in
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
    told = told_in(line, what=what, heaps=heaps, ways=ways, probe=probe, now=moment)
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


def _wrapped(text: str) -> None:
    import textwrap

    for line in textwrap.wrap(text, width=88, initial_indent="  ", subsequent_indent="    "):
        say(line)
