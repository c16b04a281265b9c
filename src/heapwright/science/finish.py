"""Tests of finish: whether compost still rots, and whether plants bear it, by published classes.

Units: temperatures and rises in degrees C, lengths in mm, masses in kg, gases in mg per g of
organic matter, mg/kg of dry matter (ppm), shares 0 to 1. Conventions: classes, limits and numbers
stand in ``finish_limits.toml`` with edition and whether the page was seen; a value on a border
belongs where the step says (`Step`); where several classes apply, the worse is gone by.
"""

from __future__ import annotations

import functools
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from heapwright.errors import InputError, UnknownNameError
from heapwright.science.values import Value

__all__ = [
    "RATES",
    "STAGES",
    "Assay",
    "Dish",
    "Rating",
    "Scheme",
    "Step",
    "Verdict",
    "assay",
    "assays",
    "ccqc_rating",
    "co2_c",
    "dewar_class",
    "germination_index",
    "number",
    "pooled",
    "sieve_curve",
    "signs",
    "verdicts",
    "vigour",
    "warmed_after",
]

#: What a stage is called; stages are this project's reading of published classes.
STAGES: tuple[str, ...] = ("ripe", "half ripe", "not ripe")
#: Carbon in carbon dioxide, by mass.
_C_IN_CO2 = 12.0 / 44.0
#: What the CCQC index calls a compost, the best first.
RATES: tuple[str, ...] = ("very mature", "mature", "immature")


@dataclass(frozen=True, slots=True)
class Step:
    """One class: its name, its stage or None, where it holds (a limit of None does not ask)."""

    label: str
    stage: int | None = None
    below: float | None = None
    up_to: float | None = None
    above: float | None = None
    at_least: float | None = None

    def holds(self, value: float) -> bool:
        """Whether a value lies in the class."""
        return (
            (self.below is None or value < self.below)
            and (self.up_to is None or value <= self.up_to)
            and (self.above is None or value > self.above)
            and (self.at_least is None or value >= self.at_least)
        )


@dataclass(frozen=True, slots=True)
class Scheme:
    """Who publishes classes: name (and a short one), edition, whether the page was seen, what must
    be known."""

    key: str
    short: str
    name: str
    edition: str
    seen: str
    note: str = ""

    @property
    def from_memory(self) -> bool:
        """True when nobody here has had the page in hand."""
        return self.seen.startswith("memory")

    @property
    def said(self) -> str:
        """Name and edition, and "from memory" where that is so."""
        edition = "" if self.edition == "no edition" else f", {self.edition}"
        return f"{self.name}{edition}{self._mark}"

    @property
    def said_short(self) -> str:
        """The short name, with the same mark."""
        return f"{self.short}{self._mark}"

    @property
    def _mark(self) -> str:
        marks = {"partly seen": ", partly from memory",
                 "common practice, no source": ", no source"}  # fmt: skip
        return ", from memory" if self.from_memory else marks.get(self.seen, "")


@dataclass(frozen=True, slots=True)
class Assay:
    """One test: key of its quantity, title, group (``rotting``, ``plants`` or ``other``), its group
    in the CCQC index ("A", "B", "gate" or ""), its sentences, how it is done, how it is typed, and
    minutes of work (None where a laboratory does it)."""

    key: str
    title: str
    group: str
    ccqc: str
    well: str
    badly: str
    means: str
    how: str
    typed: str
    minutes: float | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """What one scheme says of one value: its class, and the stage it is read as (None: none)."""

    test: str
    scheme: Scheme
    label: str
    stage: int | None


@dataclass(frozen=True, slots=True)
class Rating:
    """The CCQC index: rating ("very mature", "mature", "immature", or "" where something is
    missing), the stage of the gate and of each group (None: not tested), what is missing."""

    rating: str
    gate: int | None
    a: int | None
    b: int | None
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Dish:
    """Seeds in one dish or pot: up out of sown, and the mean root length of those up [mm] or None.

    Raises `InputError` for counts that cannot be.
    """

    up: int
    sown: int
    length_mm: float | None = None

    def __post_init__(self) -> None:
        if self.sown < 1 or not 0 <= self.up <= self.sown:
            raise InputError(
                "seeds that came up are counted out of the seeds sown", field="seeds",
                value=f"{self.up}/{self.sown}", way_out="Write 18/20: came up, then sown",
            )  # fmt: skip
        if self.length_mm is not None and not 0 <= self.length_mm <= 1000:
            raise InputError(
                "no root of a seedling is that long", field="length",
                value=f"{self.length_mm:g} mm", way_out="Write the mean length, as in 24 mm",
            )  # fmt: skip


