"""The balance of a trial in words and tables, for command, page and report alike.

Units: as shown beside each number. Conventions: the first sentence says what came out; numbers are
rounded to what is known, with their range of nine in ten behind them; nothing is compared between
ways that the findings do not say.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

from heapwright.errors import HeapwrightError
from heapwright.reports.part import Grid, Part
from heapwright.science.balance import Closure, Estimate, Together, propagate, together
from heapwright.science.values import Value, value
from heapwright.services.balancefacts import Fact
from heapwright.services.balances import HeapBalance, TrialBalance, balance_of
from heapwright.services.findings import comparisons_of
from heapwright.stats.outcomes import OUTCOMES
from heapwright.store.book import Book
from heapwright.units import Ranged

__all__ = ["balance_part", "balance_parts", "poplar_example"]

_TITLE = "What came out"
#: outcomes of the findings that a balance is about
_OUTCOMES = ("dry_mass_kg", "mass_kg", "volume_m3", "minutes", "carbon_dm", "nitrogen_dm", "ash_dm")
_USUAL = (
    ("volume lost", "usual_volume_loss"), ("volume lost", "usual_volume_loss_wide"),
    ("dry matter lost", "usual_dry_loss"),
    ("dry matter lost, willow chips", "chips_dry_loss_willow"),
    ("dry matter lost, stemwood chips", "chips_dry_loss_stemwood"),
)  # fmt: skip
_METHODS = {"poplar_bags": "bags in the pile", "poplar_columns": "bags in columns",
            "poplar_pile": "the whole pile weighed", "poplar_ash": "ash"}  # fmt: skip


def balance_parts(book: Book, trial: str, *, now: datetime) -> Sequence[Part]:
    """The balance as a part of the trial's end; none where nothing of the end was measured."""
    found = balance_of(book, trial)
    return [_part(found, now)] if found.told else []


def balance_part(
    book: Book,
    trial: str,
    *,
    now: datetime,
    heap: str | None = None,
    per_hour: str | None = None,
) -> Part:
    """The balance of a trial, or of one heap; per_hour : what an hour of work costs, as typed.

    Errors as `heapwright.services.balances.balance_of`.
    """
    return _part(balance_of(book, trial, heap=heap, per_hour=per_hour), now)


def poplar_example() -> Together:
    """Four methods on one pile of poplar chips, as an example of how far methods differ."""
    return together([Estimate(n, value("balance", k).ranged) for k, n in _METHODS.items()])


def _part(found: TrialBalance, now: datetime) -> Part:
    """Words and tables of a balance."""
    grids = [
        g for g in (
            _methods(found), _dry_mass(found), _fallen(found), *_accounts(found), _work(found),
            _ways(found), _missing(found), _usual(found),
        ) if g.rows
    ]  # fmt: skip
    return Part(
        _TITLE,
        words=tuple(_words(found, now)),
        grids=tuple(grids),
        known=tuple(_known(found)),
        sources=tuple(_sources(found)),
        cautions=tuple(_cautions(found)),
        numbers=_numbers(found),
    )


# --- words ----------------------------------------------------------------------------------------


def _words(found: TrialBalance, now: datetime) -> list[str]:
    told = found.told
    if not told:
        which = f"heap {found.heaps[0].name}" if len(found.heaps) == 1 else "any heap"
        none = f"Nothing was measured yet of what is left of {which}, so no balance can be made."
        return [*([none] if found.heaps else []), *([_lost(found)] if found.left_out else [])]
    said = [_first(told)]
    said += _disagreement(told)
    said += _not_closed(told)
    for heap in told:
        said += [f"Heap {heap.name}, by ash: {line}." for line in heap.fell_back]
    if found.left_out:
        said.append(_lost(found))
    said += [f"Heap {h.name}: {why}." for h in found.heaps for why in h.barred]
    said += _findings(found, now)
    return said


def _not_closed(told: Sequence[HeapBalance]) -> list[str]:
    """Accounts that do not close, by what they are about."""
    said = []
    off: dict[tuple[str, ...], list[str]] = {}
    for name in ("ash", "water", "carbon", "nitrogen"):
        heaps = [h for h in told if name in h.accounts and h.accounts[name].closes is False]
        if len(heaps) == 1:
            said.append(f"Heap {heaps[0].name}: {name} {heaps[0].accounts[name].said}.")
        elif heaps:
            off.setdefault(tuple(h.name for h in heaps), []).append(name)
    for names, what in off.items():
        does = "do" if len(what) > 1 else "does"
        said.append(
            f"{_and(what).capitalize()} {does} not close in heaps {_and(names)}; see the tables."
        )
    return said


