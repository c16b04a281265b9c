"""What came in, what went, what is left: losses by ash and by mass, closure, and several methods.

Units: kg and m3; fractions of dry matter, moisture on wet basis; losses as fractions of what was
there at first. Conventions: a range (`Ranged`) holds nine in ten (5 to 95 %). Errors of separate
measurements are taken as independent; a measurement used twice is one error. Nothing here picks
one method where several were used.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import InputError, QuantityError
from heapwright.science.values import value
from heapwright.units import Ranged

__all__ = [
    "Closure", "Estimate", "Together", "carbon_from_organic", "close", "dry_mass", "dry_mass_left",
    "dry_mass_loss", "fell_back", "ground_covered", "organic_loss", "propagate", "share_lost",
    "together", "water_from_rotting", "water_held",
]  # fmt: skip

Floats = NDArray[np.float64]
Number = TypeVar("Number", float, Floats)
#: a difference this small, as a share of what came in, is rounding
_ROUNDING = 1e-9


# --- ash stays, so its share tells what went -----------------------------------------------------


def organic_loss(ash_first: Number, ash_left: Number) -> Number:
    """Organic matter lost [fraction of the first organic matter], if no ash came or went.

    ash_first, ash_left : fraction of dry matter, above 0 and below 1. 1 - X1 (100 - X2) /
    [X2 (100 - X1)] with X in per cent. Below 0 where the ash fell. Raises `QuantityError`. Source:
    formula of Paredes et al.; 20 to 40 % ash is 62.5 % (computed from it).

    >>> round(organic_loss(0.20, 0.40), 4)
    0.625
    """
    _ash(ash_first, "first ash")
    _ash(ash_left, "ash left")
    return 1.0 - ash_first * (1.0 - ash_left) / (ash_left * (1.0 - ash_first))


def dry_mass_loss(ash_first: Number, ash_left: Number) -> Number:
    """Dry mass lost [fraction of the first dry mass], if no ash came or went: 1 - X1 / X2.

    Arguments and errors as in `organic_loss`. Source: conservation of ash.

    >>> dry_mass_loss(0.20, 0.40)
    0.5
    """
    _ash(ash_first, "first ash")
    _ash(ash_left, "ash left")
    return 1.0 - ash_first / ash_left


def dry_mass_left(dry_mass_kg: Number, ash_first: Number, ash_left: Number) -> Number:
    """Dry mass left [kg] of a first *dry_mass_kg*, if no ash came or went: m X1 / X2.

    >>> dry_mass_left(200.0, 0.10, 0.16)
    125.0
    """
    return dry_mass_kg * (1.0 - dry_mass_loss(ash_first, ash_left))


def _ash(ash_dm: float | Floats, field: str) -> None:
    found = np.asarray(ash_dm)
    if not np.all((found > 0) & (found < 1)):
        raise QuantityError(
            "ash must lie above 0 and below 100 % of the dry matter", field=field, value=ash_dm,
            way_out="Write it as 12 %, on dry matter",
        )  # fmt: skip


# --- masses ---------------------------------------------------------------------------------------


def dry_mass(volume_m3: Number, bulk_density_kg_m3: Number, moisture_wb: Number) -> Number:
    """Dry mass [kg] of a volume at a wet bulk density and a moisture on wet basis [0-1].

    >>> round(dry_mass(1.2, 400.0, 0.55), 6)
    216.0
    """
    return volume_m3 * bulk_density_kg_m3 * (1.0 - moisture_wb)


def water_held(dry_mass_kg: Number, moisture_wb: Number) -> Number:
    """Water [kg] held by a dry mass at a moisture on wet basis [0-1). Raises `QuantityError`.

    >>> water_held(200.0, 0.5)
    200.0
    """
    if np.any(np.asarray(moisture_wb) >= 1):
        raise QuantityError("pure water has no dry mass", field="moisture_wb", value=moisture_wb)
    return dry_mass_kg * moisture_wb / (1.0 - moisture_wb)


def water_from_rotting(organic_lost_kg: Number) -> Number:
    """Water made by rotting [kg] where so much organic matter [kg] was lost.

    0.556 kg a kg, that of carbohydrate burnt in full (computed). Source: C6H10O5 + 6 O2 = 6 CO2 +
    5 H2O.

    >>> round(water_from_rotting(100.0), 1)
    55.6
    """
    return organic_lost_kg * value("balance", "water_from_rotting").value


def carbon_from_organic(ash_dm: Ranged) -> Ranged:
    """Carbon [fraction of dry matter] from ash: organic matter / 1.8, a ratio with a spread.

    Raises `QuantityError`. Source: Adams et al. 1951, quoted by Richard, Cornell (most organic
    matter holds 45-60 % carbon).

    >>> round(carbon_from_organic(Ranged.exact(0.10)).typical, 3)
    0.5
    """
    for number in (ash_dm.low, ash_dm.high):
        _ash(number, "ash")
    ratio = value("mixing", "vs_per_carbon").ranged
    known = {"ash": ash_dm, "ratio": ratio}
    return propagate(lambda v: (1.0 - v["ash"]) / v["ratio"], known)


#: the ground under a body, as a multiple of volume over height; a flat top makes it any between
_FOOT: Mapping[str, tuple[float, float, float]] = {
    "cone": (3.0, 3.0, 3.0), "mound": (2.0, 2.0, 2.0), "bin": (1.0, 1.0, 1.0),
    "box": (1.0, 1.0, 1.0), "windrow triangle": (2.0, 2.0, 2.0),
    "windrow parabola": (1.5, 1.5, 1.5), "windrow trapezoid": (1.5, 1.0, 2.0),
}  # fmt: skip


def ground_covered(shape: str, volume_m3: float, height_m: float) -> Ranged:
    """Ground under a heap [m2], of a shape a tape knows, from its volume and height.

    Cone 3 V / h, mound 2 V / h, triangle 2 V / h, parabola 1.5 V / h, box V / h; a trapezoid lies
    between. Raises `InputError` for another shape, `QuantityError` for a height of 0. Source: the
    volumes in `heapwright.science.geometry`, turned round.

    >>> round(ground_covered("mound", 1.2, 1.1).typical, 2)
    2.18
    """
    if shape not in _FOOT:
        raise InputError(
            "no such shape", field="shape", value=shape, way_out=f"Choose {', '.join(_FOOT)}"
        )
    if not height_m > 0:
        raise QuantityError("a heap has a height", field="height", value=height_m)
    return Ranged(*(times * volume_m3 / height_m for times in _FOOT[shape]))


def share_lost(first: Ranged, left: Ranged) -> Ranged:
    """Share lost [fraction of the first] of anything measured at both ends, independently.

    Raises `QuantityError` where the first may be nought.

    >>> lost = share_lost(Ranged(1.2, 1.1, 1.3), Ranged(0.72, 0.66, 0.78))
    >>> round(lost.typical, 2), round(lost.low, 2), round(lost.high, 2)
    (0.4, 0.33, 0.47)
    """
    if first.low <= 0:
        raise QuantityError("there must have been something at first", field="first", value=0)
    return propagate(lambda v: 1.0 - v["left"] / v["first"], {"first": first, "left": left})


# --- ranges ---------------------------------------------------------------------------------------


def propagate(
    function: Callable[[Mapping[str, float]], float], known: Mapping[str, Ranged]
) -> Ranged:
    """The range of a number worked out from several, each with its own range.

    function : of a mapping of plain numbers under the names of *known*; known : by name, a number
    that stands in several places once. Each is moved to its low and its high alone; what that does
    is added in squares, upwards and downwards apart. First order, so good where the ranges are
    small beside the numbers. Raises what *function* raises.

    >>> r = propagate(lambda v: v["a"] - v["b"], {"a": Ranged(5, 2, 8), "b": Ranged(1, -3, 5)})
    >>> r.typical, r.low, r.high
    (4.0, -1.0, 9.0)
    """
    middle = {name: number.typical for name, number in known.items()}
    typical = float(function(middle))
    down = up = 0.0
    for name, number in known.items():
        if number.is_exact:
            continue
        ends = [float(function({**middle, name: x})) - typical for x in (number.low, number.high)]
        down += min(0.0, *ends) ** 2
        up += max(0.0, *ends) ** 2
    return Ranged(typical, typical - math.sqrt(down), typical + math.sqrt(up))


# --- several methods ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Estimate:
    """One method's answer: its name, and the number with its range."""

    name: str
    value: Ranged


