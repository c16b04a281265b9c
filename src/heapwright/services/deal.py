"""Share out barrow loads over the heaps of a plan, and show the lots to whoever may see them.

Units: scores are per cent of leaf by eye, 0 to 100. Conventions: dealing follows a rule that can be
followed by hand and uses no chance; lots come from the seed of the plan and are kept apart from the
dealer's sheet.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, get_args

from heapwright.domain.trial import Trial
from heapwright.errors import ImpossibleError, InputError, NotEnoughError
from heapwright.science.cautions import cautions_for
from heapwright.science.values import value
from heapwright.services.plans import with_lots
from heapwright.services.whichplan import WhichPlan, which_plan
from heapwright.units import quantity, show

if TYPE_CHECKING:
    from heapwright.reports.sheets import DealSheet, LotsSheet
    from heapwright.stats.sharing import Balance

__all__ = ["RULES", "Deal", "Load", "Lots", "Rule", "share_out"]

Rule = Literal["buffered", "one-at-a-time"]
#: How loads can be shared out.
RULES: tuple[str, ...] = get_args(Rule)
_MOST_LOADS = 5000


@dataclass(frozen=True, slots=True)
class Load:
    """One load: number from 1, score [%] or None, heap or None while it stands by, sum after it."""

    number: int
    score: float | None = None
    heap: str | None = None
    total: float | None = None


@dataclass(frozen=True, slots=True)
class Lots:
    """Which heap gets which way: by lot, or (``fixed``) as the plan says; seed; run-off between."""

    ways: dict[str, str]
    fixed: tuple[str, ...]
    seed: int
    details: dict[str, str]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Deal:
    """Loads shared out over heaps, with what has to be known beside it.

    loads : all loads in the order they come; balance : None before a load is dealt; in_sequence :
    how far the heap means would lie apart if heaps were filled one after the other [points];
    next_load : the load just asked about; site : what is known of slope and run-off; questions :
    what is not.
    """

    trial: str
    invented: bool
    heaps: tuple[str, ...]
    rule: Rule
    loads: tuple[Load, ...]
    fingerprint: str
    locked: bool
    lots: Lots | None
    balance: Balance | None = None
    in_sequence: float | None = None
    next_load: Load | None = None
    site: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    safety: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())

    @property
    def steps(self) -> tuple[str, ...]:
        """The rule in steps, to be followed by hand."""
        first = "Judge by eye how much of each load is leaf, 0 to 100 %, before it has a heap."
        if self.rule == "buffered":
            return (
                first,
                f"Let {len(self.heaps)} loads stand side by side: one for each heap.",
                "The leafiest goes to the heap with the lowest sum so far, the next leafiest to "
                "the next lowest, and so on. Equal sums: the heap further left; equal loads: the "
                "one that came first.",
                "Write the new sum of every heap into its column.",
            )
        return (
            first,
            "It goes to the heap with the fewest loads.",
            "If several have the fewest: a load at least as leafy as the mean of all before it "
            "goes to the lowest sum among them, a less leafy one to the highest. Equal sums: the "
            "heap further left.",
            "Write the new sum of that heap into its column.",
        )

    @property
    def balance_lines(self) -> tuple[str, ...]:
        """How even it came out, in words; empty before a load is dealt."""
        if self.balance is None:
            return ()
        b = self.balance
        loads = ", ".join(f"{h} {n}" for h, n in b.loads.items())
        means = ", ".join(f"{h} {m:.0f} %" for h, m in b.mean_score.items() if not math.isnan(m))
        lines = [
            f"Loads: {loads} (largest difference {b.load_gap}).",
            f"Mean leafiness: {means}; they lie within {b.score_gap:.1f} points.",
        ]
        if self.in_sequence is not None:
            lines.append(
                "Filled one heap after the other, as the loads came, they would have lain "
                f"within {self.in_sequence:.1f}."
            )
        return tuple(lines)

    def to_json(self, *, lots: bool) -> dict[str, Any]:
        """The deal as plain JSON values; ways only with *lots*."""
        b = self.balance
        answer: dict[str, Any] = {
            "trial": self.trial,
            "invented": self.invented,
            "fingerprint": self.fingerprint,
            "locked": self.locked,
            "rule": self.rule,
            "heaps": list(self.heaps),
            "steps": list(self.steps),
            "loads": [
                {"load": x.number, "score": x.score, "heap": x.heap, "sum": x.total}
                for x in self.loads
            ],
            "balance": None
            if b is None
            else {
                "loads": dict(b.loads),
                "mean_leafiness_percent": {
                    h: None if math.isnan(m) else round(m, 2) for h, m in b.mean_score.items()
                },
                "load_gap": b.load_gap,
                "leafiness_gap_points": round(b.score_gap, 2),
                "in_sequence_gap_points": None
                if self.in_sequence is None
                else round(self.in_sequence, 2),
            },
            "next": None
            if self.next_load is None
            else {"load": self.next_load.number, "heap": self.next_load.heap},
            "site": list(self.site),
            "questions": list(self.questions),
            "safety": list(self.safety),
            "notes": list(self.notes),
        }
        if lots and self.lots is not None:
            answer["lots"] = {
                "ways": self.lots.ways,
                "fixed_in_plan": list(self.lots.fixed),
                "seed": self.lots.seed,
                "notes": list(self.lots.notes),
            }
        return answer


def share_out(
    which: str,
    *,
    book: str | None = None,
    now: datetime,
    loads: int | None = None,
    scores: Sequence[float] = (),
    next_score: float | None = None,
    rule: str = "buffered",
) -> Deal:
    """Share out loads over the heaps of the plan file or trial *which*.

    Parameters
    ----------
    loads : int, optional
        How many loads there are in all; by default as many as there are scores, else what the
        plan's ingredients come to in barrows.
    scores : sequence of float
        Leafiness [%] in the order the loads come; may be fewer than loads.
    next_score : float, optional
        Score of the load in hand, after those of *scores*.
    rule : str
        One of `RULES`.

    Raises
    ------
    InputError
        No such rule, scores that cannot stand, more scores than loads.
    ImpossibleError
        Fewer than two heaps, or fewer loads than heaps.
    """
    if rule not in RULES:
        raise InputError("no such rule of sharing out", field="rule", value=rule,
                         way_out="One of " + ", ".join(RULES))  # fmt: skip
    found = which_plan(which, book=book, now=now)
    trial = found.trial
    heaps = tuple(h.name for h in trial.heaps)
    if len(heaps) < 2:
        raise ImpossibleError(
            f"the plan names {'one heap' if heaps else 'no heaps'}, so there is nothing to share "
            "out",
            field="heap",
            value=trial.name,
            way_out="Write one [[heap]] for every heap you build",
        )
    known = [*scores, *([next_score] if next_score is not None else [])]
    for score in known:
        quantity("leafiness").check(score / 100, field="score", typed=f"{score:g} %")
    notes: list[str] = []
    total, more = _how_many(trial, loads, len(known), asking=next_score is not None, notes=notes)
    if total < len(heaps):
        raise ImpossibleError(
            f"{total} loads cannot go into {len(heaps)} heaps", field="loads", value=total,
            way_out="Build fewer heaps, or fill smaller loads",
        )  # fmt: skip
    dealt = _dealt(known, heaps, "buffered" if rule == "buffered" else "one-at-a-time", more)
    rows = _rows(known, dealt, heaps, total)
    sharing = _balance(known, dealt, heaps)
    return Deal(
        trial=trial.name,
        invented=trial.invented,
        heaps=heaps,
        rule="buffered" if rule == "buffered" else "one-at-a-time",
        loads=rows,
        fingerprint=found.fingerprint,
        locked=found.locked,
        lots=_lots(found),
        balance=sharing,
        in_sequence=_in_sequence(known[: len(dealt)], sharing),
        next_load=rows[len(known) - 1] if next_score is not None else None,
        site=_site(trial),
        questions=_questions(trial),
        safety=_safety(trial),
        notes=tuple(notes),
    )


def _how_many(
    trial: Trial, loads: int | None, scored: int, *, asking: bool, notes: list[str]
) -> tuple[int, bool]:
    """Number of loads, and whether more are to come than are scored."""
    if loads is not None:
        if not 1 <= loads <= _MOST_LOADS:
            raise InputError("this many loads cannot be shared out", field="loads", value=loads,
                             way_out=f"Give a whole number from 1 to {_MOST_LOADS}")  # fmt: skip
        if scored > loads:
            raise InputError(
                f"there are {scored} scores for {loads} loads",
                field="scores",
                value=scored,
                way_out="Give one score a load, or more loads",
            )
        return loads, scored < loads
    if scored > _MOST_LOADS:
        raise InputError("this many loads cannot be shared out", field="scores", value=scored,
                         way_out=f"At most {_MOST_LOADS}")  # fmt: skip
    if scored and not asking:
        return scored, False
    planned = _planned_loads(trial)
    if planned:
        name, most = max(planned.items(), key=lambda pair: pair[1])
        notes.append(f"{most} loads of {name}, by the plan; another number may be given.")
        rest = [f"{n} of {other}" for other, n in planned.items() if other != name]
        if rest:
            notes.append(f"Share every material out on its own: also {', '.join(rest)}.")
        return max(most, scored, len(trial.heaps) if asking else 0), True
    if asking:
        return max(scored, len(trial.heaps)), True
    raise InputError(
        "how many loads there are is not known", field="loads",
        way_out="Give --loads 48, or the amount of every ingredient in the plan",
    )  # fmt: skip


def _planned_loads(trial: Trial) -> dict[str, int]:
    """Barrow loads by ingredient, for those whose volume the plan gives."""
    found: dict[str, int] = {}
    for material in trial.ingredients:
        if material.loads is not None:
            count = material.loads.typical
        elif material.volume_m3 is not None and trial.barrow_m3 is not None:
            count = material.volume_m3.typical / trial.barrow_m3.typical
        else:
            continue
        if round(count) > 0:
            found[material.name] = round(count)
    return found


def _dealt(scores: Sequence[float], heaps: Sequence[str], rule: Rule, more: bool) -> list[int]:
    """Heap numbers of the loads that can be dealt now."""
    from heapwright.stats.sharing import deal_buffered, deal_one_at_a_time

    if rule == "one-at-a-time":
        return deal_one_at_a_time(scores, len(heaps))
    ready = len(scores) // len(heaps) * len(heaps) if more else len(scores)
    return deal_buffered(scores[:ready], len(heaps))


def _rows(
    scores: Sequence[float], dealt: Sequence[int], heaps: Sequence[str], total: int
) -> tuple[Load, ...]:
    sums = [0.0] * len(heaps)
    rows = []
    for k in range(total):
        score = scores[k] if k < len(scores) else None
        if k < len(dealt) and score is not None:
            sums[dealt[k]] += score
            rows.append(Load(k + 1, score, heaps[dealt[k]], sums[dealt[k]]))
        else:
            rows.append(Load(k + 1, score))
    return tuple(rows)


def _balance(scores: Sequence[float], dealt: Sequence[int], heaps: Sequence[str]) -> Balance | None:
    if not dealt:
        return None
    from heapwright.stats.sharing import balance

    return balance(scores[: len(dealt)], dealt, heaps)


def _in_sequence(scores: Sequence[float], dealt: Balance | None) -> float | None:
    """Largest difference of heap means if each heap was filled before the next [points]."""
    if dealt is None or min(dealt.loads.values()) == 0:
        return None
    means = []
    start = 0
    for count in dealt.loads.values():
        part = scores[start : start + count]
        means.append(sum(part) / count)
        start += count
    return max(means) - min(means)


# --- lots and site -----------------------------------------------------------------------------


def _lots(found: WhichPlan) -> Lots | None:
    trial = found.trial
    if not trial.ways:
        return None
    drawn = with_lots(trial)
    ways = {h.name: h.way for h in drawn.heaps if h.way is not None}
    notes = []
    if not found.locked:
        notes.append(
            "This plan is not locked yet. Lock it before the first barrow (heapwright plan lock "
            "FILE), else anyone may say the lots were drawn until they suited."
        )
    fixed = tuple(h.name for h in trial.heaps if h.way is not None) if found.file else ()
    if fixed:
        notes.append(
            f"Set by hand in the plan, not drawn: {', '.join(fixed)}. Chance has not evened out "
            "what those places have in common."
        )
    for heap in drawn.heaps:
        above = heap.downhill_of
        if above is not None and ways.get(above) != ways.get(heap.name):
            notes.append(
                f"Run-off of {above} ({ways.get(above)}) reaches {heap.name} "
                f"({ways.get(heap.name)}); the findings name it."
            )
    details = dict(trial.locked.ways)
    return Lots(ways, fixed, trial.locked.seed, details, tuple(notes))


def _site(trial: Trial) -> tuple[str, ...]:
    place = trial.place
    lines = []
    steep = value("labour", "steep_slope").value
    if place.slope_frac is not None:
        fall = show(place.slope_frac, "slope_frac")
        if place.slope_frac >= steep:
            lines.append(
                f"The ground falls {fall}, enough for water to run from heap to heap: stand the "
                "heaps side by side along the slope, or cut a shallow ditch above each."
            )
        elif place.slope_frac > 0:
            lines.append(f"The ground falls {fall}.")
        else:
            lines.append("The ground is level.")
    if len(place.downhill) > 1 and (place.slope_frac is None or place.slope_frac > 0):
        lines.append("Run-off passes from heap to heap: " + " to ".join(place.downhill) + ".")
    return tuple(lines)


def _questions(trial: Trial) -> tuple[str, ...]:
    place = trial.place
    asked = []
    if place.slope_frac is None:
        asked.append(
            'How much does the ground fall? (slope = "3 %" under [place]; it settles whether '
            "water runs from heap to heap)"
        )
    level = place.slope_frac == 0
    named = {n.lower() for n in place.downhill}
    if not place.downhill and not level:
        asked.append(
            "Does water run from one heap into the next, and from which? (downhill = [from the "
            "top to the bottom] under [place])"
        )
    elif not level:
        rest = [h.name for h in trial.heaps if h.name.lower() not in named]
        if rest:
            asked.append(f"Where on the slope do {', '.join(rest)} stand? (downhill under [place])")
    return tuple(asked)


def _safety(trial: Trial) -> tuple[str, ...]:
    loose, wet = value("labour", "loose_material_kg_l"), value("labour", "wet_material_kg_l")
    men, women = value("labour", "lift_men_kg"), value("labour", "lift_women_kg")
    line = ""
    if trial.barrow_m3 is not None:
        low = trial.barrow_m3.low * 1000 * loose.low
        high = trial.barrow_m3.high * 1000 * wet.high
        line = (
            f"A barrow of {trial.barrow_m3.typical * 1000:.0f} litres weighs roughly "
            f"{round(low, -1):.0f} to {round(high, -1):.0f} kg, by how wet it is: tip it, do not "
            "lift it. "
        )
    line += (
        f"Small forkfuls, close to the body; guide weights for lifting at the waist are "
        f"{men.value:.0f} kg for men and {women.value:.0f} kg for women ({men.source.split(',')[0]}"
        f"{', from memory' if men.from_memory else ''})."
    )
    return (line, *(c.said for c in cautions_for(work="building")))


# --- sheets --------------------------------------------------------------------------------------


def deal_sheet(deal: Deal, *, now: datetime) -> DealSheet:
    """What stands on the dealer's sheet; no way is among it."""
    from heapwright.reports.sheets import DealRow, DealSheet

    every = len(deal.heaps)
    rows = [
        DealRow(x.number, x.score, x.heap, x.total,
                last_of_batch=deal.rule == "buffered" and x.number % every == 0)
        for x in deal.loads
    ]  # fmt: skip
    return DealSheet(
        trial=deal.trial,
        invented=deal.invented,
        fingerprint=deal.fingerprint,
        heaps=deal.heaps,
        rows=rows,
        steps=deal.steps,
        balance=deal.balance_lines,
        site=deal.site,
        questions=deal.questions,
        safety=deal.safety,
        printed=f"{now.day} {now:%B} {now.year}",
    )