def _lost(found: TrialBalance) -> str:
    names = _and(found.left_out)
    many = len(found.left_out) > 1
    return f"{'Heaps' if many else 'Heap'} {names} {'were' if many else 'was'} lost and left out."


def _first(told: Sequence[HeapBalance]) -> str:
    """What came out, in one sentence."""
    dry = [h.loss for h in told if h.loss is not None]
    fallen = [h.fallen for h in told if h.fallen is not None]
    who = f"Heap {told[0].name}" if len(told) == 1 else f"{len(told)} heaps"
    parts = []
    its = "its" if len(told) == 1 else "their"
    if dry:
        by_method = ", by how it is measured" if any(len(t.estimates) > 1 for t in dry) else ""
        parts.append(f"{_span(dry)} of {its} dry matter{by_method}")
    if fallen:
        parts.append(f"{_span(fallen)} of {its} volume")
    if not parts:
        return f"{who}: neither the dry matter nor the volume lost can be told yet."
    said = (", and " if dry and "," in parts[0] else " and ").join(parts)
    if not dry:
        said += "; how much dry matter went cannot be told yet"
    elif len(dry) < len(told):
        said += f" (dry matter: {len(dry)} of them)"
    return f"{who} lost {said}."


def _span(found: Sequence[Together]) -> str:
    """One heap by one method with its range; several by their numbers, over all methods."""
    if len(found) == 1 and len(found[0].estimates) == 1:
        return _share(found[0].whole)
    numbers = [round(100 * e.value.typical) for t in found for e in t.estimates]
    low, high = min(numbers), max(numbers)
    return f"{low} %" if low == high else f"{low} to {high} %"


def _disagreement(told: Sequence[HeapBalance]) -> list[str]:
    """What is said where a loss was found by several methods, or by one alone."""
    several = [h for h in told if h.loss is not None and len(h.loss.estimates) > 1]
    if not several:
        alone = [h for h in told if h.loss is not None]
        if alone:
            return ["Dry matter lost is known by one method only, so nothing shows how far it may "
                    "be off."]  # fmt: skip
        return []
    worst = max(several, key=lambda h: h.loss.spread if h.loss else 0.0)
    assert worst.loss is not None
    lines = list(worst.loss.words(factor=100, unit="%", step="points"))
    which = f"Heap {worst.name}" if len(told) == 1 else f"Heap {worst.name}, where they differ most"
    return [f"{which}, dry matter lost: {lines[0]}", *lines[1:]]


def _findings(found: TrialBalance, now: datetime) -> list[str]:
    """What the findings say of the same outcomes, once the trial has ended."""
    record = found.record
    locked, also = record.plan.locked, record.plan.trial.also
    asked = [k for k in dict.fromkeys((locked.decides, *also)) if k in _OUTCOMES]
    if len(record.plan.trial.ways) < 2 or len(found.heaps) < 2:
        return []
    if not asked:
        return ["The plan asks for no comparison of what came out, so ways are not held against "
                "each other here."]  # fmt: skip
    if now < record.ends_at:
        return [f"Ways are held against each other from {locked.ends.isoformat()} on; before that "
                "nothing here decides anything."]  # fmt: skip
    said: list[str] = []
    for key in asked:
        try:
            said += [c.sentence for c in comparisons_of(record, key, now=now)]
        except HeapwrightError as error:
            said.append(f"Ways cannot be compared in {OUTCOMES[key].title}: {error.what}.")
    return said


# --- tables ---------------------------------------------------------------------------------------


def _methods(found: TrialBalance) -> Grid:
    """Dry matter lost, heap by heap, by every method side by side."""
    names = list(
        dict.fromkeys(e.name for h in found.told if h.loss for e in h.loss.estimates)
    )  # fmt: skip
    rows = []
    for heap in found.told:
        if heap.loss is None:
            continue
        mine = {e.name: e.value for e in heap.loss.estimates}
        rows.append([
            heap.name, heap.way, *(_share(mine[n]) if n in mine else "–" for n in names),
            _meeting(heap.loss),
        ])  # fmt: skip
    head = ["heap", "way", *(f"by {n}" if "," not in n else n for n in names), "the methods"]
    return Grid(
        "Dry matter lost, by every method", head, rows,
        "In brackets the range that holds nine in ten. No method is taken for the right one.",
    )  # fmt: skip


