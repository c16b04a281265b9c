"""The command that joins yards and seasons: together."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, Annotated

import typer

from heapwright.cli.shared import JsonOption, say, say_json, say_wrapped, table

if TYPE_CHECKING:
    from heapwright.services.together import Together
    from heapwright.stats.yards import YardComparison

__all__ = ["together"]


def together(
    books: Annotated[
        list[str] | None,
        typer.Argument(help="Books mailed in, one a yard; they are read and never written to."),
    ] = None,
    trial: Annotated[
        list[str] | None,
        typer.Option("--trial", help="Name of the trial; again for another season."),
    ] = None,
    names: Annotated[
        str | None,
        typer.Option("--names", help="Names of the yards, by commas; from the files if left out."),
    ] = None,
    book: Annotated[
        str | None,
        typer.Option(
            "--book",
            help="Your own book, with trials to join; your usual one if no BOOKS are given.",
        ),
    ] = None,
    json_: JsonOption = False,
) -> None:
    """Say what several yards with the same question, or several seasons, show together.

    Each yard needs one heap of every way. In your own book it is one look at every trial taken.
    """
    from heapwright.services.settings import now, open_book
    from heapwright.services.together import together as join

    with contextlib.ExitStack() as stack:
        own = None
        if book is not None or not books:
            own = stack.enter_context(open_book(book, create=False))
        found = join(
            books or (),
            now=now(),
            trials=trial or (),
            names=names.split(",") if names is not None else (),
            own=own,
        )
    if json_:
        say_json(found.to_json())
        return
    _say_together(found)


def _say_together(found: Together) -> None:
    from heapwright.services.together import by_yards

    for question in dict.fromkeys(y.record.plan.locked.question for y in found.yards):
        say_wrapped(question)
    if found.invented:
        whose = "" if len(found.invented) == len(found.yards) else f" ({', '.join(found.invented)})"
        say(f"INVENTED DATA{whose}: nobody built these heaps.")
    say_wrapped(_state(found))
    say()
    say_wrapped(found.headline)
    for comparison in found.comparisons:
        _say_comparison(comparison, found)
    for key, why in found.missing.items():
        if key != found.decides:
            say_wrapped(f"Without an answer: {_title(key)}. {why}")
    _say_as_done(found)
    _say_list("Left out:", _left_out(found))
    _say_list("To know:", found.notes)
    _say_list("Also differs between yards, not corrected for:", _settings(found))
    deviations = by_yards((y, d.text) for y, ds in found.deviations.items() for d in ds)
    _say_list("Not as planned:", deviations or ("nothing that was written down.",))
    looks = [
        f"{yard}: {total}, this one included; before the end {before or 'none'}."
        for yard, (before, total) in found.looks.items()
    ]
    _say_list("Looks counted in your book:", looks)
    _say_list("Rests on:", list(dict.fromkeys(a for c in found.comparisons for a in c.assumptions)))
    _say_list("Sources:", list(dict.fromkeys(s for c in found.comparisons for s in c.sources)))


def _state(found: Together) -> str:
    from heapwright.services.mailed import said_day

    count = len(found.yards)
    who = ", ".join(y.block for y in found.yards)
    day = said_day(found.ends)
    told = f"All ended by {day}" if found.ended else f"No claim before the last ends, on {day}"
    return f"{count} {'trial' if count == 1 else 'trials'} ({who}). {told}."


def _title(key: str) -> str:
    from heapwright.stats.outcomes import outcome

    return outcome(key).title


def _say_comparison(comparison: YardComparison, found: Together) -> None:
    from heapwright.stats.outcomes import outcome

    what, unit = outcome(comparison.outcome), found.shown_in
    decides = " (this decides)" if comparison.outcome == found.decides else ""
    say()
    title = what.title[:1].upper() + what.title[1:]
    say(f"{title}, {comparison.way} against {comparison.control}{decides}")
    if comparison.outcome != found.decides:
        say_wrapped(f"  {comparison.headline}", "  ")
    say(f"  claim: {comparison.claim}")
    _say_values(comparison, found)
    if comparison.low is not None and comparison.high is not None:
        low, mid, high = (
            what.signed(v, shown_in=unit)
            for v in (comparison.low, comparison.estimate, comparison.high)
        )
        say_wrapped(f"  decides: {mid} ({low} to {high}), {comparison.method}", "    ")
    for other in comparison.alternatives:
        mid, low, high = other.said(what, shown_in=unit)
        say_wrapped(f"  also: {mid} ({low} to {high}), {other.method}", "    ")
    for line in _by_yard_words(comparison, unit):
        say_wrapped(f"  {line}", "    ")


def _by_yard_words(comparison: YardComparison, unit: str) -> list[str]:
    """How far yards differ, and the chance figure by flips of signs."""
    from heapwright.stats.outcomes import outcome

    what, said = outcome(comparison.outcome), []
    if comparison.difference_sd is not None:
        sd = what.amount(comparison.difference_sd, shown_in=unit)
        line = f"Differences by yard have a standard deviation of {sd}"
        if comparison.effect_sd is not None:
            more = what.amount(comparison.effect_sd, shown_in=unit)
            line += f", {more} of it beyond heaps that merely differ by as much as assumed"
        if comparison.differ_p is not None:
            line += f"; heaps alone give as much with chance figure {comparison.differ_p:.2g}"
        said.append(line + ".")
    if comparison.sign_p is not None:
        said.append(
            f"Flips of signs by yard: chance figure {comparison.sign_p:.3g}; the smallest that "
            f"{len(comparison.yards)} yards can give is {comparison.floor:.3g}; this way by itself."
        )
    return said


def _say_values(comparison: YardComparison, found: Together) -> None:
    """The table by yard: mean of each way, and the difference."""
    from heapwright.stats.outcomes import outcome

    what = outcome(comparison.outcome)
    factor = what.factor(found.shown_in)
    ways = (comparison.control, comparison.way)
    rows = []
    for yard, by_way in found.values.get(comparison.outcome, {}).items():
        cells = [_mean(by_way.get(way, {}), factor) for way in ways]
        difference = comparison.differences.get(yard)
        rows.append([yard, *cells, "" if difference is None else _shown(difference * factor)])
    unit = what.unit_on_screen(found.shown_in)
    named = [f"{w} ({unit})" if unit else w for w in ways]
    table(["yard", *named, "difference"], rows)


def _mean(heaps: dict[str, float] | object, factor: float) -> str:
    if not isinstance(heaps, dict) or not heaps:
        return "none"
    many = f" ({len(heaps)} heaps)" if len(heaps) > 1 else ""
    return f"{_shown(sum(heaps.values()) / len(heaps) * factor)}{many}"


def _say_as_done(found: Together) -> None:
    if not found.as_done_without:
        return
    decide = [c for c in found.as_done if c.outcome == found.decides]
    say()
    say_wrapped(
        f"As done, without {', '.join(found.as_done_without)}, where a heap was lost or not "
        "handled as planned:"
    )
    for comparison in decide:
        say_wrapped(f"  {comparison.headline}", "  ")
    if not decide:
        say("  Then no yard is left to compare.")


def _left_out(found: Together) -> tuple[str, ...]:
    from heapwright.services.together import by_yards

    said = []
    for comparison in found.comparisons:
        for yard, ways in comparison.lacking.items():
            text = f"no heap of {' or '.join(ways)} with {_title(comparison.outcome)}."
            said.append((yard, text))
    for key, why in found.left_out.items():
        said += [(yard, f"{_title(key)}: {text.rstrip('.')}.") for yard, text in why.items()]
    return by_yards(said)


def _settings(found: Together) -> list[str]:
    """Size and day of building by yard, and how a way was carried out where that differs."""
    said = [s.text for s in found.settings]
    ways = {way.lower() for s in found.settings for way in s.ways}
    for way in sorted(ways):
        details = {
            s.yard: text for s in found.settings for w, text in s.ways.items() if w.lower() == way
        }
        if len(set(details.values())) > 1:
            each = "; ".join(f"{yard} {text}" for yard, text in details.items())
            said.append(f"How {way} was done: {each}")
    return said


def _shown(value: float) -> str:
    """A number of one column: one decimal, two where it is small."""
    return f"{value:.1f}" if abs(value) >= 1 else f"{value:.2f}"


def _say_list(title: str, items: list[str] | tuple[str, ...]) -> None:
    if items:
        say()
        say(title)
    for item in items:
        say_wrapped(f"  {item}", "    ")