def lots_sheet(deal: Deal, *, now: datetime) -> LotsSheet:
    """What stands on the sealed sheet; raises `NotEnoughError` when the plan has no ways."""
    from heapwright.reports.sheets import LotsSheet

    lots = needed_lots(deal)
    return LotsSheet(
        trial=deal.trial,
        invented=deal.invented,
        fingerprint=deal.fingerprint,
        seed=lots.seed,
        lots=lots.ways,
        details=lots.details,
        notes=lots.notes,
        printed=f"{now.day} {now:%B} {now.year}",
    )


def needed_lots(deal: Deal) -> Lots:
    """The lots; raises `NotEnoughError` when the plan names no ways to draw."""
    if deal.lots is None:
        raise NotEnoughError(
            "the plan names no ways, so there are no lots to draw",
            field="way",
            value=deal.trial,
            way_out="Write one [[way]] for every way you compare",
        )
    return deal.lots


def write_page(page: str, path: Path, *, field: str) -> None:
    """Write a page to a file; raises `InputError` when that is not possible."""
    try:
        path.write_text(page, encoding="utf-8")
    except OSError as error:
        raise InputError(
            f"this file cannot be written ({error.strerror or error})",
            field=field,
            value=str(path),
            way_out="Name a file in a folder that exists, as in sheet.html",
        ) from None