def _dry_mass(found: TrialBalance) -> Grid:
    """Dry mass at both ends, over all methods, and whether the ash in it adds up."""
    rows = []
    for heap in found.told:
        if heap.dry_first is None or heap.dry_left is None:
            continue
        gone = propagate(
            lambda v: v["first"] - v["left"], {"first": heap.dry_first, "left": heap.dry_left}
        )
        ash = heap.accounts.get("ash")
        rows.append([
            heap.name, heap.way, _amount(heap.dry_first, "kg"), _amount(heap.dry_left, "kg"),
            _amount(gone, "kg"), f"its ash {ash.said}" if ash else "nothing checks it",
        ])  # fmt: skip
    return Grid(
        "Dry mass", ["heap", "way", "came in", "left", "gone", "does it close"], rows,
        "Over all methods: from the lowest low to the highest high, the middle of their numbers "
        "before it. Ash neither rots nor flies off, so as much must be left as came in.",
    )  # fmt: skip


def _meeting(loss: Together) -> str:
    if len(loss.estimates) == 1:
        return "one only"
    points = f"{100 * loss.spread:.0f} points apart"
    if loss.agree is None:
        return points
    return f"{points}, ranges {'overlap' if loss.agree else 'do not meet'}"


def _fallen(found: TrialBalance) -> Grid:
    rows = []
    for heap in found.told:
        if heap.fallen is None:
            continue
        by = ", ".join(f"{_share(e.value)} by {e.name}" for e in heap.fallen.estimates)
        rows.append([
            heap.name, heap.way, _amount(heap.first_m3, "m3"), _amount(heap.left_m3, "m3"), by,
        ])  # fmt: skip
    return Grid(
        "Volume lost", ["heap", "way", "at first", "left", "lost"], rows,
        "A heap sinks as well as rots, so volume tells less than mass.",
    )  # fmt: skip


def _accounts(found: TrialBalance) -> list[Grid]:
    """Water, carbon and nitrogen: what came in, what is left, what went, and whether it closes."""
    made = []
    inflows = list(dict.fromkeys(k for h in found.told for k in h.water))
    for name, title in (("water", "Water"), ("carbon", "Carbon"), ("nitrogen", "Nitrogen")):
        rows = []
        for heap in found.told:
            account = heap.accounts.get(name)
            if account is None:
                continue
            gone = _gone(account)
            row = [heap.name, heap.way, _amount(account.came_in, "kg")]
            if name == "water":
                row += [_amount(heap.water.get(k), "kg") for k in inflows]
            row += [_amount(account.left, "kg"), _amount(gone, "kg"), account.said]
            rows.append(row)
        head = ["heap", "way", "came in", *(f"of it {k}" for k in inflows if name == "water"),
                "left", "gone", "does it close"]  # fmt: skip
        note = {
            "water": "A litre is a kilogram. Gone is what went with the air and into the ground.",
            "carbon": "Gone is what the heap breathed out.",
            "nitrogen": "Gone is what went as ammonia, with other gases, or with drained water.",
        }[name]
        made.append(Grid(title, head, rows, note))
    return made


def _gone(account: Closure) -> Ranged:
    """What came in and is not left."""
    if account.went_out is None:
        return account.rest
    gap = account.came_in.typical - account.left.typical
    down = (account.came_in.typical - account.came_in.low, account.left.high - account.left.typical)
    up = (account.came_in.high - account.came_in.typical, account.left.typical - account.left.low)
    return Ranged(gap, gap - (down[0] ** 2 + down[1] ** 2) ** 0.5,
                  gap + (up[0] ** 2 + up[1] ** 2) ** 0.5)  # fmt: skip


def _work(found: TrialBalance) -> Grid:
    rows = []
    for heap in found.told:
        per = heap.minutes_per_m3
        if per is None or heap.minutes is None:
            continue
        row = [heap.name, heap.way, f"{heap.minutes:.0f} min", _amount(heap.left_m3, "m3"),
               _amount(per, "min/m3")]  # fmt: skip
        if found.wage is not None:
            cost = heap.cost_per_m3(found.wage)
            row.append(found.wage.money(_amount(cost, "")) if cost is not None else "–")
        rows.append(row)
    head = ["heap", "way", "minutes noted", "left", "minutes for a cubic metre"]
    note = "Minutes are those noted with what was done, building among them."
    if found.wage is not None:
        head.append("labour for a cubic metre")
        hour = found.wage.hour
        wage = found.wage.money(
            f"{hour.low:g}" if hour.is_exact else f"{hour.low:g} to {hour.high:g}"
        )
        note += f" Labour at {wage} an hour, as you gave it; nothing else is counted as a cost."
    return Grid("Work for a cubic metre of what is left", head, rows, note)


