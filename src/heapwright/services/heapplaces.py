"""Where things are in a heap: its outline, the tip of the probe at every spot, the pipes.

Units: metres in heap coordinates: x along the heap, y across it, z up, from the middle of the foot.
Conventions: +x points east and +y north where a plan names a side by its compass bearing; the probe
goes in at right angles to the skin unless its position says otherwise. What had to be taken for
granted comes back as plain sentences.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from heapwright.domain.heap import Spot
from heapwright.domain.way import Vent
from heapwright.engine.scenario import Pipe, ProbeSpot
from heapwright.engine.shapes import measures_of

__all__ = ["Outline", "outline_of", "pipes_of", "spots_of"]

Point = tuple[float, float, float]

#: pipes lie this high where no distance to a probe says otherwise (common practice, no source)
_PIPE_HEIGHT = 0.15
#: a pipe stands out of the heap, and a probe stays above the ground, by this much
_OUT, _ABOVE_GROUND = 0.05, 0.05
_SIDES: dict[str, tuple[float, float]] = {
    "north": (0.0, 1.0),
    "south": (0.0, -1.0),
    "east": (1.0, 0.0),
    "west": (-1.0, 0.0),
}
_SHARES = {
    "half": 0.5, "third": 1 / 3, "quarter": 0.25, "two thirds": 2 / 3, "three quarters": 0.75,
    "foot": 0.15, "base": 0.15, "bottom": 0.15, "low": 0.25, "upper": 0.75, "high": 0.75,
    "shoulder": 0.75,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outline:
    """The skin of a heap with straight measures [m]; shape as in `domain.heap.SHAPES`."""

    shape: str
    width_m: float
    height_m: float
    length_m: float

    @property
    def round(self) -> bool:
        """True for heaps with a round foot."""
        return self.shape in ("cone", "mound", "bin")

    def half_m(self, z: float) -> float:
        """Half the width at height z, from the middle to the skin; 0 above the top."""
        up = z / self.height_m
        if not 0 <= up <= 1:
            return 0.0
        foot = self.width_m / 2
        match self.shape.split()[-1]:
            case "mound" | "parabola":
                return foot * math.sqrt(1 - up)
            case "cone" | "triangle":
                return foot * (1 - up)
            case "trapezoid":
                return foot * (1 - up / 2)
            case _:
                return foot

    def _lean(self, z: float) -> tuple[float, float]:
        """The way out of the flank at height z: (outwards, up), of length 1."""
        step = 1e-4 * self.height_m
        low, high = max(z - step, 0.0), min(z + step, self.height_m)
        narrower = (self.half_m(low) - self.half_m(high)) / (high - low)
        size = math.hypot(1.0, narrower)
        return 1.0 / size, narrower / size

    def chord_m(self, across: float, z: float) -> float:
        """Half the length of a straight line along x at (y = across, z) inside the heap."""
        half = self.half_m(z)
        if abs(across) >= half:
            return 0.0
        return math.sqrt(half**2 - across**2) if self.round else self.length_m / 2

    def from_top(self, depth_m: float) -> Point:
        """A probe pushed straight down in the middle of the top."""
        return (0.0, 0.0, max(self.height_m - depth_m, min(_ABOVE_GROUND, self.height_m / 2)))

    def from_flank(self, side: tuple[float, float], up_m: float, depth_m: float) -> Point:
        """A probe pushed in at right angles to the skin, *up_m* above the ground on a side."""
        z0 = min(max(up_m, 0.02), 0.98 * self.height_m)
        ends = self.length_m / 2 if not self.round else None
        size = math.hypot(*side)
        sx, sy = side[0] / size, side[1] / size
        if ends is not None and abs(sx) > abs(sy):
            return (math.copysign(max(ends - depth_m, 0.0), sx), 0.0, z0)
        out, up = self._lean(z0)
        inward = self.half_m(z0) - out * depth_m
        z = max(z0 - up * depth_m, min(_ABOVE_GROUND, self.height_m / 2))
        if ends is not None:
            return (0.0, math.copysign(inward, sy) if inward > 0 else 0.0, z)
        return (sx * inward, sy * inward, z)


def outline_of(
    shape: str, volume_m3: float, *, height_m: float | None = None
) -> tuple[Outline, str]:
    """The outline of a heap of that volume, and what was taken for granted ("" for nothing).

    Raises `InputError` for an unknown shape.

    >>> mound, said = outline_of("mound", 1.2, height_m=1.1)
    >>> round(mound.width_m, 2), said
    (1.67, '')
    """
    width, height, length = measures_of(shape, volume_m3, height_m=height_m)
    outline = Outline(shape, width, height, length)
    said = []
    if height_m is None:
        said.append(f"height not measured: {height:.1f} m taken, from the volume")
    if not outline.round:
        said.append(f"width not measured: {width:.1f} m taken, twice the height")
    return outline, "; ".join(said)


# --- spots ---------------------------------------------------------------------------------------


def spots_of(
    spots: Sequence[Spot], outline: Outline
) -> tuple[tuple[ProbeSpot, ...], tuple[str, ...]]:
    """The tip of the probe at every spot, and what was taken for granted.

    A heap without spots gets one in the core.

    >>> mound, _ = outline_of("mound", 1.2, height_m=1.1)
    >>> found, said = spots_of([Spot("core", 0.5, position="top, straight down")], mound)
    >>> found[0].point_m == (0.0, 0.0, 1.1 - 0.5), said
    (True, ())
    """
    if not spots:
        core = ProbeSpot("core", (0.0, 0.0, outline.height_m / 2))
        return (core,), ("no spots in the plan: the middle of the heap, half way up, is shown",)
    made: list[ProbeSpot] = []
    said: list[str] = []
    for spot in spots:
        point, note = _place(spot, outline)
        made.append(ProbeSpot(spot.name, point))
        if note:
            said.append(note)
    return tuple(made), tuple(said)


def _place(spot: Spot, outline: Outline) -> tuple[Point, str]:
    words = " ".join(re.findall(r"[a-z0-9.]+", f"{spot.position} {spot.name}".lower()))
    position = " ".join(re.findall(r"[a-z0-9.]+", spot.position.lower()))
    side = [v for name, v in _SIDES.items() if re.search(rf"\b{name}", words)]
    deep = f"{spot.depth_m * 100:.0f} cm"
    if "straight down" in position or re.search(r"\b(top|crown|ridge)\b", position) or (
        not side and not re.search(r"\b(flank|side|slope|end)\b", words)
    ):  # fmt: skip
        point = outline.from_top(spot.depth_m)
        known = bool(position) and re.search(r"\b(top|crown|ridge|down)\b", position)
        note = "" if known else f"spot {spot.name}: straight down from the top, {deep} deep"
        if spot.depth_m > outline.height_m - _ABOVE_GROUND:
            note = f"spot {spot.name}: {deep} would reach the ground; taken just above it"
        return point, note
    up, up_known = _up(words, outline.height_m)
    to = (sum(v[0] for v in side), sum(v[1] for v in side)) if side else (0.0, -1.0)
    if math.hypot(*to) < 1e-9:
        to = (0.0, -1.0)
    notes = []
    if not side:
        notes.append("side not named, south taken")
    if not up_known:
        notes.append("height on the flank not named, half way up taken")
    point = outline.from_flank(to, up, spot.depth_m)
    return point, f"spot {spot.name}: {', '.join(notes)}" if notes else ""


def _up(words: str, height_m: float) -> tuple[float, bool]:
    """Height on the flank [m] from words such as "half way up" or "40 cm up"."""
    found = re.search(r"(\d+(?:\.\d+)?)\s*(cm|m)\s*(?:up|high|above)", words)
    if found:
        return float(found[1]) * (0.01 if found[2] == "cm" else 1.0), True
    for name in sorted(_SHARES, key=len, reverse=True):
        if re.search(rf"\b{name}\b", words):
            return _SHARES[name] * height_m, True
    return 0.5 * height_m, False


# --- pipes ---------------------------------------------------------------------------------------


def pipes_of(
    vent: Vent, outline: Outline, spots: Sequence[Spot], points: Sequence[ProbeSpot]
) -> tuple[tuple[Pipe, ...], tuple[str, ...]]:
    """The pipes of a vented heap, and what was taken for granted about where they lie.

    Lying pipes run along x in a round heap and across a long one, evenly spaced, at the height
    that best meets the distances from pipe to probe that the plan states. Upright pipes stand in a
    row along y in a round heap, along x in a long one, and open above the skin.
    """
    spacing = vent.spacing_m
    reach = outline.width_m if outline.round else outline.length_m
    said = []
    if spacing is None and vent.pipes > 1:
        spacing = reach / (vent.pipes + 1)
        said.append(f"distance between the pipes not given: {spacing:.1f} m taken")
    gap = spacing or 0.0
    at = [(k - (vent.pipes - 1) / 2) * gap for k in range(vent.pipes)]
    wanted = {
        p.name: s.pipe_distance_m
        for s, p in zip(spots, points, strict=False)
        if s.pipe_distance_m is not None
    }
    where = {p.name: p.point_m for p in points}
    if vent.upright:
        courses = [_standing(outline, a) for a in at]
        said.append("upright pipes stand in a row through the middle")
    else:
        height, note = _height(outline, at, wanted, where, vent.diameter_m)
        courses = [_lying(outline, a, height) for a in at]
        said.append(note)
    for name, distance in wanted.items():
        got = min(_distance(where[name], c) for c in courses)
        if abs(got - distance) > 0.1:
            said.append(
                f"spot {name}: {got * 100:.0f} cm from the nearest pipe as laid here, "
                f"{distance * 100:.0f} cm in the plan"
            )
    made = tuple(
        Pipe(c, diameter_m=vent.diameter_m, hole_rows=vent.hole_rows, state=vent.state,
             both_open=not vent.upright)
        for c in courses
    )  # fmt: skip
    return made, tuple(said)


def _standing(outline: Outline, at: float) -> tuple[Point, Point]:
    x, y = (0.0, at) if outline.round else (at, 0.0)
    top = outline.height_m
    if outline.round:
        steps = [outline.height_m * k / 200 for k in range(200)]
        top = max((z for z in steps if outline.half_m(z) > abs(at)), default=0.0)
    return (x, y, 0.02), (x, y, top + _OUT)


def _lying(outline: Outline, at: float, z: float) -> tuple[Point, Point]:
    if outline.round:
        half = outline.chord_m(at, z) + _OUT
        return (-half, at, z), (half, at, z)
    half = outline.half_m(z) + _OUT
    return (at, -half, z), (at, half, z)


def _height(
    outline: Outline,
    at: Sequence[float],
    wanted: dict[str, float],
    where: dict[str, Point],
    diameter: float,
) -> tuple[float, str]:
    """Height of lying pipes and the sentence that says why."""
    lowest = max(diameter / 2, 0.03)
    usual = min(max(_PIPE_HEIGHT, lowest), outline.height_m / 2)
    if not wanted:
        return usual, f"pipes lie {usual * 100:.0f} cm above the ground"
    steps = 100
    heights = [lowest + (0.8 * outline.height_m - lowest) * k / steps for k in range(steps + 1)]
    widest = max(abs(a) for a in at)
    heights = [z for z in heights if not outline.round or outline.chord_m(widest, z) > 0.1]
    if not heights:
        return usual, f"pipes lie {usual * 100:.0f} cm above the ground"

    def missed(z: float) -> float:
        courses = [_lying(outline, a, z) for a in at]
        return sum(
            (min(_distance(where[n], c) for c in courses) - d) ** 2 for n, d in wanted.items()
        )

    best = min(heights, key=missed)
    return best, (
        f"pipes lie {best * 100:.0f} cm above the ground, which best meets the distances from "
        "pipe to probe in the plan"
    )


def _distance(point: Point, course: tuple[Point, Point]) -> float:
    """From a point to a straight pipe [m]."""
    a, b = course
    along = [q - p for p, q in zip(a, b, strict=True)]
    size = sum(s * s for s in along)
    share = sum((p - q) * s for p, q, s in zip(point, a, along, strict=True)) / size
    share = min(max(share, 0.0), 1.0)
    return math.dist(point, [p + share * s for p, s in zip(a, along, strict=True)])
