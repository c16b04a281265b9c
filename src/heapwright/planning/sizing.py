"""How many heaps a load makes, how much water it takes, and what a hand squeeze tells.

Units: m3, litres, minutes; moisture on wet basis.
Conventions: the least size of a warm heap is a rule of thumb with a range, not a limit of nature;
water is given as a range, and hose minutes at full and at half uptake.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from heapwright.errors import ImpossibleError, InputError, UnknownNameError
from heapwright.science.mixing import water_for_dry_mass
from heapwright.science.values import raw, value
from heapwright.units import Ranged, quantity, two_digits

__all__ = [
    "HeapOption",
    "SizingAdvice",
    "Squeeze",
    "WaterAdvice",
    "chance_floor",
    "flow_from_bucket",
    "squeeze_bands",
    "squeeze_moisture",
    "warm_heaps",
    "water_to_add",
]

_MOST_HEAPS = 12
#: A heap this far under the usual least volume is still called near it.
_NEAR = 0.9
#: From here on a cold week or a dry side does not matter much.
_SAFE = 1.2


@dataclass(frozen=True, slots=True)
class HeapOption:
    """One way of splitting: how many heaps, how big each, how warm, and what it can show.

    warm : "likely", "just enough", "doubtful" or "unlikely"; chance_floor : the smallest chance
    figure that two ways with half the heaps each can give (None with an odd number or below two).
    """

    heaps: int
    each_m3: Ranged
    warm: str
    chance_floor: float | None


@dataclass(frozen=True, slots=True)
class SizingAdvice:
    """What a volume is good for: the sentence, the heaps it keeps warm, and the splits."""

    volume_m3: Ranged
    warm_heaps: int
    least_m3: Ranged
    headline: str
    options: tuple[HeapOption, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WaterAdvice:
    """Water to bring material to a moisture: litres, and hose minutes at full and half uptake."""

    litres: Ranged
    minutes_full: Ranged | None
    minutes_half: Ranged | None
    note: str


@dataclass(frozen=True, slots=True)
class Squeeze:
    """One answer of the hand squeeze: its name, what is seen, and the moisture it means."""

    key: str
    text: str
    moisture_wb: Ranged
    source: str
    seen: str


def warm_heaps(
    volume_m3: Ranged, *, wanted: int | None = None, air_temp_c: float | None = None
) -> SizingAdvice:
    """How many warm heaps a volume makes, and the splits into 1 to 12 heaps worth a look.

    wanted : number of heaps wished for, named in the sentence; air_temp_c : mean air [C]; in frost
    a heap needs more volume (our own assumption). About 1 m3 a heap: FAO and extension leaflets.

    Examples
    --------
    >>> warm_heaps(Ranged(1.05, 0.95, 1.1), wanted=3).headline
    'This makes one warm heap, not three: 0.35 m3 each is too little to stay warm.'
    """
    quantity("volume_m3").check(volume_m3.low)
    quantity("volume_m3").check(volume_m3.high)
    least = value("sizing", "warm_heap_m3").ranged
    notes = ["About 1 m3 a heap is a rule of thumb for mild air (range 0.8-1.2 m3)."]
    if air_temp_c is not None:
        quantity("air_temp_c").check(air_temp_c)
        if air_temp_c < 0:
            least = least.scaled(value("sizing", "cold_air_factor").value)
            notes.append("In frost half as much again is asked: our own assumption, no source.")
    heats = value("sizing", "heats_at_all_m3").value * least.typical / _mild_least()
    count = max(1, math.floor(volume_m3.typical / (_NEAR * least.typical)))
    numbers = _worth_a_look(volume_m3.typical, least.typical, count, wanted)
    options = tuple(_option(k, volume_m3, least.typical, heats) for k in numbers)
    return SizingAdvice(
        volume_m3=volume_m3,
        warm_heaps=count if volume_m3.typical >= heats else 0,
        least_m3=least,
        headline=_headline(volume_m3.typical, count, wanted, heats),
        options=options,
        notes=tuple(notes),
    )


def chance_floor(heaps: int) -> float | None:
    """Smallest two-sided chance figure of two ways with half of the heaps each.

    2 / (number of ways to draw half); None for an odd number or fewer than two.

    >>> round(chance_floor(4), 2), round(chance_floor(8), 3)
    (0.33, 0.029)
    """
    if heaps < 2 or heaps % 2:
        return None
    return min(1.0, 2.0 / math.comb(heaps, heaps // 2))


def water_to_add(
    volume_m3: float,
    *,
    dry_density: Ranged,
    moisture_wb: Ranged,
    goal_moisture_wb: float,
    flow_l_min: float | None = None,
) -> WaterAdvice:
    """Litres that bring a volume to a moisture, and how long the hose runs.

    dry_density : dry mass per volume as it lies [kg/m3]; moisture_wb : now, from a squeeze band or
    an oven. Raises `ImpossibleError` if it is surely wetter than that already.

    Examples
    --------
    >>> advice = water_to_add(1.0, dry_density=Ranged.exact(160), flow_l_min=15,
    ...     moisture_wb=Ranged.exact(0.4), goal_moisture_wb=0.6)
    >>> round(advice.litres.typical), round(advice.minutes_full.typical)
    (133, 9)
    """
    quantity("volume_m3").check(volume_m3)
    quantity("bulk_density_kg_m3").check(dry_density.low, field="dry_density")
    for m in (moisture_wb.low, moisture_wb.high, goal_moisture_wb):
        quantity("moisture_wb").check(m)
    if not 0 < goal_moisture_wb < 0.9:
        raise InputError(
            "a heap is never wetter than 90 %",
            field="goal_moisture_wb",
            value=f"{100 * goal_moisture_wb:g} %",
            way_out="Write 50-60 %",
        )
    if moisture_wb.low > goal_moisture_wb:
        raise ImpossibleError(
            f"it already holds {100 * moisture_wb.low:.0f} % or more; water cannot lower that",
            field="goal_moisture_wb",
            value=f"{100 * goal_moisture_wb:.0f} %",
            way_out="Mix in something dry, or turn it on a dry windy day",
        )

    def need(density: float, now: float) -> float:
        return water_for_dry_mass(density * volume_m3, now, goal_moisture_wb=goal_moisture_wb)

    litres = Ranged(
        need(dry_density.typical, moisture_wb.typical),
        need(dry_density.low, moisture_wb.high),
        need(dry_density.high, moisture_wb.low),
    )
    full = half = None
    if flow_l_min is not None:
        quantity("flow_l_min").check(flow_l_min)
        full, half = litres.scaled(1 / flow_l_min), litres.scaled(2 / flow_l_min)
    return WaterAdvice(
        litres=litres,
        minutes_full=full,
        minutes_half=half,
        note=(
            "Half of it may run through: give it in two or more goes while turning, and squeeze "
            "again before the last."
        ),
    )


def flow_from_bucket(container_l: float, seconds: float) -> float:
    """Flow of a hose [L/min] from the seconds it takes to fill a bucket, nozzle on.

    Time it three times at the working end. Raises `QuantityError` for a flow out of range.

    >>> round(flow_from_bucket(18.9, 40), 1)
    28.4
    """
    quantity("container_l").check(container_l)
    if not (math.isfinite(seconds) and seconds > 0):
        raise InputError("seconds are above 0", field="seconds", value=seconds)
    return quantity("flow_l_min").check(60.0 * container_l / seconds)


@functools.cache
def squeeze_bands() -> Mapping[str, Squeeze]:
    """The answers of the hand squeeze, wettest first, with the moisture each usually means."""
    found = {}
    for key, entry in raw("sizing")["squeeze"].items():
        low, high = float(entry["moisture_wb"]["low"]), float(entry["moisture_wb"]["high"])
        band = Ranged((low + high) / 2, low, high)
        found[key] = Squeeze(key, entry["text"], band, entry["source"], entry["seen"])
    return MappingProxyType(found)


def squeeze_moisture(band: str, *, woody: bool) -> Ranged:
    """Moisture [0-1] that a squeeze tells, 5 to 95 %; wider for woody material.

    The band itself and the error of the hand (5 points for leaf and grass, 8 for wood) are added
    in squares. Raises `UnknownNameError` for a band that is not in `squeeze_bands`.

    >>> leaf, wood = squeeze_moisture("damp", woody=False), squeeze_moisture("damp", woody=True)
    >>> wood.high - wood.low > leaf.high - leaf.low
    True
    """
    bands = squeeze_bands()
    if band not in bands:
        raise UnknownNameError(
            "no such answer of the hand squeeze",
            field="squeeze",
            value=band,
            way_out=f"Choose {', '.join(bands)}",
        )
    own = bands[band].moisture_wb
    error = value("sizing", "squeeze_woody_error" if woody else "squeeze_leaf_error").value
    half = math.hypot((own.high - own.low) / 2, 1.645 * error)
    return Ranged(own.typical, max(0.02, own.typical - half), min(0.95, own.typical + half))


def _mild_least() -> float:
    return value("sizing", "warm_heap_m3").value


def _option(heaps: int, volume: Ranged, least: float, heats: float) -> HeapOption:
    each = volume.scaled(1 / heaps)
    if each.typical >= _SAFE * least:
        warm = "likely"
    elif each.typical >= _NEAR * least:
        warm = "just enough"
    elif each.typical >= heats:
        warm = "doubtful"
    else:
        warm = "unlikely"
    return HeapOption(heaps, each, warm, chance_floor(heaps))


def _worth_a_look(volume: float, least: float, count: int, wanted: int | None) -> list[int]:
    numbers = {1, count, *(k for k in (2, 4, 6, 8, 10, 12) if volume / k >= 0.5 * least)}
    if wanted is not None:
        if not 1 <= wanted <= 200:
            raise InputError("heaps are counted from 1 to 200", field="heaps", value=wanted)
        numbers.add(wanted)
    return sorted(k for k in numbers if k <= _MOST_HEAPS or k == wanted)


_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def _word(number: int) -> str:
    return _WORDS[number] if number < len(_WORDS) else str(number)


def _heaps(number: int) -> str:
    return f"{_word(number)} warm heap{'' if number == 1 else 's'}"


def _headline(volume: float, count: int, wanted: int | None, heats: float) -> str:
    if volume < heats:
        return f"{two_digits(volume)} m3 is too little for one warm heap: pool it, or add to it."
    if wanted is not None and wanted > count:
        each = f"{two_digits(volume / wanted)} m3"
        makes = f"This makes {_heaps(count)}, not {_word(wanted)}"
        return f"{makes}: {each} each is too little to stay warm."
    if wanted == 1:
        return f"One heap of {two_digits(volume)} m3 can stay warm."
    if wanted is not None:
        return (
            f"{_word(wanted).capitalize()} of {two_digits(volume / wanted)} m3 each can stay warm."
        )
    return f"This makes {_heaps(count)} of {two_digits(volume / count)} m3."