@dataclass(frozen=True, slots=True)
class Together:
    """The same thing by several methods.

    estimates : as given; spread : highest less lowest of their numbers; whole : from the lowest low
    to the highest high, with the middle of the numbers as its typical; agree : whether one value
    lies in every range, None for a single method or where no range came with them.
    """

    estimates: tuple[Estimate, ...]
    spread: float
    whole: Ranged
    agree: bool | None

    def words(self, *, factor: float = 1.0, unit: str = "", step: str = "") -> tuple[str, ...]:
        """What is said of them: one or two sentences.

        factor, unit : from the number kept to the one shown; step : the unit of a difference,
        where it is another word ("points" beside "%").

        >>> both = together([Estimate("scale", Ranged(0.20, 0.15, 0.25)),
        ...                  Estimate("ash", Ranged(0.28, 0.22, 0.34))])
        >>> for line in both.words(factor=100, unit="%", step="points"): print(line)
        2 methods give 20 to 28 %: they differ by 8 points, and none is taken for the right one.
        Their ranges overlap; from 15 to 34 % is what is known.
        """
        numbers = [e.value.typical * factor for e in self.estimates]
        low, high = self.whole.low * factor, self.whole.high * factor
        digits = _digits([*numbers, low, high])
        if len(numbers) == 1:
            said = f"{_number(numbers[0], digits)} {unit}".strip() + f" by {self.estimates[0].name}"
            if not self.whole.is_exact:
                said += f", {_number(low, digits)} to {_number(high, digits)} {unit}".rstrip()
            return (f"{said}. One method only, so nothing shows how far it may be off.",)
        first = (
            f"{len(numbers)} methods give {_number(min(numbers), digits)} to "
            f"{_number(max(numbers), digits)} {unit}".rstrip()
            + f": they differ by {_number(self.spread * factor, digits)} {step or unit}".rstrip()
            + ", and none is taken for the right one."
        )
        span = f"from {_number(low, digits)} to {_number(high, digits)} {unit}".rstrip()
        if self.agree is None:
            return first, f"No range came with them, so {span} is the least that is not known."
        if self.agree:
            return first, f"Their ranges overlap; {span} is what is known."
        return first, (
            "Their ranges do not all meet, so at least one is off by more than its own range; "
            f"{span} is what is known."
        )

    def to_json(self) -> dict[str, object]:
        """All of it as plain values."""
        return {
            "methods": {e.name: _plain(e.value) for e in self.estimates},
            "spread": self.spread, "whole": _plain(self.whole), "agree": self.agree,
        }  # fmt: skip