def _ways(found: TrialBalance) -> Grid:
    """Each way: the mean of its heaps, and from the least to the most."""
    ways = [w for w in found.record.by_way() if any(h.way == w for h in found.told)]
    if len(ways) < 2:
        return Grid("Way by way", [], [])
    many = any(h.loss and len(h.loss.estimates) > 1 for h in found.told)
    dry = "dry matter lost, middle of the methods" if many else "dry matter lost"
    columns: list[tuple[str, Callable[[HeapBalance], float | None], float, str]] = [
        (dry, lambda h: h.loss.whole.typical if h.loss else None, 100, "%"),
        ("volume lost", lambda h: h.fallen.whole.typical if h.fallen else None, 100, "%"),
        ("water gone", lambda h: _typical(h, "water"), 1, "kg"),
        ("carbon gone", lambda h: _typical(h, "carbon"), 1, "kg"),
        ("nitrogen gone", lambda h: _typical(h, "nitrogen"), 1, "kg"),
        ("minutes for a cubic metre",
         lambda h: h.minutes_per_m3.typical if h.minutes_per_m3 else None, 1, "min"),
    ]  # fmt: skip
    wage = found.wage
    if wage is not None:
        columns.append((
            "labour for a cubic metre",
            lambda h: c.typical if (c := h.cost_per_m3(wage)) is not None else None, 1, "",
        ))  # fmt: skip
    mine = {w: [h for h in found.told if h.way == w] for w in ways}
    kept = [
        c for c in columns if any(c[1](h) is not None for hs in mine.values() for h in hs)
    ]  # fmt: skip
    rows = []
    for way, heaps in mine.items():
        cells = [way, str(len(heaps))]
        for title, of, factor, unit in kept:
            numbers = [x * factor for h in heaps if (x := of(h)) is not None]
            text = _several(numbers, unit)
            cells.append(wage.money(text) if wage and title.startswith("labour") and numbers
                         else text)  # fmt: skip
        rows.append(cells)
    return Grid(
        "Way by way", ["way", "heaps", *(c[0] for c in kept)], rows,
        "The mean of the heaps of a way, in brackets from the least to the most. Heaps treated "
        "alike differ, so a gap here is no finding by itself.",
    )  # fmt: skip


def _typical(heap: HeapBalance, name: str) -> float | None:
    account = heap.accounts.get(name)
    return None if account is None else _gone(account).typical


def _several(numbers: Sequence[float], unit: str) -> str:
    if not numbers:
        return "–"
    mean = sum(numbers) / len(numbers)
    digits = _places(mean)
    if len(numbers) == 1:
        return f"{mean:.{digits}f} {unit} (one heap)".replace("  ", " ")
    low, high = (f"{x:.{digits}f}" for x in (min(numbers), max(numbers)))
    return f"{mean:.{digits}f} ({low} to {high}) {unit}".strip()


def _missing(found: TrialBalance) -> Grid:
    """What cannot be told, and the cheapest measurement that would give it."""
    rows: dict[tuple[str, str], list[str]] = {}
    for heap in found.heaps:
        for row in heap.missing:
            rows.setdefault(row, []).append(heap.name)
        for key in heap.ends.stale:
            lines = (f"{key.rpartition('_')[0] or key} left",
                     "one taken within a week of the last volume or mass")  # fmt: skip
            rows.setdefault(lines, []).append(heap.name)
    every = [h.name for h in found.heaps]
    return Grid(
        "What is missing", ["heaps", "cannot be told", "what would give it"],
        [["all" if names == every and len(every) > 1 else ", ".join(names), *row]
         for row, names in rows.items()],
    )  # fmt: skip


def _usual(found: TrialBalance) -> Grid:
    """What is usual, beside what these heaps did."""
    if not found.told:
        return Grid("Beside what is usual", [], [])
    dry = [h.loss for h in found.told if h.loss is not None]
    fallen = [h.fallen for h in found.told if h.fallen is not None]
    rows = []
    for what, key in _USUAL:
        number = value("balance", key)
        own = fallen if what.startswith("volume") else dry
        if own:
            rows.append([what, f"{_percent(number.low)} to {_percent(number.high)} %", _span(own),
                         _cited(number)])  # fmt: skip
    title = f"heap {found.told[0].name}" if len(found.told) == 1 else "these heaps"
    return Grid("Beside what is usual", ["what", "usual", title, "source"], rows)


