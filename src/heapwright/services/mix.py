"""Mixes, heap sizes, barrows and water, from text as people write it.

Units: register units out; text in. Conventions: every function takes text or numbers, does one
thing and returns the objects of planning and science; nothing is stored.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from heapwright.domain.material import Ingredient, Measured, Mix
from heapwright.errors import InputError
from heapwright.planning import barrow as barrows
from heapwright.planning.mix import (
    MixSolution,
    MixSummary,
    describe_mix,
    parse_product,
    solve_mix,
)
from heapwright.planning.mix_parts import look_up
from heapwright.planning.sizing import (
    SizingAdvice,
    WaterAdvice,
    squeeze_moisture,
    warm_heaps,
    water_to_add,
)
from heapwright.science.geometry import Body, Section, Shape, Sinking, height_for_volume, sinking
from heapwright.science.values import recommended
from heapwright.units import Ranged, parse, parse_number

__all__ = [
    "SizeAnswer",
    "WaterAnswer",
    "answer",
    "calibrate_barrow",
    "describe",
    "goals",
    "parse_ingredient",
    "size_heap",
    "solve",
    "split_volume",
    "water_for",
]

_WORDS = {
    "a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7,
    "eight": 8, "nine": 9, "ten": 10, "eleven": 11, "twelve": 12, "half a": 0.5,
}  # fmt: skip
_LOADS = r"wheelbarrows?|barrow\s?loads?|barrowfuls?|barrows?|loads?"
_VOLUMES = (
    r"m3|m\^3|m³|cubic met(?:re|er)s?|cu m|lit(?:re|er)s?|l|yd3|cubic yards?|cu yd|"
    r"ft3|cubic f(?:oo|ee)t|cu ft|us gal(?:lon)?s?|imp(?:erial)? gal(?:lon)?s?|uk gal(?:lon)?s?|"
    r"gal(?:lon)?s?"
)
_MASSES = r"kg|kilos?|tonnes?|t|lbs?|pounds?"
_N = r"\d+(?:[.,]\d+)?"
_INGREDIENT = re.compile(
    rf"^\s*(?P<amount>(?:about\s+|around\s+|~\s*)?(?:{_N}(?:\s*(?:-|–|to)\s*{_N})?|"
    rf"half a|twelve|eleven|ten|nine|eight|seven|six|five|four|three|two|one|an?))\s*"
    rf"(?:(?P<loads>{_LOADS})|(?P<volume>{_VOLUMES})|(?P<mass>{_MASSES}))(?=\s)\s+"
    rf"(?:of\s+)?(?P<name>[^\[\]]+?)(?:\s+like\s+(?P<like>[^\[\]]+?))?\s*"
    rf"(?:\[(?P<own>[^\]]*)\])?\s*$",
    re.IGNORECASE,
)
_OWN: Mapping[str, str] = {
    "moisture": "moisture_wb",
    "nitrogen": "nitrogen_dm",
    "n": "nitrogen_dm",
    "carbon": "carbon_dm",
    "c": "carbon_dm",
    "c:n": "cn_ratio",
    "cn": "cn_ratio",
    "density": "bulk_density_kg_m3",
    "bulk density": "bulk_density_kg_m3",
    "lignin": "lignin_vs",
    "ash": "ash_dm",
}
_HINT = 'Write an amount and a material, as in "6 barrows arborist chips" or "40 kg cow manure"'


@dataclass(frozen=True, slots=True)
class SizeAnswer:
    """A heap measured: its body, volume, surface, how it sinks, and what the volume is good for."""

    body: Body
    volume_m3: float
    surface_m2: float
    after: tuple[Sinking, ...]
    advice: SizingAdvice


@dataclass(frozen=True, slots=True)
class WaterAnswer:
    """Water for a volume of one material: what was taken, and the advice."""

    material: str
    dry_density: Ranged
    moisture_wb: Ranged
    goal_moisture_wb: float
    advice: WaterAdvice
    source: str
    seen: str


def parse_ingredient(text: str) -> Ingredient:
    """``"6 barrows arborist chips [moisture 45-55 %]"`` as an `Ingredient`.

    ``like`` names the row of the table for a material of another name; square brackets hold own
    measurements, ``dry`` or ``fresh`` after a per cent tells its basis. Raises `InputError` or
    `QuantityError` for text that cannot be read.

    >>> parse_ingredient("two barrows of grass mowings").loads.typical
    2.0
    >>> parse_ingredient("9 barrows apple stuff like arborist chips").feedstock.category
    'wood'
    """
    found = _INGREDIENT.match(text)
    if found is None:
        raise InputError(
            "no amount and material found", field="material", value=text, way_out=_HINT
        )
    amount = found["amount"].strip().lower()
    amount = str(_WORDS.get(amount, amount))
    name = found["name"].strip()
    own = _own(found["own"] or "", name)
    like = found["like"].strip() if found["like"] else None
    if found["loads"]:
        loads = parse(amount, "count", field=name)
        return Ingredient(name, like=like, loads=loads, measured=own)
    if found["volume"]:
        volume = parse(f"{amount} {found['volume']}", "volume_m3", field=name)
        return Ingredient(name, like=like, volume_m3=volume, measured=own)
    mass = parse(f"{amount} {found['mass']}", "mass_kg", field=name)
    return Ingredient(name, like=like, mass_kg=mass, measured=own)


def _own(text: str, name: str) -> dict[str, Measured | Ranged]:
    """Own measurements from the text in brackets."""
    result: dict[str, Measured | Ranged] = {}
    for part in filter(None, (p.strip() for p in re.split(r"[,;](?!\d)", text))):
        found = re.match(r"(?P<key>[A-Za-z][A-Za-z: ]*?)\s*[=:]?\s*(?P<value>[\d~].*)$", part)
        key = _OWN.get(found["key"].strip().lower()) if found else None
        if found is None or key is None:
            raise InputError(
                "not a measurement known of a material",
                field=name,
                value=part,
                way_out=f"Write one of {', '.join(sorted(_OWN))} and a number, as in moisture 50 %",
            )
        value, basis = found["value"].strip(), ""
        ending = re.search(r"\s+(dry|wet|fresh)(\s+basis)?$", value, re.IGNORECASE)
        if ending:
            basis = "dry" if ending[1].lower() == "dry" else "wet"
            value = value[: ending.start()]
        dry = key == "moisture_wb" and basis == "dry"
        number = parse(value, "moisture_db" if dry else key, field=f"{name}, {found['key']}")
        result[key] = Measured(number, method="typed in", basis=basis)
    return result


def describe(materials: Sequence[str], *, rng_seed: int, barrow: str | None = None) -> MixSummary:
    """What the mix of these materials will be; see `planning.mix.describe_mix`."""
    import numpy as np

    return describe_mix(_mix(materials, barrow), rng=np.random.default_rng(rng_seed))


def answer(
    materials: Sequence[str],
    *,
    rng_seed: int,
    barrow: str | None = None,
    goal_cn: str | None = None,
    goal_moisture: str | None = None,
    nitrogen: str | None = None,
) -> MixSummary | MixSolution:
    """`solve` where a goal or a nitrogen product is given, else `describe`."""
    if goal_cn is None and goal_moisture is None and nitrogen is None:
        return describe(materials, barrow=barrow, rng_seed=rng_seed)
    return solve(
        materials, barrow=barrow, goal_cn=goal_cn, goal_moisture=goal_moisture, nitrogen=nitrogen,
        rng_seed=rng_seed,
    )  # fmt: skip


def solve(
    materials: Sequence[str],
    *,
    rng_seed: int,
    barrow: str | None = None,
    goal_cn: str | None = None,
    goal_moisture: str | None = None,
    nitrogen: str | None = None,
) -> MixSolution:
    """How much of each to take; a goal left out is that of `goals`. See `planning.mix`."""
    import numpy as np

    cn, moisture = goals(goal_cn, goal_moisture)
    return solve_mix(
        _mix(materials, barrow),
        goal_cn_ratio=cn,
        goal_moisture_wb=moisture,
        product=parse_product(nitrogen) if nitrogen else None,
        rng=np.random.default_rng(rng_seed),
    )


def goals(goal_cn: str | None, goal_moisture: str | None) -> tuple[Ranged, Ranged]:
    """Goals for C:N and moisture; left out, the ideal of the most recent handbook (2022)."""
    found = []
    for text, key in ((goal_cn, "cn_ratio"), (goal_moisture, "moisture_wb")):
        if text is not None:
            found.append(parse(text, key, field=f"goal {key}"))
            continue
        guide = next(g for g in recommended(key) if "2022" in g.source)
        low, high = guide.ideal
        assert low is not None
        assert high is not None
        found.append(Ranged((low + high) / 2, low, high))
    return found[0], found[1]


def size_heap(
    shape: Shape,
    *,
    width_m: float,
    height_m: float | None = None,
    volume_m3: float | None = None,
    length_m: float | None = None,
    top_m: float = 0.0,
    section: Section = "parabola",
    rounded_ends: bool = False,
    heaps: int | None = None,
    air_temp_c: float | None = None,
) -> SizeAnswer:
    """Volume of a heap from its measures, or height from volume, and what it is good for."""
    if (height_m is None) == (volume_m3 is None):
        raise InputError("give either a height or a volume", field="height")
    if height_m is None:
        assert volume_m3 is not None
        height_m = height_for_volume(
            shape,
            volume_m3,
            width_m=width_m,
            length_m=length_m,
            top_m=top_m,
            section=section,
            rounded_ends=rounded_ends,
        )
    body = Body(shape, width_m, height_m, length_m, top_m, section, rounded_ends)
    volume = body.volume_m3
    return SizeAnswer(
        body=body,
        volume_m3=volume,
        surface_m2=body.surface_m2,
        after=tuple(sinking(days) for days in (7, 30, 90)),
        # measures on a real heap: about one part in ten either way
        advice=split_volume(Ranged(volume, 0.9 * volume, 1.1 * volume), heaps, air_temp_c),
    )


def split_volume(
    volume_m3: Ranged, heaps: int | None = None, air_temp_c: float | None = None
) -> SizingAdvice:
    """How many warm heaps a volume makes; see `planning.sizing.warm_heaps`."""
    return warm_heaps(volume_m3, wanted=heaps, air_temp_c=air_temp_c)


def calibrate_barrow(
    counts: Sequence[str], *, bucket: str, loads: int | None = None, buckets: float | None = None
) -> barrows.BarrowSize:
    """A barrow from bucketfuls a load, or from a total over several loads."""
    container = parse(bucket, "container_l", field="bucket").typical
    if counts:
        numbers = [parse_number(text, field="bucketfuls") for text in counts]
        return barrows.by_buckets(numbers, container_l=container)
    if loads is None or buckets is None:
        raise InputError(
            "nothing was counted",
            field="buckets",
            way_out="Give the bucketfuls of each load, or --loads and --buckets in all",
        )
    return barrows.by_total(loads, buckets, container_l=container)


def water_for(
    amount: str,
    *,
    like: str,
    goal: str,
    moisture: str | None = None,
    squeeze: str | None = None,
    flow: str | None = None,
    barrow: str | None = None,
) -> WaterAnswer:
    """Litres and hose minutes for an amount of one material; from a squeeze or a moisture."""
    size = _barrow(barrow)
    volume = parse(amount, "volume_m3", field="amount", extra=_barrow_units(size))
    part = look_up(Ingredient(like, volume_m3=volume))
    density, held = part.known["bulk_density_kg_m3"], part.known["moisture_wb"]
    now = held.value
    if squeeze is not None:
        now = squeeze_moisture(squeeze, woody=part.row.carbon.woody)
    elif moisture is not None:
        now = parse(moisture, "moisture_wb", field="moisture")
    dry = Ranged(
        density.value.typical * (1 - held.value.typical),
        density.value.low * (1 - held.value.typical),
        density.value.high * (1 - held.value.typical),
    )
    goal_moisture = parse(goal, "moisture_wb", field="goal").typical
    return WaterAnswer(
        material=part.row.name,
        dry_density=dry,
        moisture_wb=now,
        goal_moisture_wb=goal_moisture,
        advice=water_to_add(
            volume.typical,
            dry_density=dry,
            moisture_wb=now,
            goal_moisture_wb=goal_moisture,
            flow_l_min=parse(flow, "flow_l_min", field="flow").typical if flow else None,
        ),
        source=part.row.source,
        seen=part.row.seen,
    )


def _barrow_units(size: Ranged) -> dict[str, float]:
    return dict.fromkeys(("barrow", "wheelbarrow", "load"), size.typical)


def _barrow(text: str | None) -> Ranged:
    if text is None:
        return barrows.guessed_barrow()
    return parse(text, "container_l", field="barrow").scaled(0.001)


def _mix(materials: Sequence[str], barrow: str | None) -> Mix:
    return Mix(tuple(parse_ingredient(text) for text in materials), barrow_m3=_barrow(barrow))