def together(estimates: Sequence[Estimate]) -> Together:
    """Several methods side by side: how far they differ, and the range that holds them all.

    Raises `InputError` for none, or for two of one name.

    >>> poplar = [Estimate(n, Ranged.exact(x)) for n, x in
    ...           (("bags", 0.233), ("columns", 0.227), ("whole pile", 0.139), ("ash", 0.166))]
    >>> round(together(poplar).spread, 3)
    0.094
    """
    names = [e.name for e in estimates]
    if not names or len(set(names)) < len(names):
        raise InputError(
            "each method is named once, and there is at least one", field="methods", value=names,
            way_out="Give every estimate a name of its own",
        )  # fmt: skip
    ranges = [e.value for e in estimates]
    numbers = [r.typical for r in ranges]
    judged = len(ranges) > 1 and not all(r.is_exact for r in ranges)
    return Together(
        tuple(estimates),
        max(numbers) - min(numbers),
        Ranged(
            min(max(sum(numbers) / len(numbers), min(numbers)), max(numbers)),
            min(r.low for r in ranges), max(r.high for r in ranges),
        ),
        max(r.low for r in ranges) <= min(r.high for r in ranges) if judged else None,
    )  # fmt: skip


def fell_back(names: Sequence[str], losses: Sequence[float]) -> tuple[str, ...]:
    """What is said where a loss reads below an earlier one: it cannot shrink, so that is noise.

    names : of the times, in order ("week 4"); losses : fractions of the first, one each. Raises
    `InputError` where they are not as many.

    >>> fell_back(["week 4", "week 5", "week 6"], [0.098, 0.083, 0.101])
    ('week 5 reads 1.5 points below week 4: sampling noise, not gain',)
    """
    if len(names) != len(losses):
        raise InputError("each time has one loss", field="losses", value=len(losses))
    said, top = [], 0
    for k in range(1, len(losses)):
        if losses[k] < losses[top]:
            points = 100 * (losses[top] - losses[k])
            said.append(
                f"{names[k]} reads {points:.1f} points below {names[top]}: sampling noise, not gain"
            )
        else:
            top = k
    return tuple(said)


