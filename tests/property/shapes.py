"""Trials of random shape, as a plan file and entries: any number of ways, heaps, rounds, losses.

All of it is invented. Conventions: one seed, one trial; the same trial can be written with its
heaps renamed, its entries in another order, and shown in degrees F.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from heapwright.domain.entries import Entry, Event, Reading, Sample, Trail, Weather
from heapwright.domain.when import When
from heapwright.services.plans import lock_plan
from heapwright.store.book import Book

START = datetime(2026, 3, 1, 6, tzinfo=UTC)
LATER = datetime(2026, 9, 1, tzinfo=UTC)
DECIDING = ("mean_excess_c", "peak_excess_c", "cn_ratio", "volume_m3", "minutes", "came_up",
            "microbes")  # fmt: skip
ALSO = ("peak_excess_c", "degree_hours_40", "days_above_40", "half_cooling_d", "cn_ratio",
        "came_up", "microbes", "minutes", "water_l", "volume_m3")  # fmt: skip


@dataclass(frozen=True)
class Shape:
    """One random trial: ways by name with their lines, heaps with way and block, settings."""

    name: str
    ways: dict[str, list[str]]
    heaps: dict[str, tuple[str, str]]
    settings: dict[str, str]
    entries: tuple[Entry, ...]

    def plan(self, names: dict[str, str], unit: str) -> str:
        """The plan file with heaps renamed."""
        settings = {**self.settings}
        if settings["decides"] in ('"mean_excess_c"', '"peak_excess_c"'):
            settings["unit"] = f'"{unit}"'
        lines = ["[trial]", f'name = "{self.name}"', "starts = 2026-03-01", "invented = true"]
        lines += ["[outcome]", *(f"{k} = {v}" for k, v in settings.items())]
        for way, more in self.ways.items():
            lines += ["[[way]]", f'name = "{way}"', *more]
        for heap, (way, block) in self.heaps.items():
            lines += ["[[heap]]", f'name = "{names[heap]}"', f'way = "{way}"']
            lines += [f'block = "{block}"'] if block else []
            lines += ['built = "2026-03-01 06:00"', 'volume = "1.1 m3"']
        return "\n".join(lines) + "\n"


def shape_of(seed: int) -> Shape:
    """The trial of a seed."""
    rng = np.random.default_rng([41, seed])
    ways = _ways(rng)
    heaps: dict[str, tuple[str, str]] = {}
    blocked = rng.random() < 0.3
    for way in ways:
        n = int(rng.choice([0, 1, 2, 3, 4], p=[0.04, 0.36, 0.3, 0.2, 0.1]))
        for k in range(n):
            block = f"row {k + 1}" if blocked and rng.random() < 0.95 else ""
            heaps[f"H{len(heaps) + 1}"] = (way, block)
    if not heaps:
        heaps["H1"] = (next(iter(ways)), "")
    decides = str(rng.choice(DECIDING, p=[0.5, 0.1, 0.1, 0.1, 0.08, 0.06, 0.06]))
    low = int(rng.integers(0, 12))
    settings = {
        "decides": f'"{decides}"', "window": f'"{low}-{low + int(rng.integers(5, 45))} days"',
        "ends": str(rng.choice(["2026-05-01", "2026-06-01", "2026-12-01"], p=[0.6, 0.3, 0.1])),
        "control": f'"{next(iter(ways))}"',
        "also": json.dumps([str(k) for k in rng.permutation(ALSO)[: rng.integers(0, 6)]]),
    }  # fmt: skip
    if rng.random() < 0.7:
        settings["matters"] = '"20 %"' if decides == "came_up" else (
            '"5 C"' if decides.endswith("excess_c") else '"1"'
        )  # fmt: skip
    return Shape(
        f"Shape {seed}", ways, heaps, settings, tuple(_entries(rng, f"Shape {seed}", heaps))
    )  # fmt: skip


def _ways(rng: np.random.Generator) -> dict[str, list[str]]:
    kinds = {
        "left alone": ['kind = "left alone"'],
        "turned": ['kind = "turned"', 'first_after = "7 days"', 'every = "14 days"'],
        "vented": ['kind = "vented"', "pipes = 2"],
        "late vents": ['kind = "vented"', "pipes = 2", 'vents = "plugged"',
                       'open_after = "10 days"'],
    }  # fmt: skip
    if rng.random() < 0.2:
        rows = {}
        for t in ("never", "often"):
            for m in ("bark", "grass"):
                kind = kinds["left alone" if t == "never" else "turned"]
                rows[f"{t} with {m}"] = [*kind, f'factors = ["turning: {t}", "material: {m}"]']
        if rng.random() < 0.3:
            rows.popitem()
        return rows
    count = int(rng.integers(1, 5))
    return {w: kinds[w] for w in list(kinds)[:count]}


def _entries(
    rng: np.random.Generator, trial: str, heaps: dict[str, tuple[str, str]]
) -> list[Entry]:
    made: list[Entry] = []
    days = np.unique(np.round(np.sort(rng.uniform(0, 60, int(rng.integers(0, 25)))), 2))
    spots = [f"spot {k + 1}" for k in range(int(rng.integers(1, 4)))]
    for k, day in enumerate(days):
        if rng.random() < 0.9:
            made.append(Weather(f"w{k}", trial, _at(day), round(float(rng.normal(11, 3)), 1)))
    for heap in heaps:
        lost = float(rng.uniform(10, 60)) if rng.random() < 0.07 else 99.0
        height, offset = float(rng.normal(40, 6)), float(rng.normal(0, 4))
        missed = rng.random() * 0.4
        for k, day in enumerate(d for d in days if d < lost):
            for spot in spots:
                if rng.random() < missed / 3:
                    continue
                value = 11 + (height + offset) * np.exp(-day / 45) + rng.normal(0, 2)
                made.append(
                    Reading(f"r{heap}{k}{spot}", trial, heap, spot, _at(day), round(value, 1))
                )
        made += _others(rng, trial, heap, lost)
    return made


def _others(rng: np.random.Generator, trial: str, heap: str, lost: float) -> list[Entry]:
    made: list[Entry] = []
    if lost < 99:
        made.append(Event(f"l{heap}", trial, heap, _at(lost), "lost"))
    if rng.random() < 0.15:
        made.append(Event(f"t{heap}", trial, heap, _at(15.0), "turned", minutes=30.0))
    if rng.random() < 0.6:
        made.append(
            Event(f"a{heap}", trial, heap, _at(5.0), "watered", water_l=20.0,
                  minutes=float(rng.integers(1, 60)))
        )  # fmt: skip
    day = float(rng.uniform(5, 50))
    if rng.random() < 0.8:
        for k in range(int(rng.integers(1, 3))):
            sown = int(rng.integers(5, 20))
            up = int(rng.integers(0, sown + 1))
            made.append(
                Sample(f"g{heap}{k}", trial, heap, _at(day), "came_up", up / sown,
                       part=f"dish {k}", basis=f"of {sown}")
            )  # fmt: skip
        for k in range(int(rng.integers(1, 5))):
            made.append(
                Sample(f"m{heap}{k}", trial, heap, _at(day), "microbes",
                       float(rng.poisson(rng.choice([0.0, 4.0, 30.0]))), part=f"field {k}")
            )  # fmt: skip
        for key, value in (("cn_ratio", rng.uniform(10, 60)), ("volume_m3", rng.uniform(0.2, 1.2))):
            made.append(Sample(f"{key}{heap}", trial, heap, _at(day), key, float(value)))
    return made


def _at(day: float) -> When:
    return When.instant(START + timedelta(days=float(day)))


def written(
    shape: Shape, folder: Path, *, names: dict[str, str] | None = None, order: int | None = None,
    unit: str = "C",
) -> Book:  # fmt: skip
    """The trial as a book: heaps by *names*, entries shuffled by *order*, shown in *unit*."""
    called = names or {h: h for h in shape.heaps}
    plan = folder / f"{shape.name}-{order}-{unit}.toml"
    plan.write_text(shape.plan(called, unit), encoding="utf-8")
    book = Book(folder / f"{plan.stem}.sqlite")
    lock_plan(book, plan, now=START - timedelta(days=3))
    entries = [_renamed(e, called) for e in shape.entries]
    if order is not None:
        entries = [entries[i] for i in np.random.default_rng(order).permutation(len(entries))]
    book.add(entries, now=LATER)
    return book


def _renamed(entry: Entry, called: dict[str, str]) -> Entry:
    changes: dict[str, Any] = {"trail": Trail("", source="test")}
    if not isinstance(entry, Weather):
        changes["heap"] = called[entry.heap]
    return replace(entry, **changes)
