"""The first useful page from four answers, and the default plan behind it.

Units: as in the register. Conventions: an answer that was skipped widens the range or drops a
line, and the page says which answer would sharpen it; nothing here asks twice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from heapwright.domain.answers import (
    Answers,
    parse_heaps,
    parse_probe,
    parse_ways,
    parse_what,
    read_answers,
)
from heapwright.domain.material import Ingredient, Mix
from heapwright.errors import InputError, UnknownNameError
from heapwright.services.firstplan import default_plan, spots
from heapwright.units import Ranged, show, two_digits

__all__ = ["Section", "StartPage", "first_page", "told_in"]

_GOAL_WB = 0.55
_UNKNOWN_LIKE = "mixed yard trimmings"


@dataclass(frozen=True, slots=True)
class Section:
    """One answer on the first page: a question as title, and lines of words."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StartPage:
    """The first useful page: one sentence, sections, what would sharpen it, and the plan text."""

    headline: str
    sections: tuple[Section, ...]
    sharpen: tuple[str, ...]
    sources: tuple[str, ...]
    plan: str
    numbers: dict[str, Any]

    def to_json(self) -> dict[str, Any]:
        """The page as plain JSON values."""
        return {
            "headline": self.headline,
            "sections": [{"title": s.title, "lines": list(s.lines)} for s in self.sections],
            "sharpen": list(self.sharpen),
            "sources": list(self.sources),
            "numbers": self.numbers,
        }


def told_in(
    line: str = "", *, what: str = "", heaps: str = "", ways: str = "", probe: str = "",
    now: datetime,
) -> Answers:  # fmt: skip
    """The answers in one line, each answer given on its own put in its place; empty: skipped.

    Raises `InputError` naming the answer that cannot be read.
    """
    told = read_answers(line, now=now)
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


def first_page(answers: Answers, *, now: datetime, barrow_m3: Ranged | None = None) -> StartPage:
    """What can be said at once from the four answers.

    Parameters
    ----------
    answers : Answers
        Any of the four may be missing.
    now : aware datetime
        Day the default plan starts when no day was given.
    barrow_m3 : Ranged, optional
        One barrow load; a guess with a wide range unless given.

    Returns
    -------
    StartPage
        Numbers inside are rounded to what is known.
    """
    import numpy as np

    from heapwright.planning.barrow import guessed_barrow
    from heapwright.planning.mix import describe_mix
    from heapwright.planning.sizing import warm_heaps

    barrow = barrow_m3 or guessed_barrow()
    sharpen: list[str] = []
    ingredients, notes = _known(answers.ingredients)
    summary = None
    if ingredients:
        mix = Mix(ingredients, barrow_m3=barrow)
        summary = describe_mix(mix, rng=np.random.default_rng(1), draws=1000)
    else:
        sharpen.append("What and how much there is: heap sizes, water and the mix.")
    sections: list[Section] = []
    numbers: dict[str, Any] = {"heaps": answers.heaps}
    headline = "Say what you have and how much: the rest follows from it."
    volume = summary.volume_m3 if summary else None
    if volume is not None and summary is not None:
        advice = warm_heaps(volume, wanted=answers.heaps)
        numbers["warm_heaps"] = advice.warm_heaps
        headline = advice.headline
        counted = any(i.loads for i in ingredients)
        size = _sizes(advice, answers.heaps, barrow, counted and barrow_m3 is None)
        sections.append(size)
        sections.append(_mix_lines(summary, notes))
        sections.append(_water(summary, ingredients))
        numbers["volume_m3"] = [volume.low, volume.typical, volume.high]
    sections.append(_spots_section(answers, volume))
    gaps, more = _gaps(answers, small=numbers.get("warm_heaps"))
    sections += [gaps, more]
    if barrow_m3 is None and any(i.loads for i in ingredients):
        sharpen.append("What your barrow holds (heapwright barrow): every volume and litre.")
    if answers.heaps is None:
        sharpen.append("How many heaps: which gaps can be explained.")
    if answers.made is None:
        sharpen.append("When the heaps are made: the calendar of work.")
    if answers.alike is None and not answers.ways:
        sharpen.append("Whether all heaps are treated alike: what can be compared at all.")
    if answers.probe_m is None:
        sharpen.append("How far the probe reaches: where to read.")
    sharpen.append("A bucket weighed full (bulk density) and a squeeze: air space and water.")
    return StartPage(
        headline=headline,
        sections=tuple(sections),
        sharpen=tuple(sharpen),
        sources=tuple(f"{s} ({seen})" for s, seen in summary.sources) if summary else (),
        plan=default_plan(answers, ingredients, now=now, barrow=barrow, volume=volume),
        numbers=numbers,
    )


