"""Weed seeds in heat: what studies found, beside the hours of the coldest measured point.

Units: degrees C, hours, moisture on wet basis as a fraction. Conventions: a study's finding is put
beside a heap, never turned into a promise; hard seeds stand apart, and dry seeds bear more heat.
"""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any

from heapwright.errors import QuantityError
from heapwright.science.hygiene import Course, hours_at

__all__ = ["Species", "compared", "seed_file", "seed_steps", "species", "warm_hours"]


@dataclass(frozen=True, slots=True)
class Species:
    """What a study found of one species.

    lethal_c : temperature [C] at which hours_at_lethal (low, high) ended nine in ten; unaffected_c
    : warmest that did nothing, None if not said; hard : no tested temperature harmed it; study,
    year : of the finding; seen, hours_seen : of `heapwright.science.values.SEEN`.
    """

    name: str
    study: str
    year: int
    seen: str
    lethal_c: float | None = None
    hours_at_lethal: tuple[float, float] | None = None
    unaffected_c: float | None = None
    hard: bool = False
    hours_seen: str = ""


@functools.cache
def seed_file() -> Mapping[str, Any]:
    """``seeds.toml`` as read."""
    text = resources.files("heapwright.science").joinpath("seeds.toml")
    return tomllib.loads(text.read_text(encoding="utf-8"))


@functools.cache
def species() -> tuple[Species, ...]:
    """Every species of the file, in its order.

    >>> [s.name for s in species() if s.hard]
    ['redstem filaree']
    """
    made = []
    for row in seed_file()["species"]:
        hours = row.get("hours_at_lethal")
        made.append(Species(**{**row, "hours_at_lethal": tuple(hours) if hours else None}))
    return tuple(made)


def seed_steps() -> tuple[float, ...]:
    """Temperatures [C] that hours are counted above."""
    return tuple(seed_file()["steps"]["c"])


def warm_hours(found: Course) -> dict[float, float]:
    """Hours in all that the coldest measured point spent at or above each of `seed_steps`.

    found : see `heapwright.science.hygiene.course`; a time that was not measured counts nothing.

    >>> from heapwright.science.hygiene import course
    >>> warm_hours(course({"a": ([0, 24, 48], [61, 56, 47])}, gap_h=36))
    {42.0: 48.0, 46.0: 48.0, 50.0: 24.0, 55.0: 24.0, 60.0: 0.0}
    """
    return {c: hours_at(found, c) for c in seed_steps()}


def compared(one: Species, hours: Mapping[float, float], *, moisture: float | None) -> str:
    """A heap's hours beside what a study found of a species, in words.

    Parameters
    ----------
    hours : mapping
        Temperature [C] to hours at or above it, see `warm_hours`.
    moisture : float or None
        Least moisture (fraction of wet mass) while it was warm; below 0.35 published hours do
        not hold (Eghball and Lesoing 2000, from memory). None if nobody measured it.

    Raises
    ------
    QuantityError
        A moisture that is not a fraction, or hours below nought.

    Examples
    --------
    >>> purslane = next(s for s in species() if "purslane" in s.name)
    >>> compared(purslane, {50.0: 80.0}, moisture=0.5)
    'as hot and as long as in the study'
    >>> compared(purslane, {50.0: 0.0}, moisture=0.5)
    'not hot enough at the coldest point'
    """
    if moisture is not None and not 0 <= moisture <= 1:
        raise QuantityError("moisture is a fraction", field="moisture", value=moisture)
    if any(h < 0 for h in hours.values()):
        raise QuantityError("hours are not below nought", field="hours", value=min(hours.values()))
    if one.hard or one.lethal_c is None or one.hours_at_lethal is None:
        return "hard seed: expect it to come up"
    had = hours.get(one.lethal_c, 0.0)
    low, high = one.hours_at_lethal
    if had <= 0:
        return "not hot enough at the coldest point"
    if had < low:
        return "hot enough, but shorter than in the study"
    if moisture is not None and moisture < seed_file()["moist"]["least"]:
        return "too dry for the study's hours to hold"
    said = "as hot and as long as in the study" if had >= high else "about as long as in the study"
    return said if moisture is not None else f"{said}, if it was moist"
