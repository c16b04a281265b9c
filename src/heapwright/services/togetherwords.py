"""What several yards show together, in words and rows, for the command and the page alike.

Units: values in the unit that the trials show, named in the columns. Conventions: lines are plain
text without indents; a number of a column has one decimal, two where it is small.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from heapwright.services.mailed import said_day
from heapwright.services.together import Together, by_yards
from heapwright.stats.outcomes import outcome
from heapwright.stats.yards import YardComparison

__all__ = ["PairWords", "TogetherWords", "together_words"]


@dataclass(frozen=True, slots=True)
class PairWords:
    """One comparison: title; headline : empty where it stands above already; claim; columns and
    rows, a row a yard; lines : what decides, what else was tried, how yards differ."""

    title: str
    headline: str
    claim: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TogetherWords:
    """All of it: questions as locked; invented : empty unless data is; state; headline; pairs;
    missing : outcomes without an answer; as_done, as_done_lines : the second answer, empty where
    all went as planned; lists : (title, lines), none of them empty."""

    questions: tuple[str, ...]
    invented: str
    state: str
    headline: str
    pairs: tuple[PairWords, ...]
    missing: tuple[str, ...]
    as_done: str
    as_done_lines: tuple[str, ...]
    lists: tuple[tuple[str, tuple[str, ...]], ...]


def together_words(found: Together) -> TogetherWords:
    """All that yards show together, in words."""
    return TogetherWords(
        questions=tuple(dict.fromkeys(y.record.plan.locked.question for y in found.yards)),
        invented=_invented(found),
        state=_state(found),
        headline=found.headline,
        pairs=tuple(_pair(c, found) for c in found.comparisons),
        missing=tuple(
            f"Without an answer: {outcome(key).title}. {why}"
            for key, why in found.missing.items() if key != found.decides
        ),
        as_done=_as_done(found),
        as_done_lines=_as_done_lines(found),
        lists=tuple((title, tuple(lines)) for title, lines in _lists(found) if lines),
    )  # fmt: skip


def _invented(found: Together) -> str:
    if not found.invented:
        return ""
    whose = "" if len(found.invented) == len(found.yards) else f" ({', '.join(found.invented)})"
    return f"INVENTED DATA{whose}: nobody built these heaps."


def _state(found: Together) -> str:
    count = len(found.yards)
    who = ", ".join(y.block for y in found.yards)
    day = said_day(found.ends)
    told = f"All ended by {day}" if found.ended else f"No claim before the last ends, on {day}"
    return f"{count} {'trial' if count == 1 else 'trials'} ({who}). {told}."


# --- one comparison ------------------------------------------------------------------------------


def _pair(comparison: YardComparison, found: Together) -> PairWords:
    what, unit = outcome(comparison.outcome), found.shown_in
    decides = comparison.outcome == found.decides
    lines = []
    if comparison.low is not None and comparison.high is not None:
        low, mid, high = (
            what.signed(v, shown_in=unit)
            for v in (comparison.low, comparison.estimate, comparison.high)
        )
        lines.append(f"decides: {mid} ({low} to {high}), {comparison.method}")
    for other in comparison.alternatives:
        mid, low, high = other.said(what, shown_in=unit)
        lines.append(f"also: {mid} ({low} to {high}), {other.method}")
    title = what.title[:1].upper() + what.title[1:]
    columns, rows = _values(comparison, found)
    return PairWords(
        title=f"{title}, {comparison.way} against {comparison.control}"
        f"{' (this decides)' if decides else ''}",
        headline="" if decides else comparison.headline,
        claim=comparison.claim,
        columns=columns,
        rows=rows,
        lines=(*lines, *_by_yard(comparison, unit)),
    )


def _by_yard(comparison: YardComparison, unit: str) -> list[str]:
    """How far yards differ, and the chance figure by flips of signs."""
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


def _values(
    comparison: YardComparison, found: Together
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """The table by yard: mean of each way, and the difference."""
    what = outcome(comparison.outcome)
    factor = what.factor(found.shown_in)
    ways = (comparison.control, comparison.way)
    rows = []
    for yard, by_way in found.values.get(comparison.outcome, {}).items():
        cells = [_mean(by_way.get(way, {}), factor) for way in ways]
        difference = comparison.differences.get(yard)
        rows.append((yard, *cells, "" if difference is None else _shown(difference * factor)))
    unit = what.unit_on_screen(found.shown_in)
    named = [f"{w} ({unit})" if unit else w for w in ways]
    return ("yard", *named, "difference"), tuple(rows)


def _mean(heaps: Mapping[str, float], factor: float) -> str:
    if not heaps:
        return "none"
    many = f" ({len(heaps)} heaps)" if len(heaps) > 1 else ""
    return f"{_shown(sum(heaps.values()) / len(heaps) * factor)}{many}"


def _shown(value: float) -> str:
    """A number of one column: one decimal, two where it is small."""
    return f"{value:.1f}" if abs(value) >= 1 else f"{value:.2f}"


# --- beside the comparisons ----------------------------------------------------------------------


def _as_done(found: Together) -> str:
    if not found.as_done_without:
        return ""
    return (
        f"As done, without {', '.join(found.as_done_without)}, where a heap was lost or not "
        "handled as planned:"
    )


def _as_done_lines(found: Together) -> tuple[str, ...]:
    if not found.as_done_without:
        return ()
    decide = tuple(c.headline for c in found.as_done if c.outcome == found.decides)
    return decide or ("Then no yard is left to compare.",)


def _lists(found: Together) -> list[tuple[str, tuple[str, ...] | list[str]]]:
    """What stands below, by title; some may be empty."""
    deviations = by_yards((y, d.text) for y, ds in found.deviations.items() for d in ds)
    looks = [
        f"{yard}: {total}, this one included; before the end {before or 'none'}."
        for yard, (before, total) in found.looks.items()
    ]
    return [
        ("Left out:", _left_out(found)),
        ("To know:", found.notes),
        ("Also differs between yards, not corrected for:", _settings(found)),
        ("Not as planned:", deviations or ("nothing that was written down.",)),
        ("Looks counted in your book:", looks),
        ("Rests on:", list(dict.fromkeys(a for c in found.comparisons for a in c.assumptions))),
        ("Sources:", list(dict.fromkeys(s for c in found.comparisons for s in c.sources))),
    ]


def _left_out(found: Together) -> tuple[str, ...]:
    said = []
    for comparison in found.comparisons:
        title = outcome(comparison.outcome).title
        for yard, ways in comparison.lacking.items():
            said.append((yard, f"no heap of {' or '.join(ways)} with {title}."))
    for key, why in found.left_out.items():
        said += [(yard, f"{outcome(key).title}: {text.rstrip('.')}.") for yard, text in why.items()]
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