# --- what it stands on ----------------------------------------------------------------------------


def _known(found: TrialBalance) -> list[str]:
    lines = [
        "Ranges hold nine in ten (5 to 95 %). Each measurement is moved to its low and its high "
        "alone and what that does is added in squares; separate measurements err independently.",
    ]
    assumed = sorted({
        k for h in found.told for held in (h.ends.first, h.ends.left)
        for k, f in held.items() if f.assumed
    })  # fmt: skip
    if assumed:
        off = ", ".join(_off(k) for k in assumed)
        lines.append(
            f"Where no range was typed and fewer than three samples stand: {off} (planning "
            "assumptions of this project, no source)."
        )
    for end in ("first", "left"):
        for heap in found.told:
            held = heap.ends.first if end == "first" else heap.ends.left
            planned = heap.loss is not None and any("plan" in e.name for e in heap.loss.estimates)
            said = _by_how(
                {k: f for k, f in held.items() if planned or k != "planned_dry_kg"}
            )  # fmt: skip
            when = "at first" if end == "first" else "at the end"
            lines.append(f"Heap {heap.name} {when}: {said}.")
        lines = _joined(lines, found.told)
    for heap in found.heaps:
        lines += [f"Heap {heap.name}: {note}." for note in heap.notes]
    lines = _joined(lines, found.heaps)
    if any(_shares_tests(h.loss) for h in found.told):
        lines.append(
            "Tape and barrow lean on the same bulk density and moisture, scale on the same "
            "moisture: where those are off, they are off together, and agreeing says less."
        )
    if any("water" in h.accounts for h in found.told):
        lines.append("Water made by rotting is 0.45 to 0.65 kg for each kg of dry matter lost.")
    example = poplar_example().words(factor=100, unit="%", step="points")
    if any(h.loss is not None for h in found.told):
        lines.append(
            "How far methods differ elsewhere, on one pile of poplar chips in 228 days ("
            + ", ".join(f"{n} {100 * value('balance', k).value:.1f} %" for k, n in _METHODS.items())
            + f"): {example[0]}"
        )
    return [*lines, *found.notes]


def _shares_tests(loss: Together | None) -> bool:
    names = {e.name for e in loss.estimates} if loss is not None else set()
    return len(names & {"tape", "barrow", "scale"}) > 1


def _by_how(held: Mapping[str, Fact]) -> str:
    """What is known at one end, by how it is known."""
    made: dict[str, list[str]] = {}
    for key, fact in held.items():
        made.setdefault(fact.how, []).append(_name(key))
    return "; ".join(f"{_and(names)} {how}" if how.startswith(("from", "as", "this", "of"))
                     else f"{_and(names)} by {how}" for how, names in made.items())  # fmt: skip


def _joined(lines: Sequence[str], heaps: Sequence[HeapBalance]) -> list[str]:
    """The same line of several heaps as one."""
    made: dict[str, list[str]] = {}
    for line in lines:
        for heap in heaps:
            lead = f"Heap {heap.name}"
            if line.startswith((f"{lead} ", f"{lead}:")):
                made.setdefault(line.removeprefix(lead), []).append(heap.name)
                break
        else:
            made[line] = []
    return [
        line if not names else f"{'Heaps' if len(names) > 1 else 'Heap'} {_and(names)}{line}"
        for line, names in made.items()
    ]


_NAMES: Mapping[str, str] = {
    "volume_m3": "volume", "barrows": "barrow loads", "mass_kg": "mass", "dry_mass_kg": "dry mass",
    "bulk_density_kg_m3": "bulk density", "moisture_wb": "moisture", "ash_dm": "ash",
    "carbon_dm": "carbon", "nitrogen_dm": "nitrogen", "cn_ratio": "C:N",
    "planned_dry_kg": "material of the plan",
}  # fmt: skip
_OFF_KEYS: Mapping[str, str] = {
    "volume_m3": "off_volume", "barrows": "off_barrows", "mass_kg": "off_mass",
    "dry_mass_kg": "off_mass", "bulk_density_kg_m3": "off_density", "moisture_wb": "off_moisture",
    "ash_dm": "off_ash", "carbon_dm": "off_carbon", "nitrogen_dm": "off_nitrogen",
    "cn_ratio": "off_nitrogen",
}  # fmt: skip


