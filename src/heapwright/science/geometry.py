"""Volumes, surfaces and heights of heaps, windrows and bins, and how far a heap sinks.

Units: metres, m2, m3, days.
Conventions: width is measured on the ground across the heap (the diameter of a round one); length
along it; surfaces are what meets the air, the footprint left out. Every volume is proportional to
height, so the way from volume back to height is exact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

from heapwright.errors import InputError, QuantityError
from heapwright.science.values import value
from heapwright.units import Ranged, quantity

__all__ = [
    "SECTIONS",
    "SHAPES",
    "Body",
    "Section",
    "Shape",
    "Sinking",
    "height_for_volume",
    "section_area",
    "sinking",
]

Shape = Literal["cone", "mound", "dome", "windrow", "cylinder", "box"]
Section = Literal["triangle", "parabola", "trapezoid", "half-ellipse"]

#: Every shape: what it is called here and what it is.
SHAPES: dict[Shape, str] = {
    "cone": "poured heap with straight sides",
    "mound": "rounded heap (paraboloid)",
    "dome": "half an ellipsoid",
    "windrow": "long heap with one cross-section",
    "cylinder": "round bin or wire cage",
    "box": "square bin or bay",
}
#: Every cross-section of a windrow.
SECTIONS: tuple[Section, ...] = get_args(Section)


@dataclass(frozen=True, slots=True)
class Body:
    """A heap with straight measures.

    shape : one of `SHAPES`; width_m : diameter or width on the ground; height_m; length_m : along
    the heap (windrow, box; the other diameter of a dome; default: as wide); top_m : width of the
    flat top (trapezoid only); section : of a windrow; rounded_ends : a windrow whose two ends are
    halves of the round heap of the same section, inside the length given.
    Raises `QuantityError` or `InputError` for measures that make no heap.

    Examples
    --------
    >>> round(Body("cone", width_m=2.0, height_m=1.2).volume_m3, 3)
    1.257
    >>> round(Body("windrow", width_m=3, height_m=1.5, length_m=10, section="parabola").volume_m3)
    30
    """

    shape: Shape
    width_m: float
    height_m: float
    length_m: float | None = None
    top_m: float = 0.0
    section: Section = "parabola"
    rounded_ends: bool = False

    def __post_init__(self) -> None:
        if self.shape not in SHAPES:
            raise InputError(
                "no such shape",
                field="shape",
                value=self.shape,
                way_out=f"Choose {', '.join(SHAPES)}",
            )
        if self.section not in SECTIONS:
            raise InputError(
                "no such cross-section",
                field="section",
                value=self.section,
                way_out=f"Choose {', '.join(SECTIONS)}",
            )
        row = quantity("length_m")
        row.check(self.width_m, field="width")
        row.check(self.height_m, field="height")
        if self.length_m is not None:
            row.check(self.length_m, field="length")
        if self.shape == "windrow":
            if self.length_m is None:
                raise InputError("a windrow needs its length", field="length")
            if self.rounded_ends and self.length_m < self.width_m:
                raise QuantityError(
                    "a windrow with rounded ends is at least as long as wide",
                    field="length",
                    value=f"{self.length_m:g} m",
                    way_out="Measure it as a mound, or without rounded ends",
                )
        if not 0 <= self.top_m <= self.width_m:
            raise QuantityError(
                "the flat top cannot be wider than the foot", field="top", value=f"{self.top_m:g} m"
            )

    @property
    def volume_m3(self) -> float:
        """Volume [m3].

        Cone pi D^2 h / 12; mound pi D^2 h / 8; dome pi D L h / 6; cylinder pi D^2 h / 4; box
        W L h; windrow section times length. Exact for the shape; real heaps differ by 10-20 %.
        """
        d, h = self.width_m, self.height_m
        match self.shape:
            case "cone":
                return math.pi * d**2 * h / 12
            case "mound":
                return math.pi * d**2 * h / 8
            case "dome":
                return math.pi * d * self._along * h / 6
            case "cylinder":
                return math.pi * d**2 * h / 4
            case "box":
                return d * self._along * h
            case _:
                area = section_area(self.section, width_m=d, height_m=h, top_m=self.top_m)
                return area * self._straight + (self._end_volume if self.rounded_ends else 0.0)

    @property
    def surface_m2(self) -> float:
        """Surface that meets the air [m2], without the footprint.

        Exact for cone, mound, cylinder, box and triangular or trapezoid windrows; within 1.5 % for
        domes (Thomsen's approximation) and half-ellipse sections (Ramanujan's).
        """
        d, h, r = self.width_m, self.height_m, self.width_m / 2
        match self.shape:
            case "cone":
                return math.pi * r * math.hypot(r, h)
            case "mound":
                return float(math.pi * r / (6 * h**2) * ((r**2 + 4 * h**2) ** 1.5 - r**3))
            case "dome":
                return _dome_surface(r, self._along / 2, h)
            case "cylinder":
                return math.pi * d * h + math.pi * r**2
            case "box":
                return d * self._along + 2 * h * (d + self._along)
            case _:
                skin = _section_skin(self.section, d, h, self.top_m) * self._straight
                return skin + self._ends_surface

    @property
    def _along(self) -> float:
        return self.width_m if self.length_m is None else self.length_m

    @property
    def _straight(self) -> float:
        """Length with the full section."""
        return self._along - (self.width_m if self.rounded_ends else 0.0)

    @property
    def _end_volume(self) -> float:
        """Both rounded ends together: the round heap of the same section."""
        d, h, top = self.width_m, self.height_m, self.top_m
        match self.section:
            case "triangle":
                return math.pi * d**2 * h / 12
            case "parabola":
                return math.pi * d**2 * h / 8
            case "half-ellipse":
                return math.pi * d**2 * h / 6
            case _:
                return math.pi * h * (d**2 + d * top + top**2) / 12

    @property
    def _ends_surface(self) -> float:
        d, h, top = self.width_m, self.height_m, self.top_m
        if not self.rounded_ends:
            return 2 * section_area(self.section, width_m=d, height_m=h, top_m=top)
        match self.section:
            case "triangle":
                return Body("cone", d, h).surface_m2
            case "parabola":
                return Body("mound", d, h).surface_m2
            case "half-ellipse":
                return Body("dome", d, h).surface_m2
            case _:
                slant = math.hypot((d - top) / 2, h)
                return math.pi * (d + top) / 2 * slant + math.pi * top**2 / 4


def section_area(section: Section, *, width_m: float, height_m: float, top_m: float = 0.0) -> float:
    """Area of a windrow's cross-section [m2].

    Triangle b h / 2, parabola 2 b h / 3, trapezoid (a + b) h / 2, half ellipse pi b h / 4.

    >>> section_area("triangle", width_m=3, height_m=1.5)
    2.25
    """
    b, h = width_m, height_m
    match section:
        case "triangle":
            return b * h / 2
        case "parabola":
            return 2 * b * h / 3
        case "trapezoid":
            return (top_m + b) * h / 2
        case "half-ellipse":
            return math.pi * b * h / 4
        case _:
            raise InputError("no such cross-section", field="section", value=section)


def height_for_volume(
    shape: Shape,
    volume_m3: float,
    *,
    width_m: float,
    length_m: float | None = None,
    top_m: float = 0.0,
    section: Section = "parabola",
    rounded_ends: bool = False,
) -> float:
    """Height [m] at which a heap of that foot holds *volume_m3*; the inverse of `Body.volume_m3`.

    Raises `QuantityError` if the height passes 500 m or the volume is out of range.

    >>> round(height_for_volume("cone", 1.2566, width_m=2.0), 3)
    1.2
    """
    quantity("volume_m3").check(volume_m3)
    one = Body(
        shape,
        width_m=width_m,
        height_m=1.0,
        length_m=length_m,
        top_m=top_m,
        section=section,
        rounded_ends=rounded_ends,
    )
    return quantity("length_m").check(volume_m3 / one.volume_m3, field="height")


@dataclass(frozen=True, slots=True)
class Sinking:
    """How much of a heap's volume is left after some days: a wide range, and why it is wide."""

    age_d: float
    volume_left: Ranged
    note: str


