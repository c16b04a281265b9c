"""The sentences of findings: plain English, rounded to what is known, in the unit on screen.

Units: differences come in the unit of the outcome and are turned into the unit on screen here.
Convention: ranges are told in the direction of the sentence, so that "8 cooler" goes with a range
that counts cooler as positive.
"""

from __future__ import annotations

from dataclasses import dataclass

from heapwright.stats import claims
from heapwright.stats.contrast import Interval
from heapwright.stats.outcomes import Outcome

__all__ = ["Words", "headline"]

#: more heaps than this are counted, not named
_MOST_NAMED = 6


@dataclass(frozen=True, slots=True)
class Words:
    """What a sentence needs to know about one comparison.

    outcome; way, control : on screen; way_heaps, control_heaps : names; doing : what was done, as
    a noun ("turning"), or ""; matters : in the unit of the outcome, or None; s0_c : assumed
    spread [C]; end_date : set if it has not come; shown_in : C or F; yards : names, where pairs of
    several yards are joined.
    """

    outcome: Outcome
    way: str
    control: str
    way_heaps: tuple[str, ...]
    control_heaps: tuple[str, ...]
    doing: str
    matters: float | None
    s0_c: float
    end_date: str | None = None
    shown_in: str = "C"
    yards: tuple[str, ...] = ()

    @property
    def single(self) -> bool:
        """Whether either way has one heap only."""
        return min(len(self.way_heaps), len(self.control_heaps)) == 1

    @property
    def one_each(self) -> bool:
        """Whether both ways have one heap only."""
        return max(len(self.way_heaps), len(self.control_heaps)) == 1


def headline(words: Words, claim: str, estimate: float, interval: Interval | None) -> str:
    """One finding as a sentence or two.

    Parameters
    ----------
    words : Words
        Names and units.
    claim : str
        As in `heapwright.stats.claims`.
    estimate : float
        Way minus control, in the unit of the outcome.
    interval : Interval or None
        The 95 % interval the claim rests on.

    Returns
    -------
    str

    Examples
    --------
    >>> from heapwright.stats.outcomes import outcome
    >>> w = Words(outcome("mean_excess_c"), "B", "A", ("B",), ("A",), "turning", 5.0, 4.0)
    >>> headline(w, "cannot tell", 8.0, Interval(8.0, 5.8, 8.0, -5.4, 21.4, 0.95, ""))
    'B ran 8 degrees warmer than A. Heaps treated alike can differ by 13, so this does not show \
that turning did it.'
    """
    seen = words.outcome.sentence(
        _named(words.way, words.way_heaps, words),
        _named(words.control, words.control_heaps, words),
        estimate,
        shown_in=words.shown_in,
    )
    if words.yards:
        seen = f"in {len(words.yards)} yards ({', '.join(words.yards)}) {seen}"
    if words.end_date is not None:
        return f"So far: {seen}. Nothing is claimed before {words.end_date}."
    seen = seen[0].upper() + seen[1:]
    if claim == claims.DESCRIBED:
        return f"{seen}. {words.outcome.note}"
    if words.single:
        return _single(words, claim, seen, interval)
    if interval is None:
        return f"{seen}. That cannot be told from heaps that merely differ."
    reach = _range(words, estimate, interval)
    return f"{seen} (95 % range {reach}): {_verdict(words, claim, interval)}."


def _named(way: str, heaps: tuple[str, ...], words: Words) -> str:
    """A heap by its name with its way, or a way with its heaps."""
    if words.yards:
        return way
    if words.one_each:
        return way if heaps[0] == way else f"{heaps[0]} ({way})"
    if len(heaps) > _MOST_NAMED:
        return f"{way} ({len(heaps)} heaps)"
    return f"{way} ({', '.join(heaps)})"


def _single(words: Words, claim: str, seen: str, interval: Interval | None) -> str:
    who = "one heap each" if words.one_each else "a single heap of a way"
    did = words.doing or "the way it was managed"
    if interval is None or not words.outcome.informed:
        return (
            f"{seen}. With {who} that cannot be told from heaps that merely differ; "
            "a second heap of each could begin to."
        )
    what = words.outcome
    reach = what.amount(interval.half_width, shown_in=words.shown_in, unit=False)
    spread = what.amount(words.s0_c, shown_in=words.shown_in)
    if claim == claims.LEANS:
        return (
            f"{seen}, and heaps treated alike would seldom differ by more than {reach} if their "
            f"standard deviation is {spread}, as assumed: it leans that way, but {who} can never "
            f"show that {did} did it."
        )
    return (
        f"{seen}. Heaps treated alike can differ by {reach}, so this does not show that {did} "
        "did it."
    )


def _range(words: Words, estimate: float, interval: Interval) -> str:
    low, high = interval.low, interval.high
    if estimate < 0:
        low, high = -high, -low
    unit = words.outcome.unit_on_screen(words.shown_in)
    return f"{_end(words, low)} to {_end(words, high)} {unit}".rstrip()


def _end(words: Words, value: float) -> str:
    """One end of a range; the side of 0 it lies on is never rounded away."""
    text = words.outcome.signed(value, shown_in=words.shown_in)
    if value != 0 and text.strip("-0.") == "":
        return "just above 0" if value > 0 else "just below 0"
    return text


def _verdict(words: Words, claim: str, interval: Interval) -> str:
    if words.matters is None:
        return _verdict_alone(claim)
    line = words.outcome.amount(words.matters, shown_in=words.shown_in)
    practice = f"the {line} that would change practice"
    if claim == claims.ENOUGH:
        return f"enough to matter, as all of it lies beyond {practice}"
    inside = -words.matters < interval.low and interval.high < words.matters
    if claim == claims.REAL and inside:
        return f"a real difference, but all of it lies below {practice}"
    if claim == claims.REAL:
        return f"a real difference, perhaps too small to matter: it may fall short of {practice}"
    if claim == claims.TOO_SMALL:
        return f"too small to matter, as all of it lies below {practice}"
    if claim == claims.LEANS:
        return "it leans that way, but heaps that merely differ could still do this"
    return "cannot tell this from heaps that merely differ"


def _verdict_alone(claim: str) -> str:
    """The verdict where nobody fixed beforehand how much would matter."""
    if claim == claims.REAL:
        return "a real difference; how much would matter was not fixed beforehand"
    if claim == claims.LEANS:
        return "it leans that way, but heaps that merely differ could still do this"
    return "cannot tell this from heaps that merely differ"