def _name(key: str) -> str:
    return _NAMES.get(key, key)


def _off(key: str) -> str:
    off = 100 * value("balance", _OFF_KEYS[key]).value
    if key == "moisture_wb":
        squeeze = 100 * value("balance", "off_squeeze").value
        return f"moisture {off:.0f} points either way ({squeeze:.0f} by squeeze)"
    return f"{_name(key)} {off:.0f} % of it"


def _sources(found: TrialBalance) -> list[str]:
    if not found.told:
        return []
    lines = []
    if any("ash" in [e.name for e in h.loss.estimates] for h in found.told if h.loss):
        lines.append("Loss by ash, 1 - first ash / ash left: conservation of ash; of organic "
                     "matter in the form of Paredes et al.")  # fmt: skip
    if any("carbon" in h.accounts for h in found.told):
        number = value("mixing", "vs_per_carbon")
        lines.append(f"Carbon from ash: {number.source}, {number.where}")
    if any(h.loss is not None for h in found.told):
        number = value("balance", "poplar_bags")
        lines.append(f"Four methods on one pile: {number.source}")
    return lines


def _cautions(found: TrialBalance) -> list[str]:
    if any("ash" in [e.name for e in h.loss.estimates] for h in found.told if h.loss):
        return ["Soil or sand that got in counts as ash and makes the loss look larger than it is."]
    return []


def _cited(number: Value) -> str:
    return f"{number.source} (from memory)" if number.from_memory else number.source


# --- numbers --------------------------------------------------------------------------------------


def _numbers(found: TrialBalance) -> dict[str, Any]:
    """All numbers as plain values, unrounded."""
    return {
        "trial": found.record.name,
        "invented": found.record.plan.trial.invented,
        "range": "5 to 95 %",
        "heaps": {h.name: _heap_numbers(h, found) for h in found.heaps},
        "left_out": list(found.left_out),
        "per_hour": None if found.wage is None else _plain(found.wage.hour),
    }


def _heap_numbers(heap: HeapBalance, found: TrialBalance) -> dict[str, Any]:
    cost = None if found.wage is None else heap.cost_per_m3(found.wage)
    return {
        "way": heap.way,
        "left_on": heap.ends.left_on and heap.ends.left_on.isoformat(),
        "dry_matter_lost": heap.loss and heap.loss.to_json(),
        "volume_lost": heap.fallen and heap.fallen.to_json(),
        "dry_mass_first_kg": _plain(heap.dry_first), "dry_mass_left_kg": _plain(heap.dry_left),
        "volume_first_m3": _plain(heap.first_m3), "volume_left_m3": _plain(heap.left_m3),
        "accounts": {n: a.to_json() for n, a in heap.accounts.items()},
        "water_in_kg": {n: _plain(w) for n, w in heap.water.items()},
        "minutes": heap.minutes, "minutes_per_m3": _plain(heap.minutes_per_m3),
        "cost_per_m3": _plain(cost),
        "missing": [list(row) for row in heap.missing],
    }  # fmt: skip


def _plain(number: Ranged | None) -> dict[str, float] | None:
    if number is None:
        return None
    return {"typical": number.typical, "low": number.low, "high": number.high}


def _percent(share: float) -> str:
    text = f"{100 * share:.1f}"
    return text.removesuffix(".0")


def _share(number: Ranged) -> str:
    typical, low, high = (_fixed(100 * x, 0) for x in (number.typical, number.low, number.high))
    return f"{typical} %" if low == high else f"{typical} ({low} to {high}) %"


def _fixed(number: float, digits: int) -> str:
    """A number with so many decimals, nought without a sign."""
    text = f"{number:.{digits}f}"
    return text.removeprefix("-") if not text.strip("-0.") else text


def _places(number: float) -> int:
    size = abs(number)
    return 0 if size >= 20 else 1 if size >= 2 else 2


def _amount(number: Ranged | None, unit: str) -> str:
    if number is None:
        return "–"
    digits = _places(max(abs(number.typical), (number.high - number.low) / 2))
    typical, low, high = (_fixed(x, digits) for x in (number.typical, number.low, number.high))
    said = typical if low == high else f"{typical} ({low} to {high})"
    return f"{said} {unit}".strip()


def _and(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + f" and {names[-1]}"
