"""Ways of managing a heap (treatments) and the vents some of them use.

Units: days, metres. Conventions: a treatment is what was meant; what was done are events.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from heapwright.errors import PlanError
from heapwright.units import quantity

__all__ = ["KINDS", "Kind", "Treatment", "Vent"]

Kind = Literal["turned", "vented", "left alone", "covered", "forced air"]

#: What a treatment can be.
KINDS: tuple[str, ...] = get_args(Kind)


@dataclass(frozen=True, slots=True)
class Vent:
    """Perforated pipes laid into or stood in a heap.

    pipes : number of pipes, 1 to 50; diameter_m : outer diameter [m]; spacing_m : distance
    between neighbours [m]; hole_rows : rows of holes along a pipe; upright : stood, not laid;
    state : ``open`` or ``plugged`` at the build; open_after_d, pull_after_d : age [d] or None.
    """

    pipes: int
    diameter_m: float = 0.1
    spacing_m: float | None = None
    hole_rows: int = 2
    upright: bool = False
    state: Literal["open", "plugged"] = "open"
    open_after_d: float | None = None
    pull_after_d: float | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.pipes <= 50:
            raise PlanError(
                "a heap takes 1 to 50 pipes",
                field="pipes",
                value=self.pipes,
                way_out="Count the pipes of one heap",
            )
        quantity("diameter_m").check(self.diameter_m, field="pipe_diameter")
        if self.state == "open" and self.open_after_d is not None:
            raise PlanError(
                "pipes that are open from the build cannot be opened later",
                field="open_after",
                value=f"{self.open_after_d:g} d",
                way_out='Write vents = "plugged", or leave open_after out',
            )


@dataclass(frozen=True, slots=True)
class Treatment:
    """One way of managing a heap.

    name : as the keeper calls it; kind : one of `KINDS`; first_after_d, every_d : for a turned
    heap, age of the first turn and days between turns [d]; vent : for a vented heap;
    note : anything else that is done; factors : (factor, level) pairs where several things are
    varied together. Raises `PlanError` when kind and details do not fit.

    Examples
    --------
    >>> Treatment("turned", "turned", first_after_d=5, every_d=14).turn_ages_d(60)
    (5, 19, 33, 47)
    """

    name: str
    kind: Kind
    first_after_d: float | None = None
    every_d: float | None = None
    vent: Vent | None = None
    note: str = ""
    factors: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if len({name for name, _ in self.factors}) < len(self.factors):
            raise PlanError(
                "a factor stands twice",
                field="factors",
                value=", ".join(name for name, _ in self.factors),
                way_out="Give each factor one level a way",
            )
        if not self.name.strip():
            raise PlanError("a way needs a name", field="name", way_out='Write name = "turned"')
        if self.kind not in KINDS:
            raise PlanError(
                "no such way of managing a heap",
                field="kind",
                value=self.kind,
                way_out="One of " + ", ".join(KINDS),
            )
        if self.kind == "turned" and self.every_d is None and self.first_after_d is None:
            raise PlanError(
                "a turned heap needs a day for its first turn, or days between turns",
                field="every",
                way_out='Write first_after = "5 days" and every = "14 days"',
            )
        if self.kind != "turned" and (self.every_d is not None or self.first_after_d is not None):
            raise PlanError(
                f"a heap that is {self.kind} has no turning days",
                field="every",
                way_out='Write kind = "turned", or leave first_after and every out',
            )
        if self.kind == "vented" and self.vent is None:
            raise PlanError("a vented heap needs pipes", field="pipes", way_out="Write pipes = 2")
        if self.kind != "vented" and self.vent is not None:
            raise PlanError(
                f"pipes are given, but the way is {self.kind}",
                field="pipes",
                value=self.vent.pipes,
                way_out='Write kind = "vented", or leave pipes out',
            )

    @property
    def details(self) -> str:
        """Kind and details in one line, as locked."""
        parts: list[str] = [self.kind]
        if self.first_after_d is not None:
            parts.append(f"first turn at {self.first_after_d:g} d")
        if self.every_d is not None:
            parts.append(f"then every {self.every_d:g} d")
        if self.vent is not None:
            v = self.vent
            lie = "upright" if v.upright else "lying"
            parts.append(
                f"{v.pipes} pipes {lie}, {v.diameter_m * 100:g} cm, {v.hole_rows} rows of holes"
            )
            if v.spacing_m is not None:
                parts.append(f"{v.spacing_m * 100:g} cm apart")
            parts.append(
                v.state if v.open_after_d is None else f"{v.state}, opened at {v.open_after_d:g} d"
            )
            if v.pull_after_d is not None:
                parts.append(f"pulled at {v.pull_after_d:g} d")
        parts += [f"{name}: {level}" for name, level in self.factors]
        if self.note:
            parts.append(self.note)
        return ", ".join(parts)

    def turn_ages_d(self, until_d: float) -> tuple[float, ...]:
        """Ages [d] of the planned turns before *until_d*; empty when nothing is turned."""
        if self.kind != "turned":
            return ()
        first = self.first_after_d if self.first_after_d is not None else self.every_d
        assert first is not None
        ages = [first]
        while self.every_d is not None and ages[-1] + self.every_d < until_d:
            ages.append(ages[-1] + self.every_d)
        return tuple(a for a in ages if a < until_d)

    def differs_from_d(self) -> float:
        """Age [d] from which this heap is handled differently from one left alone."""
        if self.kind == "turned":
            first = self.first_after_d if self.first_after_d is not None else self.every_d
            return float(first or 0.0)
        if self.vent is not None and self.vent.state == "plugged":
            return self.vent.open_after_d if self.vent.open_after_d is not None else float("inf")
        return float("inf") if self.kind == "left alone" else 0.0
