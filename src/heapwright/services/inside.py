"""How a heap is inside now, where its heat and water went, and what to measure next.

Units: degrees C, % of wet mass, % oxygen of dry gas, MJ, litres, days. Conventions: a number in a
ring was read within the last days; everything else is worked out from the heaps that fit, in ranges
of 80 %. The accounts are bookkeeping of those heaps, not a cause.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from heapwright.inference.crew import Crew
from heapwright.inference.fit import Fitted
from heapwright.inference.inside import Inside, inside
from heapwright.inference.narrowing import Worth
from heapwright.inference.readings import Read
from heapwright.inference.whatif import Effect
from heapwright.reports.cut import Ring
from heapwright.reports.inside_section import inside_section
from heapwright.reports.pictures import Picture
from heapwright.services.forecasting import measure_next
from heapwright.services.learning import Task
from heapwright.services.learnwords import worth_json

__all__ = [
    "ACCOUNTED", "AHEAD_D", "HEAT_HEAD", "READ_HEAD", "WATER_HEAD", "Within", "account_rows",
    "inside_json", "inside_of", "inside_picture", "inside_words", "read_rows",
]  # fmt: skip

#: what is measured next is chosen for the spots so many days ahead [d]
AHEAD_D = 7.0
#: a reading is of now for so long [d], own choice
_NOW_D = 3.0
#: terms smaller than this share of all that came and went are not listed
_SMALL = 0.005
#: heads of the tables
READ_HEAD = ["spot", "last read", "when"]
HEAT_HEAD = ["heat, MJ", "sum", "80 %"]
WATER_HEAD = ["water, L", "sum", "80 %"]
#: what stands below the accounts
ACCOUNTED = (
    "Summed since the heap was built; + came in, - went out. Bookkeeping of the heaps that fit, "
    "not a cause."
)


@dataclass(frozen=True, slots=True)
class Within:
    """A heap inside: task; found; last : by spot the last temperature read and how many days ago;
    rings, wet_rings : spots with what was read; next : what to measure of it next, best first."""

    task: Task
    found: Inside
    last: Mapping[str, tuple[float, float]]
    rings: tuple[Ring, ...]
    wet_rings: tuple[Ring, ...]
    next: tuple[Worth, ...]


def inside_of(
    task: Task,
    fitted: Fitted,
    heap: str,
    *,
    crew: Crew | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> Within:
    """The inside of a heap now; raises `UnknownNameError` for a heap that is not there."""
    subject = fitted.subject(task.heap(heap))
    age = task.ages[subject.name]
    found = inside(fitted, subject.name, age, crew=crew, on_progress=on_progress)
    mine = [r for r in task.reads if r.heap == subject.name]
    side, up = found.grown

    def rings(quantity: str, factor: float) -> tuple[Ring, ...]:
        made = []
        for spot in subject.spec.spots:
            last = _last(mine, spot.name, quantity)
            fresh = last is not None and age - last.day <= _NOW_D
            x, y, z = spot.point_m
            said = f"{factor * last.value:.0f}" if last is not None and fresh else ""
            made.append(Ring(spot.name, (side * x, side * y, up * z), fresh, said))
        return tuple(made)

    last = {
        s: (r.value, age - r.day)
        for s in subject.spots
        for r in [_last(mine, s, "temp_c")]
        if r is not None
    }
    best = tuple(w for w in measure_next(task, fitted) if w.read.heap == subject.name)
    return Within(task, found, last, rings("temp_c", 1.0), rings("moisture_wb", 100.0), best)


def _last(mine: list[Read], spot: str, quantity: str) -> Read | None:
    read = [r for r in mine if (r.spot, r.quantity) == (spot, quantity)]
    return max(read, key=lambda r: r.day, default=None)


def inside_picture(within: Within) -> Picture:
    """The cross-section: heat over water."""
    f = within.found
    return inside_section(
        f.fields["temp_c"], f.fields["moisture_wb"], f.axes, title=f"Heap {f.heap}",
        rings=within.rings, wet_rings=within.wet_rings, prefix=f"inside-{f.heap}",
        note="INVENTED." if within.task.invented else "",
    )  # fmt: skip


# --- words ---------------------------------------------------------------------------------------


def inside_words(within: Within) -> list[str]:
    """The answer in sentences."""
    f = within.found
    said = [
        f"The core of {f.heap} is probably at {_range(f.core_c)} C now, {_range(f.core_wb, 100)} % "
        f"of it water, with {_range(f.core_o2, 100)} % oxygen in its air"
    ]
    lost = sorted(((t, e) for t, e in f.heat.items() if e.mean < 0), key=lambda te: te[1].mean)
    out = -sum(e.mean for _, e in lost)
    if lost and out > 0:
        (first, e), *rest = lost
        more = f", then {rest[0][0]} ({-100 * rest[0][1].mean / out:.0f} %)" if rest else ""
        said.append(
            f"Of the heat that left it since it was built, most went by {first} "
            f"({-100 * e.mean / out:.0f} %){more}"
        )
    w = f.water_now
    more_or_less = "less" if w.mean < 0 else "more"
    low, high = sorted((abs(w.low), abs(w.high)))
    if w.low < 0 < w.high:
        low = 0.0
    said.append(
        f"It holds {abs(w.mean):.0f} L {more_or_less} water than when it was built "
        f"({low:.0f} to {high:.0f})"
    )
    if not within.last:
        said.append("Nobody read it yet: all of this is what such heaps do")
    return said


def _range(e: Effect, factor: float = 1.0) -> str:
    return f"{factor * e.low:.0f} to {factor * e.high:.0f}"


def read_rows(within: Within) -> list[list[str]]:
    """Rows by spot: what was read last, and when."""
    return [
        [spot, f"{value:.0f} C", "today" if days < 0.5 else f"{days:.0f} days ago"]
        for spot, (value, days) in within.last.items()
    ]


def account_rows(account: Mapping[str, Effect], now: Effect) -> list[list[str]]:
    """Rows of an account: term, mean and range; what is held now more than at the build last."""
    gross = sum(abs(e.mean) for e in account.values())
    big = [(t, e) for t, e in account.items() if abs(e.mean) >= _SMALL * gross and e.mean != 0]
    big.sort(key=lambda te: -abs(te[1].mean))
    return [
        [term, f"{e.mean:+.0f}", f"{e.low:+.0f} to {e.high:+.0f}"]
        for term, e in [*big, ("held now over what it held at the build", now)]
    ]


def inside_json(within: Within) -> dict[str, Any]:
    """All numbers but the fields."""
    f = within.found
    return {
        "heap": f.heap, "day": f.day, "members": f.members,
        "core": {"temp_c": asdict(f.core_c), "moisture_wb": asdict(f.core_wb),
                 "o2": asdict(f.core_o2)},
        "heat_mj": {t: asdict(e) for t, e in f.heat.items()}, "heat_now_mj": asdict(f.heat_now),
        "water_kg": {t: asdict(e) for t, e in f.water.items()},
        "water_now_kg": asdict(f.water_now),
        "read": {s: {"temp_c": v, "days_ago": d} for s, (v, d) in within.last.items()},
        "next": worth_json(within.next),
    }  # fmt: skip
