"""What is known of a heap at its two ends: amounts and what they held, each with a range.

Units: register units. Conventions: first is what was taken within three days of the build; left is
the last day an amount was taken, and tests of that heap within a week of it. A range that was typed
stands; without one the usual error of that measurement is taken and said. Where a heap has no test
at first, the plan and the table of materials stand in.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from heapwright.domain.entries import Sample
from heapwright.domain.material import Mix
from heapwright.domain.trial import Trial
from heapwright.domain.when import When
from heapwright.errors import HeapwrightError
from heapwright.science.balance import Estimate, dry_mass_loss, propagate
from heapwright.science.values import value
from heapwright.services.doings import sample_value
from heapwright.services.record import HeapRecord
from heapwright.units import Ranged, parse, quantity, show

__all__ = [
    "Ends", "Fact", "amounts", "ash_at_both", "ends_of", "known_of", "losses", "mix_fractions",
    "volumes",
]  # fmt: skip

#: heap ages up to which a sample tells what was built [d], and how far tests of the end may lie
#: from the amount that was measured
_FIRST_D, _NEAR_D = 3.0, 7.0
#: part of a count of barrow loads
_LOADS = ("barrows", "barrow", "loads", "wheelbarrows")
#: how far a sample without a range of its own may be off: key in balance.toml, True for a share
_OFF: Mapping[str, tuple[str, bool]] = {
    "volume_m3": ("off_volume", True), "barrows": ("off_barrows", True),
    "mass_kg": ("off_mass", True), "dry_mass_kg": ("off_mass", True),
    "bulk_density_kg_m3": ("off_density", True), "moisture_wb": ("off_moisture", False),
    "ash_dm": ("off_ash", True), "carbon_dm": ("off_carbon", True),
    "nitrogen_dm": ("off_nitrogen", True), "cn_ratio": ("off_nitrogen", True),
}  # fmt: skip
_AMOUNTS = ("volume_m3", "barrows", "mass_kg", "dry_mass_kg")
_SHARES = ("moisture_wb", "ash_dm", "carbon_dm", "nitrogen_dm")
#: a method, and what it needs at each end; the first that a reader would trust most
_METHODS: Mapping[str, tuple[str, ...]] = {
    "scale": ("mass_kg", "moisture_wb"),
    "dry scale": ("dry_mass_kg",),
    "tape": ("volume_m3", "bulk_density_kg_m3", "moisture_wb"),
    "barrow": ("barrows", "bulk_density_kg_m3", "moisture_wb"),
    "plan": ("planned_dry_kg",),
}


@dataclass(frozen=True, slots=True)
class Fact:
    """One number at one end: value; own : measured on this heap; assumed : its range is the usual
    error, not typed nor from repeats; how : in words; when : of the last of its samples."""

    value: Ranged
    own: bool
    how: str
    assumed: bool = False
    when: When | None = None


@dataclass(frozen=True, slots=True)
class Ends:
    """A heap at its two ends: facts by quantity key; left_on : when; stale : keys whose last test
    lies too far from that; barrow_m3 : one load; unusable : samples that no sum can take;
    ash_days : every day that ash was taken after the build, with its mean."""

    heap: HeapRecord
    first: Mapping[str, Fact]
    left: Mapping[str, Fact]
    left_on: datetime | None = None
    stale: tuple[str, ...] = ()
    barrow_m3: Ranged | None = None
    unusable: tuple[str, ...] = ()
    ash_days: tuple[tuple[str, float], ...] = ()


def ends_of(
    heap: HeapRecord,
    trial: Trial,
    fractions: Mapping[str, Ranged],
    *,
    share: float | None = None,
) -> Ends:
    """What is known of a heap at first and at the end.

    fractions : what the plan's mix holds, from `mix_fractions`; share : this heap's share of the
    plan's material, None where the plan has none.
    """
    taken, unusable = _by_key(heap.samples)
    early, late = _parted(heap, taken)
    first = {key: _fact(key, samples) for key, samples in early.items() if samples}
    _fill(first, heap, fractions, share)
    amounts_taken = [s for key in _AMOUNTS for s in late.get(key, ())]
    last = amounts_taken or list(late.get("ash_dm", ()))
    if not last:
        return Ends(heap, first, {}, barrow_m3=trial.barrow_m3, unusable=unusable)
    day = max(s.when.middle for s in last)
    left, stale = {}, []
    days = _ash_days(heap, late.get("ash_dm", ()))
    for key, samples in late.items():
        near = [s for s in samples if abs(s.when.middle - day) <= timedelta(days=_NEAR_D)]
        if near:
            latest = max(s.when.middle for s in near)
            left[key] = _fact(
                key, [s for s in near if latest - s.when.middle < timedelta(days=1)]
            )  # fmt: skip
        elif samples:
            stale.append(key)
    return Ends(heap, first, left, day, tuple(stale), trial.barrow_m3, unusable, days)


def mix_fractions(trial: Trial) -> dict[str, Ranged]:
    """What the plan's material holds, all of it together: moisture, bulk density, carbon, nitrogen
    and ash, and its dry mass under ``planned_dry_kg``; empty where the plan does not say."""
    if not trial.ingredients:
        return {}
    import numpy as np

    from heapwright.planning.mix_parts import draw, look_up
    from heapwright.planning.mix_summary import mixed

    try:
        mix = Mix(trial.ingredients, barrow_m3=trial.barrow_m3)
        parts = tuple(look_up(part) for part in mix.ingredients)
        rng = np.random.default_rng(trial.locked.seed)
        columns = []
        for draws in (0, 2000):
            d = draw(mix, parts, rng, draws)
            answer, dry = mixed(mix, d), d.dry_mass_kg
            total = dry.sum(axis=0)
            columns.append({
                "moisture_wb": answer["moisture_wb"],
                "bulk_density_kg_m3": answer["bulk_density_kg_m3"],
                "carbon_dm": answer["carbon_kg"] / total,
                "nitrogen_dm": answer["nitrogen_kg"] / total,
                "ash_dm": 1.0 - (dry * d.vs_dm).sum(axis=0) / total,
                "planned_dry_kg": total,
            })  # fmt: skip
    except HeapwrightError:
        return {}
    made = {}
    for key, spread in columns[1].items():
        typical = float(columns[0][key][0])
        low, high = (float(x) for x in np.quantile(spread, (0.05, 0.95)))
        made[key] = Ranged(typical, min(low, typical), max(high, typical))
    return made


# --- samples --------------------------------------------------------------------------------------


def _by_key(
    samples: Sequence[Sample],
) -> tuple[dict[str, list[Sample]], tuple[str, ...]]:
    """Samples of the whole heap under the names of this module, volatile solids as ash; and what
    no sum can take, in words."""
    made: dict[str, list[Sample]] = {}
    refused: list[str] = []
    for s in samples:
        if s.quantity == "count":
            key = "barrows" if s.part.strip().lower() in _LOADS else ""
        else:
            key = "ash_dm" if s.quantity == "vs_dm" else s.quantity
        if key not in _OFF:
            continue
        if key != "barrows" and s.part != "whole":
            refused.append(f"samples of a part ({s.part}) are left out: those of the whole count")
            continue
        number = 1.0 - s.value if s.quantity == "vs_dm" else s.value
        if number <= 0 and key != "moisture_wb":
            refused.append(f"{show(s.value, s.quantity)} ({s.quantity}) leaves nothing to sum")
        elif number >= 1 and key in _SHARES:
            refused.append(
                f"{show(s.value, s.quantity)} ({s.quantity}) leaves no room for the rest"
            )
        else:
            made.setdefault(key, []).append(s)
    return made, tuple(dict.fromkeys(refused))


def _ash_days(heap: HeapRecord, samples: Sequence[Sample]) -> tuple[tuple[str, float], ...]:
    """Mean ash of each day it was taken, in order; days by heap age where that is known."""
    by_day: dict[str, list[float]] = {}
    for s in sorted(samples, key=lambda s: s.when.middle):
        known = heap.built is not None
        day = f"day {heap.age_d(s.when.middle):.0f}" if known else f"{s.when.middle:%Y-%m-%d}"
        by_day.setdefault(day, []).append(1.0 - s.value if s.quantity == "vs_dm" else s.value)
    return tuple((day, statistics.fmean(found)) for day, found in by_day.items())


def _parted(
    heap: HeapRecord, taken: Mapping[str, list[Sample]]
) -> tuple[dict[str, list[Sample]], dict[str, list[Sample]]]:
    """Samples of the first days, and those after; by the first day sampled where nobody wrote down
    when the heap was built."""
    every = [s for samples in taken.values() for s in samples]
    if not every:
        return {}, {}
    start = heap.built or min(s.when.low for s in every)
    limit = start + timedelta(days=_FIRST_D)
    early = {k: [s for s in x if s.when.low < limit] for k, x in taken.items()}
    late = {k: [s for s in x if s.when.low >= limit] for k, x in taken.items()}
    return early, late


def _fact(key: str, samples: Sequence[Sample]) -> Fact:
    """One fact from the samples of one end: the mean where there are several."""
    ranges = [_typed_range(key, s) for s in samples]
    middle = statistics.fmean(r.typical for r in ranges)
    typed = [r for r in ranges if not r.is_exact]
    method = next((s.method for s in samples if s.method), "")
    how, when = (
        method or "a way nobody noted",
        max((s.when for s in samples), key=lambda w: w.middle),
    )
    if len(ranges) >= 3:
        from scipy.special import stdtrit

        numbers = [r.typical for r in ranges]
        t = float(stdtrit(len(numbers) - 1, 0.95))
        half = t * statistics.stdev(numbers) / math.sqrt(len(numbers))
        return Fact(_around(key, middle, half), True, f"{how}, mean of {len(ranges)}", when=when)
    if typed and len(typed) == len(ranges):
        low = middle - max(r.typical - r.low for r in ranges)
        high = middle + max(r.high - r.typical for r in ranges)
        floor, ceiling = _limits(key, middle)
        kept = Ranged(middle, max(low, min(floor, middle)), min(high, max(ceiling, middle)))
        return Fact(kept, True, f"{how}, range as typed", when=when)
    name, is_share = _OFF[key]
    if key == "moisture_wb" and any("squeeze" in s.method.lower() for s in samples):
        name = "off_squeeze"
    off = value("balance", name).value
    half = off * middle if is_share else off
    gap = max(abs(r.typical - middle) for r in ranges)
    return Fact(_around(key, middle, max(half, gap)), True, how, assumed=True, when=when)


def _typed_range(key: str, sample: Sample) -> Ranged:
    """The value of a sample with the range that was typed with it, if one was and still stands."""
    number = 1.0 - sample.value if sample.quantity == "vs_dm" else sample.value
    exact = Ranged.exact(number)
    if not sample.typed:
        return exact
    dry = sample.quantity == "moisture_wb" and sample.basis.strip().lower() == "dry"
    if dry:
        return exact
    try:
        read, _ = sample_value(
            sample.quantity, sample.typed, basis=sample.basis, unit=sample.typed_unit or None
        )
        found = parse(sample.typed, sample.quantity, default_unit=sample.typed_unit or None)
    except HeapwrightError:
        return exact
    if not math.isclose(read, sample.value, rel_tol=1e-9, abs_tol=1e-12):
        return exact  # corrected since it was typed
    if sample.quantity == "vs_dm":
        return Ranged(1 - found.typical, 1 - found.high, 1 - found.low)
    return found


def _around(key: str, middle: float, half: float) -> Ranged:
    """A range that stays inside what a sum can take."""
    floor, ceiling = _limits(key, middle)
    low, high = max(floor, middle - half), min(ceiling, middle + half)
    return Ranged(middle, min(low, middle), max(high, middle))


def _limits(key: str, middle: float) -> tuple[float, float]:
    """Above nought, and below all of it, so that something is left to divide by."""
    if key == "moisture_wb":
        return 0.0, (9 + middle) / 10
    ceiling = (9 + middle) / 10 if key in _SHARES else quantity("mass_kg").high
    return middle / 10, ceiling


def _fill(
    first: dict[str, Fact],
    heap: HeapRecord,
    fractions: Mapping[str, Ranged],
    share: float | None,
) -> None:
    """Put in from the plan what nobody measured at first."""
    if heap.heap.volume_m3 is not None and "volume_m3" not in first:
        first["volume_m3"] = Fact(heap.heap.volume_m3, False, "as planned, not by tape")
    for key in (*_SHARES, "bulk_density_kg_m3"):
        if key in fractions and key not in first:
            first[key] = Fact(fractions[key], False, "from the plan and the table of materials")
    if "planned_dry_kg" in fractions and share is not None:
        whole = fractions["planned_dry_kg"].scaled(share)
        first["planned_dry_kg"] = Fact(whole, False, "as this heap's share of the plan")


# --- amounts and losses ---------------------------------------------------------------------------


def known_of(ends: Ends) -> dict[str, Ranged]:
    """Every number of a heap by name, as ``first ash_dm`` and ``left ash_dm``; ``barrow``."""
    known = {f"first {k}": f.value for k, f in ends.first.items()}
    known |= {f"left {k}": f.value for k, f in ends.left.items()}
    if ends.barrow_m3 is not None:
        known["barrow"] = ends.barrow_m3
    return known


def _can(ends: Ends, end: str) -> list[str]:
    """Methods that give a dry mass at one end. Those that lean on the plan or on the table stand
    only where no method was measured in all its parts."""
    held = ends.first if end == "first" else ends.left
    found = [
        m for m, needs in _METHODS.items()
        if all(n in held for n in needs) and (m != "barrow" or ends.barrow_m3 is not None)
    ]  # fmt: skip
    own = [m for m in found if all(held[n].own for n in _METHODS[m])]
    return own or found


def _dry(v: Mapping[str, float], method: str, end: str) -> float:
    """Dry mass at one end by one method."""
    solid = 1.0 - v.get(f"{end} moisture_wb", 0.0)
    if method == "scale":
        return v[f"{end} mass_kg"] * solid
    if method == "tape":
        return v[f"{end} volume_m3"] * v[f"{end} bulk_density_kg_m3"] * solid
    if method == "barrow":
        return v[f"{end} barrows"] * v["barrow"] * v[f"{end} bulk_density_kg_m3"] * solid
    return v[f"{end} {_METHODS[method][0]}"]


def amounts(ends: Ends, end: str) -> list[Estimate]:
    """Dry mass [kg] at one end, ``first`` or ``left``, by every method that there is."""
    known = known_of(ends)

    def by(method: str) -> Ranged:
        return propagate(lambda v: _dry(v, method, end), known)

    return [Estimate(method, by(method)) for method in _can(ends, end)]


def losses(ends: Ends) -> list[Estimate]:
    """Dry matter lost [fraction] by every method: by one method at both ends where there is one,
    what is left over at either end against the other end; by ash where both ends have it."""
    known = known_of(ends)
    starts, finishes = _can(ends, "first"), _can(ends, "left")
    both = [m for m in finishes if m in starts]
    lone_starts = [m for m in starts if m not in both]
    lone_finishes = [m for m in finishes if m not in both]
    pairs = [(m, m) for m in both]
    pairs += [(a, b) for a in lone_starts for b in (lone_finishes or finishes)]
    pairs += [(a, b) for a in (lone_starts or starts) for b in lone_finishes]

    def by(start: str, finish: str) -> Ranged:
        return propagate(lambda v: 1.0 - _dry(v, finish, "left") / _dry(v, start, "first"), known)

    made = [
        Estimate(a if a == b else f"{a} at first, {b} at the end", by(a, b))
        for a, b in dict.fromkeys(pairs)
    ]
    if ash_at_both(ends):
        lost = propagate(lambda v: dry_mass_loss(v["first ash_dm"], v["left ash_dm"]), known)
        made.append(Estimate("ash", lost))
    return made


def ash_at_both(ends: Ends) -> bool:
    """True where ash is known at both ends, above nought."""
    return all(
        "ash_dm" in held and held["ash_dm"].value.low > 0 and held["ash_dm"].value.high < 1
        for held in (ends.first, ends.left)
    )


def volumes(ends: Ends, end: str) -> list[Estimate]:
    """Volume [m3] at one end by tape and by barrow; as planned where nobody measured it."""
    held = ends.first if end == "first" else ends.left
    made = []
    if "barrows" in held and ends.barrow_m3 is not None:
        both = {"n": held["barrows"].value, "barrow": ends.barrow_m3}
        made.append(Estimate("barrow", propagate(lambda v: v["n"] * v["barrow"], both)))
    if "volume_m3" in held and (held["volume_m3"].own or not made):
        name = "tape" if held["volume_m3"].own else "plan"
        made.insert(0, Estimate(name, held["volume_m3"].value))
    return made
