"""The sentences the calendar of work speaks in: reasons, and what skipping costs.

Conventions: yard words; numbers come from the value files with their source.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from heapwright.domain.trial import Place, WaterRule
from heapwright.science.values import value
from heapwright.units import REGISTER, show

__all__ = [
    "FINAL_PARTS",
    "FIRST_PARTS",
    "PART_QUANTITIES",
    "ages",
    "listed",
    "long_day",
    "no_place",
    "only_round",
    "part_of",
    "round_costs",
    "water_reason",
]

#: Single measures, and the quantities of a sample by which each is seen to be done.
PART_QUANTITIES: dict[str, tuple[str, ...]] = {
    "volume and height with a tape": ("volume_m3", "length_m"),
    "bucket density": ("bulk_density_kg_m3",),
    "a moisture sample": ("moisture_wb", "moisture_db"),
    "a photo with a scale": (),
}
FIRST_PARTS = tuple(PART_QUANTITIES)
FINAL_PARTS = FIRST_PARTS

FIRST_REASON = "what a heap was like when it was built cannot be measured later"
FIRST_COSTS = (
    "what cannot be had again: how far it sank, how much it lost and whether the start was fair "
    "will never be known"
)
TURN_COSTS = (
    "the way itself: a heap not turned is another way than the one locked; it is written down as "
    "a deviation and the result is given as planned and as done. A day late is only a day late"
)
TURN_AT_END = "take the last measures first, then turn"
OPEN_COSTS = (
    "the way itself: pipes that stay plugged make this heap one left alone; a late opening is "
    "written down as a deviation"
)
PULL_COSTS = (
    "a little of the way: pipes left in go on venting; it is written down as a deviation. They "
    "come out worse when the heap has sunk onto them"
)
WATER_COSTS = (
    "little in wet weather, more in dry: a heap that dried out cools and looks like a worse way. "
    "Unequal water is named in the findings"
)
FINAL_COSTS = "the finding: without this measure of every heap the question cannot be answered"
LAST_COSTS = (
    "what cannot be had again: without them only temperatures are left, and those do not show "
    "how good the compost is"
)
END_COSTS = "nothing: the findings wait; asked again later they are the same"
NO_SUNRISE = "the sun does not rise on this date here, so 07:00 by the clock is taken"
AS_SOON_AS_BUILT = "as soon as the heap stands; any hour will do for the core"


def no_place(place: Place) -> str:
    """What is missing for a round at sunrise, and what it would sharpen."""
    missing = [
        name
        for name, known in (
            ("latitude", place.latitude_deg is not None),
            ("longitude", place.longitude_deg is not None),
            ("time_zone", place.time_zone is not None),
        )
        if not known
    ]
    if not missing:
        return "07:00 by the clock"
    return (
        f"07:00 by the clock; {listed(missing)} under [place] would give the hour of sunrise, "
        "which serves the air reading (the core does not mind)"
    )


def round_costs() -> str:
    """What one skipped round costs: from the study of rounds and spots."""
    few, many = value("labour", "gap_few_rounds_c"), value("labour", "gap_many_rounds_c")
    return (
        "almost nothing: from 5 rounds at one spot to 60 rounds at twelve, the smallest gap that "
        f"three heaps a way can show only falls from {show(few.value, 'diff_c')} to "
        f"{show(many.value, 'diff_c')}"
    )


def only_round(heaps: Sequence[str], edge: str, age: float) -> str:
    """What the only round at an edge of the window costs."""
    return (
        f"the finding: it is the only round planned that covers the {edge} of the window "
        f"(day {age:g}) of {listed(heaps)}. Half a day early or late does no harm"
    )


def water_reason(rule: WaterRule) -> str:
    """Why heaps are squeezed, and what is aimed at."""
    text = f"the plan checks every {rule.every_d:g} days"
    if rule.target_wb is not None:
        low, high = rule.target_wb.low * 100, rule.target_wb.high * 100
        aim = f"{low:.0f} %" if rule.target_wb.is_exact else f"{low:.0f} to {high:.0f} %"
        text += f" and aims at {aim} water"
    return text + ("; every heap gets the same litres" if rule.equal else "")


def part_of(quantity: str) -> str:
    """The name of the single measure of a quantity."""
    return next(
        (p for p, q in PART_QUANTITIES.items() if quantity in q), REGISTER[quantity].meaning
    )


def ages(low: float, high: float) -> str:
    """An age or a span of ages in words."""
    return f"{high:g} days" if low == high else f"{low:g} to {high:g} days"


def listed(names: Sequence[str]) -> str:
    """Names in one phrase: ``A, B and C``."""
    names = list(names)
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def long_day(day: date) -> str:
    """A date with its weekday: ``Friday 1 May 2026``."""
    return f"{day:%A} {day.day} {day:%B} {day.year}"
