"""Commands that answer the question of a trial: findings, report, kit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from heapwright.cli.shared import BookOption, JsonOption, say, say_json

if TYPE_CHECKING:
    from heapwright.services.findings import Findings
    from heapwright.stats.compare import Comparison

__all__ = ["findings", "kit", "report"]

TrialArgument = Annotated[
    str | None, typer.Argument(help="Name of the trial; may be left out when there is only one.")
]


def findings(
    trial: TrialArgument = None, book: BookOption = None, json_: JsonOption = False
) -> None:
    """Say what a trial shows, what it does not, and everything needed to doubt it; one look."""
    from heapwright.services.findings import find
    from heapwright.services.plans import only_trial
    from heapwright.services.settings import now, open_book

    with open_book(book, create=False) as opened:
        found = find(opened, only_trial(opened, trial), now=now())
    if json_:
        say_json(found.to_json())
        return
    _say_findings(found)


def report(
    trial: TrialArgument = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="The HTML file; named after the trial if left out.")
    ] = None,
    book: BookOption = None,
) -> None:
    """Write the report of a trial as one HTML file that needs nothing else; one look."""
    from heapwright.services.plans import only_trial
    from heapwright.services.report import file_name, write_report
    from heapwright.services.settings import now, open_book

    with open_book(book, create=False) as opened:
        name = only_trial(opened, trial)
        path = write_report(opened, name, out or Path(file_name(name)), now=now())
    say(str(path))


def kit(
    trial: TrialArgument = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FOLDER", help="The folder; named after the trial if left out."
        ),
    ] = None,
    book: BookOption = None,
) -> None:
    """Write the data of a trial and an R script that does its sums again; one look."""
    from heapwright.services.kit import write_kit
    from heapwright.services.plans import only_trial
    from heapwright.services.report import file_name
    from heapwright.services.settings import now, open_book

    with open_book(book, create=False) as opened:
        name = only_trial(opened, trial)
        folder = out or Path(file_name(name).removesuffix("-report.html") + "-kit")
        for path in write_kit(opened, name, folder, now=now()):
            say(str(path))
    say(f"Do the sums again: cd {folder} && Rscript recompute.R")


def _say_findings(found: Findings) -> None:
    from heapwright.services.report import report_model, shown_in

    model = report_model(found)
    say(model.question)
    if model.invented:
        say("INVENTED DATA: nobody built these heaps.")
    say(model.state)
    say()
    for sentence in model.finding:
        say(sentence)
    if model.as_done:
        say("As done, which was not as planned:")
        for sentence in model.as_done:
            say(f"  {sentence}")
    for row in model.over_time:
        if row.sentence:
            say(row.sentence)
    for table in model.factor_tables:
        say()
        _say_list(f"{table.title}, by what was varied:", (*table.lines, *table.tests))
    for block in model.outcomes:
        say()
        say(block.title + (" (this decides)" if block.decides else ""))
        if block.missing:
            say(f"  {block.missing}")
        for comparison in (c for c in found.comparisons if c.outcome == block.key):
            _say_comparison(comparison, shown_in(found))
    say()
    for pair, said in model.differed:
        nothing = ("nothing that was written down and is worth telling.",)
        _say_list(f"What else differed, {pair}:", said or nothing)
    say(f"Start: {model.fair_start}")
    _say_list("Not as planned:", model.deviations or ("nothing that was written down.",))
    say(f"{model.corrected} {model.looks}")
    _say_list("To know:", found.warnings)
    _say_list("Not shown:", model.not_shown)


def _say_comparison(comparison: Comparison, unit: str) -> None:
    from heapwright.stats.outcomes import outcome

    what = outcome(comparison.outcome)
    say(f"  {comparison.sentence}")
    say(f"    claim: {comparison.claim}")
    for other in comparison.alternatives:
        mid, low, high = other.said(what, shown_in=unit)
        say(f"    also: {mid} ({low} to {high}), {other.method}")


def _say_list(title: str, items: tuple[str, ...]) -> None:
    if title and items:
        say(title)
    for item in items:
        say(f"  {item}")