def _known(ingredients: tuple[Ingredient, ...]) -> tuple[tuple[Ingredient, ...], list[str]]:
    """Ingredients that the table knows; an unknown one is read as mixed yard trimmings."""
    kept: list[Ingredient] = []
    notes: list[str] = []
    for ingredient in ingredients:
        try:
            found = ingredient.feedstock
        except UnknownNameError:
            ingredient = replace(ingredient, like=_UNKNOWN_LIKE)
            notes.append(
                f"{ingredient.name}: not in the table of materials, so the wide ranges of "
                f"{_UNKNOWN_LIKE} stand in for it."
            )
        else:
            ingredient = replace(ingredient, like=found.key)
            memory = ", numbers partly from memory" if found.from_memory else ""
            notes.append(f"{ingredient.name} is read as {found.name}{memory}.")
        kept.append(ingredient)
    return tuple(kept), notes


def _sizes(advice: Any, wanted: int | None, barrow: Ranged, guessed: bool) -> Section:
    volume = advice.volume_m3
    lines = [
        f"You have {_span(volume, 'm3')} in all"
        + (
            f", taking a barrow as {barrow.low * 1000:.0f} to {barrow.high * 1000:.0f} litres."
            if guessed
            else "."
        ),
        f"A heap needs about {advice.least_m3.typical:.2g} m3 "
        f"({advice.least_m3.low:.2g}-{advice.least_m3.high:.2g}) to stay warm in mild air: a "
        "smaller one has too much skin for its core.",
    ]
    if wanted is not None and wanted > 1:
        each = volume.scaled(1 / wanted)
        lines.append(f"Split into {wanted}, each holds {_span(each, 'm3')}.")
    if wanted is not None and wanted > max(advice.warm_heaps, 1):
        lines.append(
            "Small heaps rot all the same, only cooler and slower; what they cannot do is show "
            "how a warm heap behaves."
        )
    return Section("How many warm heaps does it make?", tuple(lines))


def _mix_lines(summary: Any, notes: list[str]) -> Section:
    lines = [
        f"C:N about {_span(summary.cn_ratio)}; moisture {_percent(summary.moisture_wb)}; "
        f"free air space {_percent(summary.free_air_frac)}; "
        f"bulk density {_span(summary.bulk_density_kg_m3, 'kg/m3')}.",
        *_first_of_each(summary.against),
        *[w[0].upper() + w[1:] + ("" if w.endswith(".") else ".") for w in summary.warnings],
        *notes,
    ]
    return Section("What is the mix like?", tuple(lines))


def _first_of_each(against: tuple[str, ...]) -> list[str]:
    """One guide for each quantity, with how many more say something; all stand in ``mix``."""
    groups: dict[str, list[str]] = {}
    for said in against:
        groups.setdefault(said.split(" most likely ")[0], []).append(said)
    lines = []
    for guides in groups.values():
        first, others = guides[0], len(guides) - 1
        more = f" ({others} more guide{'s' if others > 1 else ''} in: heapwright mix)"
        lines.append(f"{first[0].upper()}{first[1:]}{more if others else ''}.")
    return lines


def _water(summary: Any, ingredients: tuple[Ingredient, ...]) -> Section:
    """Litres to add after each answer of the hand squeeze, for all material together."""
    from heapwright.errors import ImpossibleError
    from heapwright.planning.sizing import squeeze_bands, squeeze_moisture, water_to_add

    volume = summary.volume_m3.typical
    dry = _dry_density(summary)
    woody = any(i.feedstock.carbon.woody for i in ingredients)
    lines = [
        f"Squeeze a handful from the middle of the mix. To reach about {_GOAL_WB:.0%} water, add "
        f"to all of it ({two_digits(volume)} m3):"
    ]
    for key, band in squeeze_bands().items():
        moisture = squeeze_moisture(key, woody=woody)
        try:
            litres = water_to_add(
                volume, dry_density=dry, moisture_wb=moisture, goal_moisture_wb=_GOAL_WB
            ).litres
        except ImpossibleError:
            lines.append(f"{band.text}: none, it is wet enough or too wet.")
            continue
        if moisture.typical >= _GOAL_WB:
            lines.append(f"{band.text}: none needed, at most {_tens(litres.high)} litres.")
        else:
            lines.append(
                f"{band.text}: about {_tens(litres.typical)} litres "
                f"({_tens(litres.low)}-{_tens(litres.high)})."
            )
    lines.append(
        "Give it in two or more goes while mixing: half may run through. The squeeze is a rough "
        "guide for woody mixes."
    )
    return Section("How much water?", tuple(lines))


