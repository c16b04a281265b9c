"""Advice in lines, rows and JSON.

Units: degrees C, days, points of moisture, kg, as the columns say. Conventions: ranges are 80 % of
the heaps that fit the readings; a change that cannot be told from none is in brackets. JSON holds
every number unrounded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from heapwright.inference.whatif import FIGURES, Effect
from heapwright.planning.advice import Advice
from heapwright.planning.advicewords import hose_words
from heapwright.services.advising import AdviceFor

__all__ = ["act_rows", "advice_json", "cause_lines", "grounds", "item_lines"]

#: columns of the table: figure, scale, digits
_COLUMNS: tuple[tuple[str, float, int], ...] = (
    ("core_week_c", 1.0, 0), ("core_c", 1.0, 0), ("days_55", 1.0, 0), ("core_wb", 100.0, 0),
    ("crust_wb", 100.0, 0), ("o2_short", 100.0, 0), ("dry_lost_kg", 1.0, 0),
)  # fmt: skip
COLUMNS = [
    "", "7 d, C", "all, C", "d > 55 C", "core, %", "crust, %", "no air, %", "loss, kg",
]  # fmt: skip
_NAMES = {"moisten": "turn and wet", "water": "water on top"}


def item_lines(item: Advice) -> list[tuple[str, str]]:
    """What there is to say of a piece of advice beside its words: (heading, text)."""
    hose = hose_words(item.hose_min) if item.litres else ""
    pairs = [
        ("Changes", item.buys), ("Hose", hose), ("Why", item.why), ("Care", item.caution),
        ("Trial", item.breaks_trial),
    ]  # fmt: skip
    return [(head, text) for head, text in pairs if text]


def cause_lines(made: AdviceFor) -> list[str]:
    """The first two causes of what there is to complain of, and the test that splits them."""
    found, seen = made.diagnosis, made.seen
    if found is None or seen is None:
        s = made.situation
        given = [w for w, x in (("squeeze", s.squeeze), ("smell", s.smell)) if x is None]
        more = f"; {' and '.join(given)} not given" if given else ""
        return [f"By what the book knows there is nothing to complain of{more}."]
    lines = [f"What is wrong ({seen.complaint}):"]
    for cause in found.causes[:2]:
        lines.append(f"  {100 * cause.chance:.0f} % {cause.text}. {cause.advice}")
        if cause.guides_differ:
            lines.append(f"    {cause.guides_differ}")
    test = found.next_test
    if test is None:
        lines.append("  No cheap test would tell much more.")
    else:
        lines.append(f"  To tell them apart ({test.minutes:.0f} min): {test.how}")
    lines.append("  Chances are a judgement of published advice; nobody has counted them.")
    return lines


def act_rows(made: AdviceFor) -> list[list[str]]:
    """The heap if it is left, and what each act changes of that."""
    bought = made.bought
    rows = [["left alone", *(_span(bought.leave[n], scale, d) for n, scale, d in _COLUMNS)]]
    for act in bought.acts:
        cells = [_change(act.changes[n], scale, d) for n, scale, d in _COLUMNS]
        rows.append([_NAMES.get(act.act.name, act.act.name), *cells])
    return rows


def _span(e: Effect, scale: float, digits: int) -> str:
    low, high = (f"{round(x * scale, digits) + 0.0:.{digits}f}" for x in (e.low, e.high))
    return low if low == high else f"{low} to {high}"


def _change(e: Effect, scale: float, digits: int) -> str:
    low, high = (round(x * scale, digits) + 0.0 for x in (e.low, e.high))
    if low == high == 0:
        return "-"
    ends = [f"{x:+.{digits}f}" if x else "0" for x in (low, high)]
    text = ends[0] if low == high else " to ".join(ends)
    return text if e.clear else f"({text})"


def grounds(made: AdviceFor) -> list[str]:
    """How we know."""
    s, bought = made.situation, made.bought
    now = bought.now
    reads = sum(r.heap == made.heap for r in made.fitted.reads)
    age = "never read" if s.read_d is None else f"last read {_ago(s.read_d)}"
    lines = [
        f"{bought.members} of the possible heaps that fit {reads} readings of heap {made.heap} "
        f"({age}), run on for {bought.days:g} days; ranges are 80 %, brackets: can't be told from "
        "none.",
        f"Now, as fitted: core {_span(now['core_c'], 1, 0)} C, core moisture "
        f"{_span(now['core_wb'], 100, 0)} %, crust {_span(now['crust_wb'], 100, 0)} %, oxygen in "
        f"the core {_span(now['o2'], 100, 0)} %, dry mass {_span(now['dry_kg'], 1, 0)} kg.",
    ]
    if made.noted:
        lines.append(f"Read back from your notes: {'; '.join(made.noted)}.")
    if made.hose:
        lines.append(f"Hose: {made.hose}.")
    lines.append("A model, not a measurement. In the model a sheet lets no air through.")
    return lines


def _ago(days: float) -> str:
    hours = round(24 * days)
    if hours < 1:
        return "just now"
    return f"{hours} h ago" if hours < 36 else f"{days:.0f} days ago"


def advice_json(made: AdviceFor) -> dict[str, Any]:
    """Everything as plain JSON values, no number rounded."""
    bought, trial = made.bought, made.situation.trial
    return {
        "heap": made.heap,
        "trial": made.task.trial,
        "invented": made.task.invented,
        "now": made.task.now.isoformat(),
        "age_d": bought.now_d,
        "sentence": made.advised.sentence,
        "advice": [asdict(item) for item in made.advised.items],
        "running_trial": None if trial is None else asdict(trial),
        "noted": list(made.noted),
        "seen": None if made.seen is None else asdict(made.seen),
        "diagnosis": None if made.diagnosis is None else asdict(made.diagnosis),
        "days": bought.days,
        "members": bought.members,
        "figures": {name: {"unit": u, "meaning": m} for name, (u, m) in FIGURES.items()},
        "as_fitted_now": _effects(bought.now),
        "left_alone": _effects(bought.leave),
        "acts": {
            b.act.name: {
                "actions": [asdict(a) for a in b.act.actions],
                "changes": _effects(b.changes),
                "kept_share": None if b.kept is None else _effects({"": b.kept})[""],
            }
            for b in bought.acts
        },
        "litres_to_target": _effects({"": bought.litres})[""],
        "target_wb": bought.target_wb,
        "hose_l_min": made.situation.hose_l_min,
        "weather": list(_sources(made)),
        "assumed": [
            *made.task.left_out,
            *(a for j in made.task.jobs if j.case.name == made.heap for a in j.assumed),
        ],
    }


def _effects(effects: Any) -> dict[str, dict[str, Any]]:
    return {name: asdict(e) | {"clear": e.clear} for name, e in effects.items()}


def _sources(made: AdviceFor) -> Sequence[str]:
    return list(
        dict.fromkeys(
            s for j in made.task.jobs if j.case.name == made.heap for s in j.weather.source
        )
    )
