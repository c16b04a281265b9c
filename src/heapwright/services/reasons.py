"""Why two heaps of a trial differ: what was read, the share of each cause, where the heat went.

Units: degrees C, MJ per kg of dry matter built. Conventions: what cannot be told apart is said
before any share. The ledger is that of the middle of the ensemble: it says where the heat went, not
why.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from heapwright.errors import InputError, NotEnoughError
from heapwright.inference.causes import Why, why
from heapwright.inference.crew import Crew
from heapwright.inference.fit import Fitted
from heapwright.inference.members import member_of, run_member
from heapwright.reports.heap_ledgers import shown_terms
from heapwright.services.learning import Task

__all__ = ["Gap", "gap_words", "heat_rows", "share_rows", "to_json", "why_of"]

#: a gap is explained over days this far apart [d], from this age on
_STEP_D, _FROM_D = 0.25, 1.0
#: a cause that comes first in this share of the heaps that fit is probable
_PROBABLY = 0.75
_ROUND_D = 0.2
_WORDS = {
    "material": "another material (leaf, rot, food)",
    "air path": "air through the heap (pores, pipes)",
    "water": "water (when built, given, taken up)",
    "exposure and size": "size, wind and sun",
    "turning": "turning",
}


@dataclass(frozen=True, slots=True)
class Gap:
    """Why heap one differs from other.

    read_c : mean difference of readings of the same spot in the same round, one less other, and of
    how many rounds; why : shares; heat : by heap, terms of the energy ledger [MJ per kg of dry
    matter]; days : from, to.
    """

    read_c: float
    rounds: int
    why: Why
    heat: dict[str, tuple[tuple[str, float], ...]]
    days: tuple[float, float]


def why_of(
    task: Task,
    fitted: Fitted,
    one: str,
    other: str,
    *,
    crew: Crew | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> Gap:
    """Why heap *one* was warmer or cooler than *other* until now.

    Raises `UnknownNameError` for a heap that is not there, `InputError` for the same heap twice,
    `NotEnoughError` without rounds in which both were read.
    """
    one, other = task.heap(one), task.heap(other)
    if one == other:
        raise InputError("a heap does not differ from itself", field="heap", value=one,
                         way_out="Name two heaps")  # fmt: skip
    apart = _rounds(task, one, other)
    if not apart:
        raise NotEnoughError(
            "no round in which both heaps were read at the same spot", field="readings",
            value=f"{one}, {other}", way_out="Read both within a few hours, at spots of one name",
        )  # fmt: skip
    last = max(r.day for r in task.reads if r.heap in (one, other))
    days = np.arange(_FROM_D, max(last, _FROM_D) + 1e-9, _STEP_D)
    found = why(fitted, one, other, days.tolist(), crew=crew, on_progress=on_progress)
    heat = {name: _heat(fitted, name, last) for name in (one, other)}
    return Gap(float(np.mean(apart)), len(apart), found, heat, (float(days[0]), float(days[-1])))


def _rounds(task: Task, one: str, other: str) -> list[float]:
    """Differences by round: mean over spots read in both heaps."""
    warm = [r for r in task.reads if r.quantity == "temp_c"]
    pairs: dict[int, list[float]] = {}
    for a in (r for r in warm if r.heap == one):
        moment = task.when(one, a.day)
        for b in (r for r in warm if r.heap == other and r.spot == a.spot):
            if abs((task.when(other, b.day) - moment).total_seconds()) <= _ROUND_D * 86400:
                pairs.setdefault(round(a.day), []).append(a.value - b.value)
    return [float(np.mean(p)) for p in pairs.values()]


def _heat(fitted: Fitted, heap: str, days: float) -> tuple[tuple[str, float], ...]:
    """Terms of the energy ledger of the middle of the ensemble, per kg of dry matter built."""
    numbers = fitted.space.numbers(fitted.last.mean(axis=1), heap)
    member = member_of(fitted.subject(heap), numbers, fitted.settings.cell_m)
    run = run_member(member, max(days, 0.1), curve_every_h=24.0)
    dry = run.totals["dry_kg_built"]
    return tuple((name, joules / 1e6 / dry) for name, joules in shown_terms(run.ledger.energy))


# --- words ---------------------------------------------------------------------------------------


def gap_words(gap: Gap) -> list[str]:
    """The answer in sentences: the gap, what cannot be told apart, the cause."""
    w = gap.why
    warmer, cooler = (w.one, w.other) if gap.read_c >= 0 else (w.other, w.one)
    said = [
        f"{warmer} read {abs(gap.read_c):.0f} C warmer than {cooler}, the mean of {gap.rounds} "
        f"round{'s' if gap.rounds > 1 else ''} until day {gap.days[1]:.0f}"
    ]
    for a, b in w.confounded:
        said.append(f"Cannot be told apart here: {_WORDS[a]}, and {_WORDS[b]}. Either could do it")
    if w.first is None:
        said.append("What made the difference cannot be told from these readings")
        return said
    first = next(s for s in w.shares if s.cause == w.first)
    hot = w.one if first.mean >= 0 else w.other
    low, high = sorted((abs(first.low), abs(first.high)))
    if first.low * first.high < 0:
        low = 0.0
    chance = "Probably" if first.first >= _PROBABLY else "Perhaps"
    said.append(
        f"{chance} the most of it: {_WORDS[w.first]}. It made {hot} {low:.0f} to {high:.0f} C "
        f"warmer; it comes first in {100 * first.first:.0f} % of the heaps that fit"
    )
    return said


def share_rows(gap: Gap) -> list[list[str]]:
    """Rows of the table of shares: cause, mean, range, into one, into the other."""
    return [
        [
            _WORDS[s.cause], _signed(s.mean), f"{_signed(s.low)} to {_signed(s.high)}",
            _signed(s.into_first), _signed(s.into_second), f"{100 * s.first:.0f} %",
        ]
        for s in gap.why.shares
    ]  # fmt: skip


def heat_rows(gap: Gap) -> Sequence[list[str]]:
    """Rows of the ledger: term, one, other [MJ per kg of dry matter]."""
    one, other = (dict(gap.heat[n]) for n in (gap.why.one, gap.why.other))
    names = sorted({*one, *other}, key=lambda n: -abs(one.get(n, 0.0)) - abs(other.get(n, 0.0)))
    return [[n, _signed(one.get(n, 0.0), 2), _signed(other.get(n, 0.0), 2)] for n in names]


def _signed(number: float, digits: int = 0) -> str:
    """A number with its sign; what rounds to nothing is 0.

    >>> _signed(-0.2), _signed(0.4), _signed(3.0), _signed(-1.5, 1)
    ('0', '0', '+3', '-1.5')
    """
    text = f"{number:+.{digits}f}"
    return "0" if float(text) == 0 else text


def to_json(gap: Gap) -> dict[str, Any]:
    """All numbers of the answer."""
    w = gap.why
    return {
        "one": w.one, "other": w.other, "read_c": gap.read_c, "rounds": gap.rounds,
        "days": gap.days, "gap_c": w.gap, "first": w.first, "confounded": w.confounded,
        "shares": [
            {
                "cause": s.cause, "mean_c": s.mean, "low_c": s.low, "high_c": s.high,
                "into_one_c": s.into_first, "into_other_c": s.into_second, "first": s.first,
            }
            for s in w.shares
        ],
        "heat_mj_kg": {n: dict(t) for n, t in gap.heat.items()},
    }  # fmt: skip
