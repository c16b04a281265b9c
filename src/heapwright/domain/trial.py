"""A trial as planned: one question, the ways compared, and what is locked before building.

Units: as in the register; window and end in days of heap age or calendar dates.
Conventions: `Locked` is what decides later; its fingerprint is printed for the shed wall, and a
later edit of any of its parts shows as another fingerprint. Everything else may change freely.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from heapwright.domain.heap import Heap, Spot
from heapwright.domain.material import Ingredient
from heapwright.domain.names import check_trial_name, one_of
from heapwright.domain.way import Treatment
from heapwright.errors import PlanError
from heapwright.units import REGISTER, Ranged

__all__ = ["Locked", "Place", "RoundRule", "Trial", "WaterRule"]


@dataclass(frozen=True, slots=True)
class Place:
    """Where the heaps stand; everything may be unknown (None).

    latitude_deg, longitude_deg : north and east positive; time_zone : IANA name;
    slope_frac : fall over run; downhill : heap names from the top of the slope to the bottom.
    """

    latitude_deg: float | None = None
    longitude_deg: float | None = None
    time_zone: str | None = None
    slope_frac: float | None = None
    downhill: tuple[str, ...] = ()
    altitude_m: float | None = None


@dataclass(frozen=True, slots=True)
class WaterRule:
    """When and how to water: target moisture (wet basis), days between checks, hose flow."""

    target_wb: Ranged | None = None
    every_d: float | None = None
    flow_l_min: float | None = None
    equal: bool = True


@dataclass(frozen=True, slots=True)
class RoundRule:
    """When to walk with the probe: days between rounds; ``sunrise`` or a clock time HH:MM."""

    every_d: float = 3.0
    at: str = "sunrise"
    first_after_d: float = 0.0


@dataclass(frozen=True, slots=True)
class Locked:
    """What is fixed before the first barrow.

    question : in words; decides : registered quantity of the deciding outcome; unit : on screen;
    window_d : heap ages [d] it is taken over (equal for one final sample); ends : calendar date;
    matters : difference that would change practice, in the outcome's unit; spread : assumed
    heap-to-heap SD in the outcome's unit (temperature outcomes only, else None); control : the
    way the others are held against; ways : all ways as (name, details); seed : of the lots;
    spread_worth : degrees of freedom the assumed spread is worth, None for the usual.
    """

    question: str
    decides: str
    unit: str
    window_d: tuple[float, float]
    ends: date
    matters: float | None
    spread: float | None
    control: str | None
    ways: tuple[tuple[str, str], ...]
    seed: int
    spread_worth: int | None = None

    def parts(self) -> dict[str, Any]:
        """The locked parts as plain JSON values, by name."""
        parts = asdict(self)
        parts["ends"] = self.ends.isoformat()
        parts["window_d"] = list(self.window_d)
        parts["ways"] = [list(w) for w in self.ways]
        if self.spread_worth is None:
            del parts["spread_worth"]  # plans locked before it was there keep their fingerprint
        return parts

    @property
    def shown_in(self) -> str:
        """The unit of temperatures on screen, "C" or "F"."""
        return "F" if self.unit.strip().upper().endswith("F") else "C"

    @property
    def fingerprint(self) -> str:
        """Eight characters in two groups; any change of a locked part gives another.

        The first 40 bits of the SHA-256 of the parts as canonical JSON, in base 32.
        """
        text = json.dumps(self.parts(), sort_keys=True, separators=(",", ":"))
        bits = int.from_bytes(hashlib.sha256(text.encode()).digest()[:5], "big")
        letters = "23456789abcdefghjkmnpqrstuvwxyz"
        out = ""
        for _ in range(8):
            bits, rest = divmod(bits, len(letters))
            out += letters[rest]
        return f"{out[:4]}-{out[4:]}"

    def changes(self, other: Locked) -> dict[str, tuple[Any, Any]]:
        """Locked parts that differ: name -> (here, in *other*)."""
        mine, theirs = self.parts(), other.parts()
        return {
            k: (mine.get(k), theirs.get(k))
            for k in {**mine, **theirs}
            if mine.get(k) != theirs.get(k)
        }


@dataclass(frozen=True, slots=True)
class Trial:
    """A plan: the locked question with the heaps, ways, spots and rules that carry it out.

    hygiene : key of a rule of heat that its heaps are held against, "" for none.
    Raises `PlanError` or `UnknownNameError` when names do not meet or the window is impossible.
    """

    name: str
    locked: Locked
    ways: tuple[Treatment, ...] = ()
    heaps: tuple[Heap, ...] = ()
    spots: tuple[Spot, ...] = ()
    ingredients: tuple[Ingredient, ...] = ()
    also: tuple[str, ...] = ()
    place: Place = Place()
    water: WaterRule = WaterRule()
    rounds: RoundRule = RoundRule()
    barrow_m3: Ranged | None = None
    starts: date | None = None
    invented: bool = False
    hygiene: str = ""

    def __post_init__(self) -> None:
        check_trial_name(self.name)
        for key, size in (("matters", self.locked.matters), ("spread", self.locked.spread)):
            if size is not None and size <= 0:
                raise PlanError(
                    "heaps treated alike always differ"
                    if key == "spread"
                    else "every difference would matter, even one nobody could see",
                    field=key,
                    value=f"{size:g}",
                    way_out="Write a size above zero, or leave the key out",
                )
        for what, names in (
            ("heap", [h.name for h in self.heaps]),
            ("way", [w.name for w in self.ways]),
            ("spot", [s.name for s in self.spots]),
        ):
            lower = [n.lower() for n in names]
            doubles = [n for n in names if lower.count(n.lower()) > 1]
            if doubles:
                raise PlanError(
                    "two of them have the same name, which the book could not tell apart",
                    field=f"{what} name",
                    value=doubles[-1],
                    way_out="Give every one a name of its own",
                )
        for heap in self.heaps:
            if heap.way is not None:
                self.way(heap.way)
        if self.locked.control is not None:
            self.way(self.locked.control)
        self._check_factors()
        for name in self.place.downhill:
            self.heap(name)
        low, high = self.locked.window_d
        if low > high:
            raise PlanError(
                "the window ends before it begins",
                field="window",
                value=f"{low:g}-{high:g} days",
                way_out="Write the younger age first, as in 5-55 days",
            )
        if self.locked.decides not in REGISTER:
            raise PlanError(
                "no such outcome",
                field="decides",
                value=self.locked.decides,
                way_out="For instance mean_excess_c, carbon_dm or volume_m3",
            )
        if self.starts is not None and self.locked.ends <= self.starts:
            raise PlanError(
                "the trial would end before it starts",
                field="ends",
                value=self.locked.ends.isoformat(),
                way_out="Give a later end date",
            )

    def _check_factors(self) -> None:
        """Every way says its level of every factor, and no two ways say the same."""
        if self.locked.spread_worth is not None and self.locked.spread_worth < 1:
            raise PlanError(
                "an assumption is worth at least one degree of freedom",
                field="spread_worth",
                value=self.locked.spread_worth,
                way_out="Leave it out for the usual 8",
            )
        every = [n for w in self.ways for n, _ in w.factors]
        for name in every:
            spelt = {n for n in every if n.lower() == name.lower()}
            if name.lower() in ("way", "block", "heap") or len(spelt) > 1:
                raise PlanError(
                    "this name cannot be told from another",
                    field="factors",
                    value=", ".join(sorted(spelt)),
                    way_out="Give the factor one name of its own, as in turning or material",
                )
        names = [tuple(sorted(n for n, _ in w.factors)) for w in self.ways]
        for way, mine in zip(self.ways, names, strict=True):
            if mine != names[0]:
                raise PlanError(
                    f"way {way.name} has other factors than {self.ways[0].name}",
                    field="factors",
                    value=", ".join(mine) or "none",
                    way_out="Give every way a level of every factor, or no way any",
                )
        levels = [frozenset(w.factors) for w in self.ways if w.factors]
        if len(set(levels)) < len(levels):
            raise PlanError(
                "two ways have the same levels of all factors",
                field="factors",
                way_out="Take them for one way, or name what differs between them",
            )

    @property
    def factors(self) -> dict[str, tuple[str, ...]]:
        """Factors that are varied, with their levels, the control's first; empty without any."""
        first = sorted(self.ways, key=lambda w: w.name != self.locked.control)
        made: dict[str, list[str]] = {}
        for way in first:
            for name, level in way.factors:
                made.setdefault(name, [])
                if level not in made[name]:
                    made[name].append(level)
        return {n: tuple(found) for n, found in made.items() if len(found) > 1}

    @property
    def compares(self) -> bool:
        """True when at least two ways are compared."""
        return len(self.ways) > 1

    def heap(self, name: str) -> Heap:
        """The heap called *name* (case does not matter); raises `UnknownNameError`."""
        return one_of("heap", name, {h.name: h for h in self.heaps})

    def way(self, name: str) -> Treatment:
        """The way called *name*; raises `UnknownNameError`."""
        return one_of("way", name, {w.name: w for w in self.ways})

    def spot(self, name: str) -> Spot:
        """The spot called *name*; raises `UnknownNameError`."""
        return one_of("spot", name, {s.name: s for s in self.spots})