def sinking(age_d: float) -> Sinking:
    """Share of the volume left [0-1] after *age_d* days: 1 - loss (1 - exp(-age / tau)).

    The form is this project's own; loss and tau come from a handful of reports that disagree
    widely, so the range is wide: good for "how much room will it need", not for judging a trial.

    >>> sinking(0).volume_left
    Ranged(typical=1.0, low=1.0, high=1.0)
    """
    quantity("age_d").check(age_d)
    loss, days = value("sizing", "loss_typical"), value("sizing", "sinking_days")

    def left(end: float, tau: float) -> float:
        return 1.0 - end * -math.expm1(-age_d / tau)

    return Sinking(
        age_d=age_d,
        volume_left=Ranged(
            left(loss.value, days.value), left(loss.high, days.low), left(loss.low, days.high)
        ),
        note=(
            "Weakly sourced: reports run from 16 % lost in a season to half in a month. "
            "Measure the heap instead where it matters."
        ),
    )


def _dome_surface(a: float, b: float, c: float) -> float:
    p = 1.6075
    mean = ((a * b) ** p + (a * c) ** p + (b * c) ** p) / 3
    return float(2 * math.pi * mean ** (1 / p))


def _section_skin(section: Section, b: float, h: float, top: float) -> float:
    """Length of the line over a cross-section, foot to foot [m]."""
    match section:
        case "triangle":
            return 2 * math.hypot(b / 2, h)
        case "trapezoid":
            return top + 2 * math.hypot((b - top) / 2, h)
        case "parabola":
            k = 4 * h / b
            return b / 2 * (math.sqrt(1 + k**2) + math.asinh(k) / k)
        case _:
            a = b / 2
            t = ((a - h) / (a + h)) ** 2
            return math.pi * (a + h) * (1 + 3 * t / (10 + math.sqrt(4 - 3 * t))) / 2
