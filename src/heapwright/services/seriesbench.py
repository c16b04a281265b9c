"""Heaps and vessels of a measured series with all that is known of them, and slips of units.

Units: ages in days, degrees C, kg. Conventions: a first reading that makes sense in another unit
only is refused where the plan states the start, else it is said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.domain.weather import WeatherSeries
from heapwright.errors import InputError
from heapwright.exchange.seriesfile import Cell, Series
from heapwright.inference.members import Course, Subject
from heapwright.inference.readings import Read

__all__ = ["AT_BUILD_D", "Bench", "FromFirst", "Known", "check_units"]

Floats = NDArray[np.float64]
#: what was read this soon after the build is the temperature when built [d]
AT_BUILD_D = 0.25
#: a first reading this far from the stated start, and right in degrees F, is a slip of the unit [K]
_SLIP_K, _NEAR_K = 20.0, 6.0
#: a first mass this many times what the plan says is a slip of the unit
_SLIP_TIMES = 5.0


@dataclass(frozen=True, slots=True)
class FromFirst:
    """A heap whose dry mass is told as a share of the first: a member that is denser has lost as
    much of it. subject; first_kg : the first dry mass."""

    subject: Subject
    first_kg: float

    @property
    def name(self) -> str:
        """Name of the heap."""
        return self.subject.name

    @property
    def spots(self) -> tuple[str, ...]:
        """Names of the spots where it is probed."""
        return self.subject.spots

    def course(self, numbers: Mapping[str, float], days: float, cell_m: float | None) -> Course:
        """How such a heap goes, its dry mass from the first one on."""
        made = self.subject.course(numbers, days, cell_m)
        dry = made.curves["dry_kg"]
        made.curves["dry_kg"] = dry * (self.first_kg / float(dry[0]))
        return made

    def mark(self, until_d: float) -> bytes:
        """All that is known of it as bytes."""
        return self.subject.mark(until_d) + repr(self.first_kg).encode()


@dataclass(frozen=True, slots=True)
class Known:
    """A heap or vessel: subject; held_out; first : what it was when built, by quantity of a
    reading; air : days and temperatures around it; start_c."""

    subject: Any
    held_out: bool
    first: Mapping[str, float]
    weather: WeatherSeries | None = None
    start_h: float = 0.0

    @property
    def name(self) -> str:
        """Its name."""
        return str(self.subject.name)

    def air(self, day: Floats) -> Floats:
        """Temperature around it [degrees C] at some ages: of a heap the mean of the day before."""
        if self.weather is None:
            return np.asarray(self.subject.vessel.room(day * 24.0))
        return self.weather.day_before(self.start_h + day * 24.0)


@dataclass(frozen=True, slots=True)
class Bench:
    """All of a series: trial; known : heaps and vessels in the order of the plan; reads : in the
    order of time; assumed, sources : in words; invented."""

    trial: str
    known: tuple[Known, ...]
    reads: tuple[Read, ...]
    assumed: tuple[str, ...]
    sources: tuple[str, ...]
    invented: bool = False

    def of(self, name: str) -> Known:
        """The heap or vessel of that name."""
        return next(k for k in self.known if k.name == name)


def check_units(
    series: Series, days: Sequence[float], known: Mapping[str, Known], said: list[str]
) -> None:
    """Refuse a first reading that only makes sense in another unit, or say so in *said*."""
    seen: set[tuple[str, str]] = set()
    for cell, day in zip(series.cells, days, strict=True):
        if (cell.heap, cell.quantity) in seen or cell.quantity in ("air_c", "loss") or day < 0:
            continue
        seen.add((cell.heap, cell.quantity))
        mine = known[cell.heap]
        if cell.quantity == "temp_c" and day <= AT_BUILD_D:
            _check_start(cell, mine, said)
        if cell.quantity in ("mass_kg", "dry_kg", "volume_m3") and cell.quantity in mine.first:
            times = cell.value / mine.first[cell.quantity]
            if not 1 / _SLIP_TIMES < times < _SLIP_TIMES:
                raise InputError(
                    f"the plan makes {mine.first[cell.quantity]:.3g} of it, "
                    f"{1 / times if times < 1 else times:.3g} times "
                    f"{'more' if times < 1 else 'less'}",
                    where=cell.where, field="cell", value=f"{cell.value:g}",
                    way_out="Check the unit in the header, and the amount in the plan",
                )  # fmt: skip


def _check_start(cell: Cell, mine: Known, said: list[str]) -> None:
    """A first temperature that fits what is known in degrees F only: of a vessel, whose start is
    stated, it is refused; a heap may have been built of hot material."""
    stated = mine.first["temp_c"] if mine.weather is None else float(mine.air(np.zeros(1))[0])
    as_f = (cell.value - 32.0) / 1.8
    if cell.value - stated <= _SLIP_K or abs(as_f - stated) >= _NEAR_K:
        return
    if mine.weather is not None:
        said.append(
            f"heap {mine.name} begins at {cell.value:.0f} C in air of {stated:.0f} C: it is taken "
            "as hot when built; are these degrees F?"
        )
        return
    raise InputError(
        f"the plan says {stated:.0f} C when filled, so this reads like degrees F",
        where=cell.where, field="cell", value=f"{cell.value:g} C",
        way_out="Write (F) into the header; if it is right, write start under the [[vessel]]",
    )  # fmt: skip
