"""The questions of the screening in plain words, with the slip of the pen that would explain it.

Units: expected temperatures in degrees C, shown in the unit of the typed number. Conventions: a
suggestion is an answer that can be given as it stands; there is none where no usual slip fits.
"""

from __future__ import annotations

import re

from heapwright.exchange.pasted import Typed
from heapwright.stats.screenlog import Doubt

__all__ = ["Asked", "about_reading", "celsius", "words_of"]

#: A question, its choices, and the answer suggested.
Asked = tuple[str, tuple[str, ...], str | None]


def celsius(typed: Typed, unit: str) -> float:
    """A typed number in degrees C; *unit* is that of numbers without a mark.

    >>> celsius(Typed("131", "F"), "C")
    55.0
    """
    return (typed.number - 32) / 1.8 if (typed.unit or unit) == "F" else typed.number


def about_reading(shown: str, typed: Typed, note: str, doubt: Doubt, unit: str) -> Asked:
    """Question, choices and suggestion about one reading."""
    guess = _guess(typed, unit, doubt.expected_c[0], doubt.sd_c)
    own = typed.unit or unit
    said = doubt.expected_c[0] * 1.8 + 32 if own == "F" else doubt.expected_c[0]
    text = f"{shown} reads {typed.text} {own} where about {said:.0f} was expected"
    if note:
        text += f" ({note})"
    if guess is None:
        return f"{text}. As written, or look again?", ("as-written", "withdraw", "a number"), None
    answer, why = guess
    return (
        f"{text}: {why}? As written, or look again?",
        (answer, "as-written", "withdraw", "a number"),
        answer,
    )


def _guess(typed: Typed, unit: str, expected: float, sd: float) -> tuple[str, str] | None:
    """The slip of the pen that would explain a reading best: answer and words; None for none."""
    own = typed.unit or unit
    digits = typed.text.lstrip("+-")
    tries: list[tuple[str, str, float]] = []
    if not typed.unit:
        other = "C" if unit == "F" else "F"
        there = (typed.number - 32) / 1.8 if other == "F" else typed.number
        tries.append((other, f"degrees {other} ({there:.0f} C)", there))
    for answer, why in (
        (f"{typed.number / 10:g}", "a decimal mark missing"),
        (f"{typed.number * 10:g}", "a digit missing"),
        (f"{-typed.number:g}", "the sign wrong"),
        (digits[::-1] if re.fullmatch(r"\d\d", digits) else "", "digits exchanged"),
    ):
        if answer:
            tries.append((answer, f"{answer}, {why}", celsius(Typed(answer), own)))
    best = min(tries, key=lambda t: abs(t[2] - expected))
    return best[:2] if abs(best[2] - expected) <= 2 * max(sd, 1.0) else None


def words_of(doubt: Doubt) -> str:
    """The doubt about a pair of heaps or a whole round, as a question.

    >>> words_of(Doubt("exchange", (0, 1), ("A", "B"), (38, 53), (52, 40), 0))[:61]
    'A reads 38 C where about 52 was expected, B 53 where about 40'
    """
    read, said = doubt.read_c, doubt.expected_c
    if doubt.kind == "exchange":
        a, b = doubt.heaps
        return (
            f"{a} reads {read[0]:.0f} C where about {said[0]:.0f} was expected, {b} {read[1]:.0f} "
            f"where about {said[1]:.0f}: exchanged? As written? Look again?"
        )
    mean = (
        f"the {len(doubt.new)} readings of this round are {read[0]:.0f} C on average where about "
        f"{said[0]:.0f} was expected"
    )
    if doubt.kind == "shift":
        way = "higher" if read[0] > said[0] else "lower"
        return (
            f"{mean}, all {way}: another probe, another place, a turn nobody noted? As written, or "
            "look again?"
        )
    why = {
        "F": "typed in degrees F", "C": "typed in degrees C", "tenth": "the decimal mark missing",
        "tenfold": "a digit missing",
    }[doubt.kind]  # fmt: skip
    return f"{mean}: all of them {why}?"