# --- closure --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Closure:
    """What came in less what went out less what is left, against its own range.

    what, unit : as said; came_in, went_out, left : with ranges, went_out None where nobody
    measured it; rest : what is unaccounted for, or without *went_out* what went; closes : None
    where nothing checks it; said : in words.
    """

    what: str
    unit: str
    came_in: Ranged
    went_out: Ranged | None
    left: Ranged
    rest: Ranged
    closes: bool | None
    said: str

    def to_json(self) -> dict[str, object]:
        """All of it as plain values."""
        return {
            "what": self.what, "unit": self.unit, "came_in": _plain(self.came_in),
            "went_out": self.went_out and _plain(self.went_out), "left": _plain(self.left),
            "rest": _plain(self.rest), "closes": self.closes, "said": self.said,
        }  # fmt: skip


def close(
    what: str,
    came_in: Ranged,
    left: Ranged,
    went_out: Ranged | None = None,
    *,
    unit: str = "kg",
    rest: Ranged | None = None,
) -> Closure:
    """Whether an account closes: came in - went out - left lies within its range of nought.

    went_out : measured by itself; None where it was not, and then only a gain can be seen: more
    left than came in; rest : in - out - left, where they share measurements and it was worked
    out from all at once. Differences below a billionth of what came in are rounding.

    >>> close("ash", Ranged(20, 18, 22), Ranged(19, 17, 21), Ranged.exact(0)).said
    'closes within what is known'
    >>> close("water", Ranged(100, 90, 110), Ranged(150, 140, 160)).said
    'does not close: 50 kg more is left than came in, more than its range of 14'
    >>> close("ash", Ranged(20, 19, 21), Ranged(10, 9, 11), Ranged.exact(0)).said
    'does not close: 10 kg missing, more than its range of 1.4'
    """
    known = {"in": came_in, "left": left, "out": went_out or Ranged.exact(0.0)}
    if rest is None:
        rest = propagate(lambda v: v["in"] - v["out"] - v["left"], known)
    tiny = _ROUNDING * max(abs(came_in.high), abs(left.high), 1e-300)
    over = rest.low > tiny
    under = rest.high < -tiny
    if went_out is None:
        if under:
            off = f"{_short(-rest.typical)} {unit} more is left than came in"
            half = _short(rest.high - rest.typical)
            said = f"does not close: {off}, more than its range of {half}"
            return Closure(what, unit, came_in, None, left, rest, False, said)
        said = "nothing checks it: what went was not measured"
        return Closure(what, unit, came_in, None, left, rest, None, said)
    if over or under:
        reach = rest.typical - rest.low if over else rest.high - rest.typical
        way = "missing" if over else "too much"
        said = (
            f"does not close: {_short(abs(rest.typical))} {unit} {way}, "
            f"more than its range of {_short(reach)}"
        )
        return Closure(what, unit, came_in, went_out, left, rest, False, said)
    said = "closes within what is known"
    return Closure(what, unit, came_in, went_out, left, rest, True, said)


# --- words ----------------------------------------------------------------------------------------


def _plain(number: Ranged) -> dict[str, float]:
    return {"typical": number.typical, "low": number.low, "high": number.high}


def _digits(numbers: Sequence[float]) -> int:
    """Decimals of a row of numbers: one where any of them needs it."""
    near = all(abs(n - round(n)) < 0.05 for n in numbers)
    return 0 if near or max(map(abs, numbers)) >= 100 else 1


def _number(number: float, digits: int) -> str:
    text = f"{number:.{digits}f}"
    return text[1:] if text.strip("-0.") == "" and text.startswith("-") else text


def _short(number: float) -> str:
    """Two digits, or whole above 100."""
    return f"{number:.0f}" if abs(number) >= 100 else f"{number:.2g}"