def _dry_density(summary: Any) -> Ranged:
    """Dry mass per volume [kg/m3]; its ends pair like with like, since mass follows volume."""
    pairs = (
        summary.dry_mass_kg.low / summary.volume_m3.low,
        summary.dry_mass_kg.high / summary.volume_m3.high,
    )
    middle = summary.dry_mass_kg.typical / summary.volume_m3.typical
    return Ranged(middle, min(middle, *pairs), max(middle, *pairs))


def _spots_section(answers: Answers, volume: Ranged | None) -> Section:
    listed = "; ".join(
        f"{name}: {where}, {depth * 100:.0f} cm" for name, depth, where in spots(answers, volume)
    )
    lines = [
        f"{listed}. Mark them with canes: the same spots every time.",
        "Any hour will do for the core (a daily swing of 10 degrees in the air is about 0.1 at "
        "40 cm); early morning serves the air reading best. Read the air in the shade each time.",
        "Keep at least 30 cm from any pipe, or write the distance down. Wait until the needle "
        "stands: about four minutes for a slow probe.",
    ]
    if answers.probe_m is None:
        lines.append("A probe of 50 cm is assumed; a kitchen probe of 15 cm reads only the skin.")
    elif answers.probe_m < 0.3:
        lines.append(
            f"A probe of {answers.probe_m * 100:.0f} cm reads the skin, not the core: it will "
            "follow the weather."
        )
    return Section("Where should the probe go?", tuple(lines))


def _gaps(answers: Answers, *, small: int | None) -> tuple[Section, Section]:
    """Which gaps this many heaps can explain, and what would teach more.

    small : how many warm heaps the material makes; pooling is advised only when that is too few.
    """
    from heapwright.stats.power import explainable_gap

    heaps = answers.heaps or 1
    ways = len(answers.ways) or (1 if answers.alike else min(heaps, 3))
    lines: list[str] = []
    more: list[str] = []
    if heaps == 1:
        lines.append(
            "One heap shows how that heap does. It cannot show whether another way is better."
        )
        more.append("A second heap beside it, treated otherwise, and a neighbour's pair.")
    elif answers.alike:
        gap = explainable_gap(1, 2)
        lines.append(
            f"All {heaps} are treated alike: heaps treated alike can still differ by about "
            f"{gap:.0f} degrees, so a smaller gap between two of them needs no explanation."
        )
        more.append("Treat half of them otherwise, chosen by lot, if you want to compare ways.")
    else:
        ways = max(2, min(ways, heaps))
        each = heaps // ways
        gap = explainable_gap(each, ways)
        lines.append(
            f"{heaps} heaps in {ways} ways, {each} each: no gap under about {gap:.0f} degrees in "
            "the mean would mean anything"
            + (
                ", and even a larger one names no winner: heap and way cannot be told apart."
                if each == 1
                else "."
            )
        )
        lines.append(
            "More spots and more rounds hardly change that: the heap is the unit, not the reading."
        )
        more.append(
            f"One more heap of each way: gaps from about {explainable_gap(each + 1, ways):.0f} "
            "degrees would show."
        )
        more.append(
            "A neighbour who builds the same pair: many yards with one pair each are one honest "
            "trial."
        )
    if heaps > 1 and (small is None or small < heaps):
        more.insert(
            0, "If there is too little for warm heaps, pool it into one and learn from that."
        )
    return (
        Section("Which gaps can this many heaps explain?", tuple(lines)),
        Section("What would teach more?", tuple(more)),
    )


def _span(value: Ranged, unit: str = "") -> str:
    """A range as it is said: two digits, low to high, then the unit."""
    if value.is_exact:
        return f"{two_digits(value.typical)} {unit}".strip()
    if value.typical < 0.1:
        return f"{two_digits(value.low)}-{two_digits(value.high)} {unit}".strip()
    digits = 0 if value.typical >= 10 else 1 if value.typical >= 1 else 2
    return f"{value.low:.{digits}f}-{value.high:.{digits}f} {unit}".strip()


def _percent(value: Ranged) -> str:
    return f"{value.low * 100:.0f}-{show(value.high, 'moisture_wb', digits=0)}"


def _tens(litres: float) -> str:
    """Litres to 10, and to two digits where there are thousands of them."""
    return two_digits(litres) if litres >= 1000 else str(round(litres / 10) * 10)