# --- the table ------------------------------------------------------------------------------------


@functools.cache
def _table() -> dict[str, Any]:
    text = (files("heapwright.science") / "finish_limits.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@functools.cache
def _schemes() -> dict[str, Scheme]:
    return {key: Scheme(key, **row) for key, row in _table()["scheme"].items()}


@functools.cache
def _steps() -> dict[str, tuple[tuple[Scheme, tuple[Step, ...]], ...]]:
    made: dict[str, tuple[tuple[Scheme, tuple[Step, ...]], ...]] = {}
    for row in _table()["limit"]:
        steps = tuple(
            Step(s["is"], s.get("stage"), s.get("below"), s.get("up_to"), s.get("above"),
                 s.get("at_least"))
            for s in row["steps"]
        )  # fmt: skip
        made[row["test"]] = (*made.get(row["test"], ()), (_schemes()[row["scheme"]], steps))
    return made


@functools.cache
def assays() -> Mapping[str, Assay]:
    """Every test by key, in the order of the table."""
    return {
        key: Assay(key, **{"ccqc": ""} | row) for key, row in _table()["test"].items()
    }  # fmt: skip


def assay(key: str) -> Assay:
    """The test of that key; `UnknownNameError` naming all where there is none.

    >>> assay("reheat_c").title
    'Reheating in a vessel'
    """
    try:
        return assays()[key]
    except KeyError:
        raise UnknownNameError(
            "there is no test of finish of that name", field="test", value=key,
            way_out="One of " + ", ".join(assays()),
        ) from None  # fmt: skip


@functools.cache
def number(key: str) -> Value:
    """A number of the table that is no class, with its source.

    >>> number("dry_below").value, number("control_pots").value
    (0.45, 3.0)
    """
    row = _table()["number"][key]
    at = float(row["value"])
    return Value(at, row["unit"], float(row.get("low", at)), float(row.get("high", at)),
                 row["source"], row["where"], row["seen"])  # fmt: skip


# --- classes --------------------------------------------------------------------------------------


def verdicts(key: str, value: float) -> tuple[Verdict, ...]:
    """What every scheme with classes for a test says of a value, in the order of the table.

    Parameters
    ----------
    key : str
        Key of a test (`assays`).
    value : float
        In the unit of its register row; infinite where it lies beyond every class.

    Raises
    ------
    UnknownNameError
        No such test.
    InputError
        A value that is no number.

    References
    ----------
    Each scheme with its edition in ``finish_limits.toml``.

    Examples
    --------
    >>> [v.label for v in verdicts("respiration", 5.0)][:3]
    ['mature', 'moderately unstable', 'not kept (4.36 at most)']
    """
    assay(key)
    if math.isnan(value) or value == -math.inf:
        raise InputError("a test gives a number", field=key, value=value)
    return tuple(
        next(Verdict(key, scheme, s.label, s.stage) for s in steps if s.holds(value))
        for scheme, steps in _steps().get(key, ())
    )


def dewar_class(rise_c: float) -> str:
    """The Dewar class of a rise above air [C], V (finished) to I (fresh).

    A rise on a border belongs to the worse class: 10 C is class IV.

    References
    ----------
    Brinton et al. 1995; LAGA and BGK, Rottegrad (from memory): below 10 V, 20 IV, 30 III, 40 II.

    Examples
    --------
    >>> [dewar_class(x) for x in (4, 12, 24, 33, 45)]
    ['V', 'IV', 'III', 'II', 'I']
    """
    found = next(v for v in verdicts("reheat_c", rise_c) if v.scheme.key == "dewar")
    return found.label.split(",")[0]


def co2_c(co2: float) -> float:
    """Carbon in carbon dioxide: mg CO2 as mg CO2-C, times 12/44; raises `InputError` below 0.

    PAS 100:2005 allows 16 mg CO2, other schemes count in CO2-C: 16 is 4.36.

    >>> round(co2_c(16.0), 2)
    4.36
    """
    if not co2 >= 0:
        raise InputError("nothing breathes less than nothing", field="CO2", value=co2)
    return co2 * _C_IN_CO2


def ccqc_rating(values: Mapping[str, float]) -> Rating:
    """The CCQC maturity index from values by key of test.

    The gate is a C:N of 25 at most; then the worst test of group A (stability) and the worst of
    group B (plants) are taken, and the worse of both is the rating. Above the gate it is immature.

    References
    ----------
    California Compost Quality Council 2001, Compost Maturity Index (structure seen, numbers from
    memory).

    Examples
    --------
    >>> ccqc_rating({"cn_ratio": 18, "reheat_c": 12, "emergence": 0.95}).rating
    'mature'
    >>> ccqc_rating({"cn_ratio": 18, "emergence": 1.0, "nh4_n_mg_kg": 530}).missing
    ('a test of stability (A)',)
    """
    worst: dict[str, int | None] = {"gate": None, "A": None, "B": None}
    for key, value in values.items():
        group = assay(key).ccqc
        for verdict in verdicts(key, value):
            if group and verdict.scheme.key == "ccqc":
                worst[group] = max(worst[group] or 0, verdict.stage or 0)
    names = {"gate": "C:N", "A": "a test of stability (A)", "B": "a test of plants (B)"}
    missing = tuple(name for group, name in names.items() if worst[group] is None)
    stages = [stage for stage in worst.values() if stage is not None]
    # what is immature in one of the three stays so, whatever the missing ones would say
    rating = RATES[max(stages)] if stages and (not missing or max(stages) == 2) else ""
    return Rating(rating, worst["gate"], worst["A"], worst["B"], missing)


# --- dishes and pots ------------------------------------------------------------------------------


def pooled(dishes: Sequence[Dish]) -> Dish:
    """Several dishes as one: counts summed, lengths averaged over the seeds that came up.

    The length is None unless every dish with a seedling has one. Raises `InputError` for no dish.

    >>> pooled([Dish(18, 20, 24.0), Dish(9, 10, 30.0)])
    Dish(up=27, sown=30, length_mm=26.0)
    """
    if not dishes:
        raise InputError("no dish was given", field="dishes", way_out="Write 18/20 24 mm")
    up, sown = sum(d.up for d in dishes), sum(d.sown for d in dishes)
    grown = [d for d in dishes if d.up]
    if any(d.length_mm is None for d in grown):
        return Dish(up, sown)
    length = sum(d.up * (d.length_mm or 0.0) for d in grown) / up if up else 0.0
    return Dish(up, sown, length)


def germination_index(dishes: Sequence[Dish], controls: Sequence[Dish]) -> float:
    """The germination index as a share: (Gs/Gc)(Ls/Lc), dishes and controls pooled first.

    Parameters
    ----------
    dishes, controls : sequence of Dish
        With compost extract, and with water; every dish with its mean root length [mm].

    Raises
    ------
    InputError
        No dish, no control, a length that is missing, or a control in which nothing grew.

    References
    ----------
    Zucconi et al. 1981, BioCycle 22(2), 54-57 (from memory; the limits 50 and 80 % were seen).

    Examples
    --------
    >>> round(germination_index([Dish(18, 20, 24.0)], [Dish(20, 20, 30.0)]), 3)
    0.72
    """
    if not controls:
        raise InputError(
            "an index needs a control in water", field="control",
            way_out="Write 18/20 24 mm, control 20/20 30 mm",
        )  # fmt: skip
    test, control = pooled(dishes), pooled(controls)
    if test.length_mm is None or control.length_mm is None:
        raise InputError(
            "an index needs the mean root length of every dish", field="length",
            way_out="Write 18/20 24 mm, control 20/20 30 mm",
        )  # fmt: skip
    if control.up == 0 or control.length_mm == 0:
        raise InputError(
            "nothing grew in the control, so there is nothing to hold it against",
            field="control", value=f"{control.up}/{control.sown}",
            way_out="Sow again with fresh seed",
        )  # fmt: skip
    share = (test.up / test.sown) / (control.up / control.sown)
    return share * test.length_mm / control.length_mm


def vigour(dishes: Sequence[Dish], controls: Sequence[Dish]) -> float:
    """Mean length of the seedlings that came up over that of the control's, each pooled first.

    How many came up is for emergence to say, and is no part of it. Raises `InputError` for no
    control, a length that is missing, or a control in which nothing grew.

    >>> vigour([Dish(60, 60, 20.0)], [Dish(60, 60, 40.0)])
    0.5
    """
    example = "Write 58/60 20 mm, control 60/60 24 mm"
    if not controls:
        raise InputError(
            "vigour needs a control sown the same day", field="control", way_out=example
        )
    test, control = pooled(dishes), pooled(controls)
    if test.length_mm is None or control.length_mm is None:
        raise InputError(
            "vigour is the length of the seedlings, not how many came up", field="length",
            way_out=f"{example}; without lengths log it as emergence",
        )  # fmt: skip
    if control.up == 0 or control.length_mm == 0:
        raise InputError(
            "nothing grew in the control, so there is nothing to hold it against",
            field="control", value=f"{control.up}/{control.sown}",
            way_out="Sow again with fresh seed",
        )  # fmt: skip
    return test.length_mm / control.length_mm


def signs(pots: Sequence[int], controls: Sequence[int]) -> tuple[float, str]:
    """How strong signs in bean pots are (0 none to 3 severe), and why that is unsure ("" if not).

    The upper median of the pots. Unsure where fewer than half show what is the worst seen, the
    control pots show signs as well, or there are fewer than three control pots.

    References
    ----------
    Pots, control pots and signs after WSU 2011 (Whatcom) and OSU 2009 (seen); the reading over
    several pots is this project's own.

    Examples
    --------
    >>> signs([1, 2, 2], [0, 0, 0]), signs([0, 0, 0, 2], [0, 0, 0])
    ((2.0, ''), (0.0, '1 of 4 pots shows signs'))
    """
    if not pots:
        raise InputError("no pot was scored", field="pots", way_out="Write none slight none")
    if any(p not in (0, 1, 2, 3) for p in (*pots, *controls)):
        raise InputError(
            "a pot is scored none, slight, moderate or severe", field="pots",
            value=" ".join(str(p) for p in (*pots, *controls)), way_out="Or 0, 1, 2, 3",
        )  # fmt: skip
    level = float(sorted(pots)[len(pots) // 2])
    need = int(number("control_pots").value)
    if len(controls) < need:
        return level, f"{len(controls)} control pots, and at least {need} are needed"
    if sum(c > 0 for c in controls) * 2 >= len(controls):
        return level, "the control pots show signs as well"
    hit = sum(p > 0 for p in pots)
    if level == 0 and hit:
        return level, f"{hit} of {len(pots)} pots show{'s' if hit == 1 else ''} signs"
    return level, ""


# --- sieve and heap -------------------------------------------------------------------------------


def sieve_curve(kept: Mapping[float, float], pan: float) -> tuple[tuple[float, float], ...]:
    """Share of the mass that passes each mesh, from the coarsest on.

    Parameters
    ----------
    kept : mapping of float to float
        Mesh [mm] to mass that stayed on it [kg].
    pan : float
        Mass that fell through the finest mesh [kg].

    Returns
    -------
    tuple of (float, float)
        Mesh [mm] and the share of the whole that is finer. Overs on the finest mesh are one less
        its share.

    Raises
    ------
    InputError
        No mesh, a mesh or mass below 0, or nothing weighed.

    Examples
    --------
    >>> sieve_curve({25.0: 0.5, 10.0: 1.5}, 6.0)
    ((25.0, 0.9375), (10.0, 0.75))
    """
    whole = sum(kept.values()) + pan
    if not kept or min(kept) <= 0 or min(*kept.values(), pan) < 0 or not whole > 0:
        raise InputError(
            "a sieve gives a mass above 0 for each mesh and for the pan", field="sieve",
            way_out="Write 25 mm 0.4 kg, 12 mm 1.1 kg, pan 6.5 kg",
        )  # fmt: skip
    left = whole
    curve: list[tuple[float, float]] = []
    for mesh in sorted(kept, reverse=True):
        left -= kept[mesh]
        curve.append((mesh, max(left, 0.0) / whole))
    return tuple(curve)


def warmed_after(days: Sequence[float], excess_c: Sequence[float]) -> float | None:
    """How far a heap warmed after a turn [C above air], from days since it; None if not known.

    The highest of the first ten days less the lowest of the first three before it. Needs a reading
    within three days after the turn and one at least two days later.

    >>> warmed_after([0.5, 1, 3, 6], [12, 8, 15, 26])
    18.0
    >>> warmed_after([4, 8], [12, 26]) is None
    True
    """
    reach = number("after_turn_d").value
    pairs = sorted((d, e) for d, e in zip(days, excess_c, strict=True) if 0 < d <= reach)
    first = [p for p in pairs if p[0] <= 3.0]
    if not first:
        return None
    low_day, low = min(first, key=lambda p: p[1])
    later = [e for d, e in pairs if d > low_day]
    if not later or pairs[-1][0] < low_day + 2.0:
        return None
    return float(max(0.0, max(later) - low))
