"""The outcomes a trial can be decided on: names, units, kinds, and how differences are said.

Units: values come in the unit the program keeps (`kept`); `per_kept` turns a difference into the
unit on screen. A difference of 8 C is 14.4 F: factors only, never an offset.
Kinds: temperature (from readings), sample (from a lab or kitchen test), ledger (from what was
weighed, timed or counted).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from heapwright.errors import UnknownNameError

__all__ = ["OUTCOMES", "Kind", "Model", "Outcome", "outcome"]

Kind = Literal["temperature", "sample", "ledger"]
#: how ways are held against each other: by difference, by ratio (on the log scale), as a share of
#: so many (binomial) or as a number in so many fields (Poisson), the last two with heaps' spread
Model = Literal["difference", "ratio", "share", "rate"]
_F_PER_C = 1.8


@dataclass(frozen=True, slots=True)
class Outcome:
    """One thing a comparison can be about.

    key : name in plans and findings; title : name on screen; kind : where it comes from;
    unit : unit of estimates in the findings; shown, per_kept : unit on screen and the factor to
    it; tested : False if it is only described; informed : whether the informed spread between
    heaps applies (mean and peak degrees above air); more, less : how a difference is said, with
    {a}, {x} and {b}; model : how ways are held against each other; note : what a reader must know.
    """

    key: str
    title: str
    kind: Kind
    unit: str
    shown: str
    per_kept: float
    more: str
    less: str
    tested: bool = True
    informed: bool = False
    model: Model = "difference"
    note: str = ""

    def factor(self, shown_in: str = "C") -> float:
        """What a kept difference is multiplied by on screen; *shown_in* is C or F."""
        if shown_in == "F" and self.shown == "degrees":
            return self.per_kept * _F_PER_C
        return self.per_kept

    def unit_on_screen(self, shown_in: str = "C") -> str:
        """The unit word on screen, as in "8 degrees" or "14 degrees F"."""
        return "degrees F" if shown_in == "F" and self.shown == "degrees" else self.shown

    @property
    def published_unit(self) -> str:
        """The unit of numbers in published findings: per cent for fractions, else the one kept."""
        return "%" if self.per_kept == 100.0 else self.unit

    def amount(self, difference: float, *, shown_in: str = "C", unit: bool = True) -> str:
        """The size of a kept difference as it is said: rounded, without its sign.

        >>> outcome("mean_excess_c").amount(-8.15), outcome("mean_excess_c").amount(8, shown_in="F")
        ('8 degrees', '14 degrees F')
        """
        value = abs(difference) * self.factor(shown_in)
        text = _rounded(value, whole=self.shown in ("degrees", "min", "L"))
        if not unit or not self.shown:
            return text
        word = self.unit_on_screen(shown_in)
        if text == "1" and word.startswith(("degrees", "days", "percentage points")):
            word = word.replace("degrees", "degree").replace("days", "day")
            word = word.replace("points", "point")
        return f"{text} {word}"

    def signed(self, difference: float, *, shown_in: str = "C") -> str:
        """A kept difference as it is said, with a minus sign where it is below 0."""
        text = self.amount(difference, shown_in=shown_in, unit=False)
        return f"-{text}" if difference < 0 and text.strip("0.") else text

    def sentence(self, a: str, b: str, difference: float, *, shown_in: str = "C") -> str:
        """What was seen, as in "B ran 8 degrees warmer than A", without a full stop."""
        if self.amount(difference, shown_in=shown_in, unit=False).strip("0.") == "":
            return f"{a} and {b} came out alike in {self.title}"
        form = self.more if difference > 0 else self.less
        return form.format(a=a, b=b, x=self.amount(difference, shown_in=shown_in))


def _rounded(value: float, *, whole: bool) -> str:
    """Whole numbers where that is what is known, else two significant digits."""
    if whole or value >= 99.5 or value == 0:
        return f"{value:.0f}"
    digits = max(0, 1 - math.floor(math.log10(value)))
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


_PEAK_NOTE = "A peak is only as good as the rounds around it: compare on identical rounds."
_WEAK_NOTE = "Carries almost no power between heaps, so it is described and never tested."
_GIVEN_NOTE = "It is what you gave, not what the heaps did, so it is described and never tested."
_DAMP_NOTE = "Samples must be equally damp and of one day: a dry one neither warms nor breathes."
_POINTS = "percentage points"

_ROWS: tuple[Outcome, ...] = (
    Outcome(
        "mean_excess_c", "mean degrees above air", "temperature", "C", "degrees", 1.0,
        "{a} ran {x} warmer than {b}", "{a} ran {x} cooler than {b}", informed=True,
    ),
    Outcome(
        "peak_excess_c", "highest degrees above air", "temperature", "C", "degrees", 1.0,
        "{a} peaked {x} higher than {b}", "{a} peaked {x} lower than {b}",
        informed=True, note=_PEAK_NOTE,
    ),
    Outcome(
        "degree_hours_40", "degree-hours above 40 C", "temperature", "C h", "degree-hours", 1.0,
        "{a} gathered {x} more above 40 C than {b}", "{a} gathered {x} fewer above 40 C than {b}",
        note="Valid but noisy; the informed spread is not for it. " + _PEAK_NOTE,
    ),
    Outcome(
        "degree_hours_55", "degree-hours above 55 C", "temperature", "C h", "degree-hours", 1.0,
        "{a} gathered {x} more above 55 C than {b}", "{a} gathered {x} fewer above 55 C than {b}",
        tested=False, note=_WEAK_NOTE + " " + _PEAK_NOTE,
    ),
    Outcome(
        "days_to_peak", "days until the highest reading", "temperature", "d", "days", 1.0,
        "{a} took {x} longer to its peak than {b}", "{a} took {x} less to its peak than {b}",
        tested=False, note=_WEAK_NOTE,
    ),
    Outcome(
        "half_cooling_d", "days to fall halfway back to air", "temperature", "d", "days", 1.0,
        "{a} took {x} longer to fall halfway than {b}",
        "{a} took {x} less to fall halfway than {b}",
        tested=False, note=_WEAK_NOTE,
    ),
    Outcome(
        "days_above_40", "days above 40 C", "temperature", "d", "days", 1.0,
        "{a} stayed above 40 C for {x} longer than {b}",
        "{a} stayed above 40 C for {x} less than {b}",
        tested=False, note=_WEAK_NOTE + " " + _PEAK_NOTE,
    ),
    Outcome(
        "days_above_55", "days above 55 C", "temperature", "d", "days", 1.0,
        "{a} stayed above 55 C for {x} longer than {b}",
        "{a} stayed above 55 C for {x} less than {b}",
        tested=False, note=_WEAK_NOTE + " " + _PEAK_NOTE,
    ),
    Outcome(
        "carbon_dm", "carbon in the dry matter", "sample", "fraction of dry matter", _POINTS, 100.0,
        "{a} held {x} more carbon in its dry matter than {b}",
        "{a} held {x} less carbon in its dry matter than {b}",
    ),
    Outcome(
        "nitrogen_dm", "nitrogen in the dry matter", "sample", "fraction of dry matter", _POINTS,
        100.0, "{a} held {x} more nitrogen in its dry matter than {b}",
        "{a} held {x} less nitrogen in its dry matter than {b}",
    ),
    Outcome(
        "ash_dm", "ash in the dry matter", "sample", "fraction of dry matter", _POINTS, 100.0,
        "{a} held {x} more ash in its dry matter than {b}",
        "{a} held {x} less ash in its dry matter than {b}",
    ),
    Outcome(
        "moisture_wb", "water in the wet mass", "sample", "fraction of wet mass", _POINTS, 100.0,
        "{a} was {x} wetter than {b}", "{a} was {x} drier than {b}",
    ),
    Outcome(
        "cn_ratio", "C:N", "sample", "ratio", "", 1.0,
        "{a} had a C:N {x} higher than {b}", "{a} had a C:N {x} lower than {b}", model="ratio",
    ),
    Outcome(
        "ph", "pH", "sample", "pH", "", 1.0,
        "{a} had a pH {x} higher than {b}", "{a} had a pH {x} lower than {b}",
    ),
    Outcome(
        "came_up", "seedlings that came up", "sample", "fraction of seeds", _POINTS, 100.0,
        "{a} brought up {x} more of its seedlings than {b}",
        "{a} brought up {x} fewer of its seedlings than {b}", model="share",
    ),
    Outcome(
        "microbes", "microbes in a field of view", "sample", "per field", "per field", 1.0,
        "{a} had {x} more than {b}", "{a} had {x} fewer than {b}", model="rate",
    ),
    Outcome(
        "reheat_c", "warming of a sample", "sample", "C", "degrees", 1.0,
        "{a} warmed {x} more in the vessel than {b}", "{a} warmed {x} less in the vessel than {b}",
        note=_DAMP_NOTE,
    ),
    Outcome(
        "respiration", "breathing of a sample", "sample", "mg CO2-C/g/d", "mg CO2-C/g/d", 1.0,
        "{a} breathed {x} more than {b}", "{a} breathed {x} less than {b}", note=_DAMP_NOTE,
    ),
    Outcome(
        "dry_mass_kg", "dry mass", "ledger", "kg", "kg", 1.0,
        "{a} kept {x} more dry mass than {b}", "{a} kept {x} less dry mass than {b}",
    ),
    Outcome(
        "mass_kg", "mass as it lies", "ledger", "kg", "kg", 1.0,
        "{a} weighed {x} more than {b}", "{a} weighed {x} less than {b}",
    ),
    Outcome(
        "volume_m3", "volume", "ledger", "m3", "m3", 1.0,
        "{a} was {x} bigger than {b}", "{a} was {x} smaller than {b}",
    ),
    Outcome(
        "minutes", "minutes of work", "ledger", "min", "min", 1.0,
        "{a} took {x} more work than {b}", "{a} took {x} less work than {b}",
    ),
    Outcome(
        "water_l", "water given", "ledger", "L", "L", 1.0,
        "{a} got {x} more water than {b}", "{a} got {x} less water than {b}",
        tested=False, note=_GIVEN_NOTE,
    ),
    Outcome(
        "count", "count", "ledger", "", "", 1.0,
        "{a} counted {x} more than {b}", "{a} counted {x} fewer than {b}",
    ),
)  # fmt: skip

#: Every outcome by key.
OUTCOMES: Mapping[str, Outcome] = {row.key: row for row in _ROWS}


def outcome(key: str) -> Outcome:
    """The outcome of that key; `UnknownNameError` naming near ones if there is none.

    >>> outcome("mean_excess_c").title
    'mean degrees above air'
    """
    try:
        return OUTCOMES[key]
    except KeyError:
        import difflib

        near = difflib.get_close_matches(key, OUTCOMES, n=3) or list(OUTCOMES)
        raise UnknownNameError(
            "there is no outcome of that name",
            field="outcome",
            value=key,
            way_out=f"Choose one of {', '.join(near)}",
        ) from None
