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
    way the others are held against; ways : all ways as (name, details); seed : of the lots.
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

    def parts(self) -> dict[str, Any]:
        """The locked parts as plain JSON values, by name."""
        parts = asdict(self)
        parts["ends"] = self.ends.isoformat()
        parts["window_d"] = list(self.window_d)
        parts["ways"] = [list(w) for w in self.ways]
        return parts

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
        return {k: (mine[k], theirs[k]) for k in mine if mine[k] != theirs[k]}


@dataclass(frozen=True, slots=True)
class Trial:
    """A plan: the locked question with the heaps, ways, spots and rules that carry it out.

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
