"""What the book holds of tests of finish of one heap: values, classes, and what does not count.

Units: those of the register rows; ages in days. Conventions: samples of one day count together,
all dishes and pots of it; of each test the newest day that counts is gone by, or a worse one of the
week before it, and every other stays as a row; what is much older than the newest test is set
apart, but for signs of weedkiller in beans, which only a later clean test lifts; a test that says
nothing (dry sample, poor control, sealed jar) is shown with the reason and not gone by.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from heapwright.domain.entries import Sample
from heapwright.errors import HeapwrightError, NotEnoughError
from heapwright.science import finish
from heapwright.science.finish import Assay, Dish, Verdict, number
from heapwright.services.damp import NEEDS_DAMP, WET_IT, too_dry
from heapwright.services.finishentry import SIGNS, read_counts, read_pots, read_sieve
from heapwright.services.heapvalues import excess_of
from heapwright.services.record import HeapRecord, TrialRecord
from heapwright.stats.counted import difference_of_shares
from heapwright.stats.outcomes import outcome
from heapwright.units import show

__all__ = ["ALSO_BEFORE", "Found", "found_of", "seeds_needed"]

#: Quantities that are sampled long before the end too, so that they alone are no test of finish.
ALSO_BEFORE = ("cn_ratio", "ph", "bulk_density_kg_m3")
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Found:
    """One test of one heap.

    assay; value, shown : the number, and as it stands on screen; when; age_d : of the heap, None if
    its build is unknown; verdicts : by scheme; why_not : why it does not count ("" if it does);
    unsure : why it does not decide ("" if it does); notes; older : set apart, not gone by; curve :
    meshes [mm] and shares finer, of a sieve; signs : of beans, the strongest of any pot (0 none);
    passed : ``earlier`` or ``newer`` where another result of the same test is gone by, else "".
    """

    assay: Assay
    value: float
    shown: str
    when: datetime
    age_d: float | None
    verdicts: tuple[Verdict, ...]
    why_not: str = ""
    unsure: str = ""
    notes: tuple[str, ...] = ()
    older: bool = False
    curve: tuple[tuple[float, float], ...] = field(default=())
    signs: int = 0
    passed: str = ""

    @property
    def says(self) -> bool:
        """Whether it says anything: it was made well enough and is not unsure."""
        return not (self.why_not or self.unsure)

    @property
    def apart(self) -> bool:
        """Whether it is shown only: much older, or passed over for another of the same test."""
        return self.older or bool(self.passed)

    @property
    def stage(self) -> int | None:
        """The worst stage its classes are read as; None where none says anything of ripeness."""
        return max((v.stage for v in self.verdicts if v.stage is not None), default=None)

    @property
    def counts(self) -> bool:
        """Whether it is gone by."""
        return self.says and not self.apart and self.stage is not None


def found_of(
    record: TrialRecord | None, heap: HeapRecord, *, shown_in: str = "C"
) -> tuple[Found, ...]:
    """Every test of finish of a heap, in the order of the table; empty where there is none.

    record : of its trial, for the air (None: no plan was locked); shown_in : C or F.
    """
    known = finish.assays()
    mine = [s for s in heap.samples if s.quantity in known]
    tested = [s for s in mine if s.quantity not in ALSO_BEFORE]
    if not tested:
        return ()
    newest = max(s.when.middle for s in tested)
    oldest = newest - timedelta(days=number("together_d").value)
    series: dict[str, list[Found]] = {}
    for key in known:
        taken = [s for s in mine if s.quantity == key and s.when.middle <= newest + _DAY]
        if key in ALSO_BEFORE:
            taken = [s for s in taken if s.when.middle >= oldest]
        if taken:
            series[key] = [
                _found(known[key], heap, day, oldest=oldest, shown_in=shown_in)
                for day in _days(taken)
            ]
    _add_ratios(series)
    made = [f for rows in series.values() for f in _chosen(rows)]
    warmed = _warmed(record, heap, oldest, shown_in)
    order = list(known)
    return tuple(sorted([*made, *warmed], key=lambda f: order.index(f.assay.key)))


def _days(taken: Sequence[Sample]) -> list[list[Sample]]:
    """Samples by the day they were taken on, the newest first."""
    days: list[list[Sample]] = []
    for sample in sorted(taken, key=lambda s: s.when.middle, reverse=True):
        if days and days[-1][0].when.middle - sample.when.middle < _DAY:
            days[-1].append(sample)
        else:
            days.append([sample])
    return days


# --- which result is gone by ----------------------------------------------------------------------


def _week() -> timedelta:
    return timedelta(days=number("worse_within_d").value)


def _chosen(rows: Sequence[Found]) -> list[Found]:
    """Results of one test, the newest first, as they are shown: the one gone by, then the rest.

    Signs in beans stand until a clean test that counts, more than a week later, lifts them.
    """
    clean = [f.when for f in rows if f.says and not f.signs]
    lifted = [f for f in rows if f.signs and any(c - f.when > _week() for c in clean)]
    stand = [f for f in rows if f not in lifted]
    shown = [f for f in stand if f.signs]
    if shown:  # the surest and strongest signs, the newest of those alike
        gone = max(shown, key=lambda f: (f.says, _weight(f), f.signs))
        near = [f for f in stand if f.says and abs(f.when - gone.when) <= _week()]
    else:
        says = [f for f in stand if f.says and not f.older]
        if not says:
            return [stand[0], *_passed(rows, stand[0])]
        near = [f for f in says if says[0].when - f.when <= _week()]
        gone = max(near, key=_weight)
    other = [f for f in near if f is not gone and _weight(f) < _weight(gone)]
    rest = _passed(rows, gone)
    if other and gone.says:
        days = number("worse_within_d").value
        note = f"of {len(other) + 1} results within {days:.0f} days the worse is gone by"
        gone = replace(gone, notes=(*gone.notes, note))
    return [gone, *rest]


def _weight(found: Found) -> tuple[int, int]:
    """How bad a result is: its worst stage, then all its stages together."""
    stages = [v.stage for v in found.verdicts if v.stage is not None]
    return max(stages, default=-1), sum(stages)


def _passed(rows: Sequence[Found], gone: Found) -> list[Found]:
    """The other results of a test; a newest one that does not count keeps its own reason."""
    return [
        f if f is rows[0] and not f.says
        else replace(f, passed="newer" if f.when > gone.when else "earlier")
        for f in rows if f is not gone
    ]  # fmt: skip


def seeds_needed(control_share: float) -> int:
    """Seeds to sow in each so that as many as in the control tells from a fifth fewer.

    >>> seeds_needed(0.9)
    30
    """
    apart = (1.0 - number("as_control").value) * control_share
    for sown in range(10, 1000, 10):
        up = round(control_share * sown)
        if difference_of_shares(up, sown, up, sown)[1] > -apart:
            return sown
    return 1000


# --- one test -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Read:
    """What the samples of a day say together."""

    value: float
    shown: str = ""
    why_not: str = ""
    unsure: str = ""
    notes: tuple[str, ...] = ()
    curve: tuple[tuple[float, float], ...] = ()
    signs: int = 0


def _found(
    assay: Assay, heap: HeapRecord, day: Sequence[Sample], *, oldest: datetime, shown_in: str
) -> Found:
    read = _READ.get(assay.key, _mean)(assay.key, day)
    why_not = read.why_not
    last = max(day, key=lambda s: s.when.middle)
    if assay.key in NEEDS_DAMP and not why_not:
        dry = too_dry(heap.samples, heap.events, last.when.middle, method=last.method)
        why_not = f"{dry}, too dry for this test. {WET_IT}" if dry else ""
    if assay.key == "reheat_c" and not why_not and read.value < -number("below_air_c").value:
        why_not = "its peak lies below the air: exchanged, or not warmed through"
    when = last.when.middle
    return Found(
        assay, read.value, read.shown or _shown(assay.key, read.value, shown_in), when,
        heap.age_d(when) if heap.built else None, finish.verdicts(assay.key, read.value),
        why_not, read.unsure, read.notes, when < oldest and not read.signs, read.curve,
        read.signs,
    )  # fmt: skip


def _shown(key: str, value: float, shown_in: str) -> str:
    if key in ("reheat_c", "warmed_again"):
        return outcome("reheat_c").amount(value, shown_in=shown_in) if value > 0 else "0 degrees"
    return show(value, key)


def _mean(key: str, day: Sequence[Sample]) -> _Read:
    """The mean of the day's samples; breathing from a jar is left out where there is other."""
    notes: tuple[str, ...] = ()
    if key == "respiration":
        jars = [s for s in day if "jar" in f"{s.typed} {s.method} {s.basis}".lower()]
        if len(jars) == len(day):
            return _Read(
                _over(day), why_not="a sealed jar ranks heaps against each other and gives no class"
            )
        day = [s for s in day if s not in jars]
        notes = tuple(
            f"typed as {s.typed}, which counts CO2: times 12/44" for s in day if _gas(s.typed)
        )
    if len(day) == 1:
        return _Read(day[0].value, notes=notes)
    # samples of one day that fall into different classes are not averaged into a better one
    stages = {s.value: _stage(key, s.value) for s in day}
    if len(set(stages.values())) > 1:
        worst = max(stages, key=lambda v: stages[v])
        low, high = (show(v, key) for v in (min(stages), max(stages)))
        notes = (*notes, f"{len(day)} samples, {low} to {high}: the worst is gone by")
        return _Read(worst, notes=notes)
    return _Read(_over(day), notes=(*notes, f"mean of {len(day)} samples"))


def _stage(key: str, value: float) -> int:
    """The worst stage a value is read as; 0 where no class says anything of ripeness."""
    return max((v.stage or 0 for v in finish.verdicts(key, value)), default=0)


def _gas(typed: str) -> bool:
    low = typed.lower().replace("₂", "2").replace(" ", "").replace("-", "")
    return "co2" in low and "co2c" not in low and "mmol" not in low


def _over(day: Sequence[Sample]) -> float:
    return sum(s.value for s in day) / len(day)


def _dishes(day: Sequence[Sample]) -> tuple[list[Dish], list[Dish]]:
    """Dishes and controls of a day; a control typed alike beside several dishes is one control."""
    dishes: list[Dish] = []
    controls: dict[tuple[Dish, ...], None] = {}
    for sample in day:
        with contextlib.suppress(HeapwrightError):
            counted = read_counts(sample.typed)
            if counted is not None and counted.dishes:
                dishes += counted.dishes
                controls[counted.controls] = None
    return dishes, [d for several in controls for d in several]


def _poor(control: Dish) -> str:
    least = number("control_up").value
    if control.up / control.sown >= least:
        return ""
    return (
        f"only {control.up} of {control.sown} came up in the control, and a test counts from "
        f"{least:.0%} on".replace("%", " %")
    )


def _index(key: str, day: Sequence[Sample]) -> _Read:
    """The germination index of all dishes of a day, pooled."""
    dishes, controls = _dishes(day)
    if not dishes or not controls:
        return _mean(key, day)
    try:
        value = finish.germination_index(dishes, controls)
    except HeapwrightError as error:
        return _Read(_over(day), why_not=error.what)
    test, control = finish.pooled(dishes), finish.pooled(controls)
    notes = [f"{test.up} of {test.sown} came up, {control.up} of {control.sown} in the control"]
    if len(dishes) > 1:
        notes.append(f"{len(dishes)} dishes pooled")
    return _Read(value, why_not=_poor(control), notes=tuple(notes))


def _vigour(key: str, day: Sequence[Sample]) -> _Read:
    """The length of seedlings over the control's; counts alone, as once taken, say nothing."""
    dishes, controls = _dishes(day)
    if not dishes or not controls:
        return _mean(key, day)
    try:
        value = finish.vigour(dishes, controls)
    except HeapwrightError as error:
        again = f"; {error.way_out}" if error.way_out else ""
        return _Read(_over(day), why_not=f"{error.what}{again}")
    test, control = finish.pooled(dishes), finish.pooled(controls)
    note = f"{test.length_mm:.3g} mm against {control.length_mm:.3g} mm in the control"
    return _Read(value, why_not=_poor(control), notes=(note,))


def _against(key: str, day: Sequence[Sample]) -> _Read:
    """Seedlings against a control: unsure where counting cannot tell alike from a fifth fewer."""
    dishes, controls = _dishes(day)
    if not dishes or not controls:
        return _mean(key, day)
    test, control = finish.pooled(dishes), finish.pooled(controls)
    other = control.up / control.sown
    if other == 0:
        return _Read(_over(day), why_not="nothing came up in the control")
    value = (test.up / test.sown) / other
    gap, low, high = difference_of_shares(test.up, test.sown, control.up, control.sown)
    counted = f"{test.up}/{test.sown} against {control.up}/{control.sown} in the control"
    span = f"{_points(low)} to {_points(high)}"
    unsure = ""
    if low <= -(1.0 - number("as_control").value) * other and high >= 0.0:
        unsure = (
            f"{counted}: chance in counting alone allows {span}, so this tells nothing either way. "
            f"Sow {seeds_needed(other)} or more in each"
        )
    note = f"{counted}: {100 * gap:+.0f} points ({span}), by counting alone"
    return _Read(value, why_not=_poor(control), unsure=unsure, notes=() if unsure else (note,))


def _points(share: float) -> str:
    word = "more" if share > 0 else "fewer"
    return f"{abs(100 * share):.0f} points {word}"


def _beans(key: str, day: Sequence[Sample]) -> _Read:
    """Bean pots of a day together: the upper median, with what keeps them from counting."""
    scores: list[int] = []
    controls: dict[tuple[int, ...], None] = {}
    ups: list[Dish] = []
    for sample in day:
        try:
            pots = read_pots(sample.typed)
        except HeapwrightError:  # a bare score that shows signs counts as a pot
            scores += [math.ceil(sample.value)] if sample.value > 0 else []
            continue
        scores += pots.scores
        controls[pots.controls] = None
        ups += [pots.control_up] if pots.control_up else []
    if not scores:
        return _Read(_over(day), why_not="its pots cannot be read")
    level, doubt = finish.signs(scores, [c for several in controls for c in several])
    why_not = "" if "pots show" in doubt and "control" not in doubt else doubt
    if not why_not:
        why_not = (
            _poor(finish.pooled(list(dict.fromkeys(ups))))
            if ups else "nobody wrote down how many beans of the control came up"
        )  # fmt: skip
    blind = all("blind" in s.method.lower() for s in day)
    notes = (f"{len(scores)} pots", "scored blind" if blind else "not scored blind")
    return _Read(
        level, SIGNS[int(level)], why_not, "" if why_not else _may_be(doubt), notes,
        signs=max(scores),
    )  # fmt: skip


def _may_be(doubt: str) -> str:
    return f"{doubt}; sow again with more pots" if doubt else ""


def _scores(key: str, day: Sequence[Sample]) -> _Read:
    blind = sum("blind" in s.method.lower() for s in day)
    said = "judged blind" if blind == len(day) else "not judged blind: who knows the heap expects"
    value = _over(day)
    return _Read(
        value,
        f"{value:.2g} of 5",
        notes=(
            f"{len(day)} judges"
            if len(day) > 1
            else "one \
judge",
            said,
        ),
    )


def _sieve(key: str, day: Sequence[Sample]) -> _Read:
    last = max(day, key=lambda s: s.when.middle)
    with contextlib.suppress(HeapwrightError):
        sieved = read_sieve(last.typed)
        if sieved is not None:
            mesh, share = sieved.overs
            said = f"{100 * share:.0f} % over {mesh:g} mm"
            return _Read(last.value, said, curve=sieved.curve)
    return _Read(last.value, notes=("the mesh is not known",))


_READ: Mapping[str, Callable[[str, Sequence[Sample]], _Read]] = {
    "germination_index": _index, "emergence": _against, "vigour": _vigour, "bean_signs": _beans,
    "smell_score": _scores, "look_score": _scores, "overs_frac": _sieve,
}  # fmt: skip


# --- what follows from others ---------------------------------------------------------------------


def _add_ratios(series: dict[str, list[Found]]) -> None:
    """Ammonium over nitrate, worked out for each day on which both were measured and it was not."""
    rows = list(series.get("nh4_no3_ratio", ()))
    typed = [f.when for f in rows]
    for ammonium in series.get("nh4_n_mg_kg", ()):
        near = [f for f in series.get("no3_n_mg_kg", ()) if abs(f.when - ammonium.when) < _DAY]
        if near and not any(abs(t - ammonium.when) < _DAY for t in typed):
            nitrate = min(near, key=lambda f: abs(f.when - ammonium.when))
            rows += _ratio(ammonium, nitrate)
    if rows:
        series["nh4_no3_ratio"] = sorted(rows, key=lambda f: f.when, reverse=True)


def _ratio(ammonium: Found, nitrate: Found) -> list[Found]:
    """One ratio; without any nitrate ammonium outweighs it beyond every class."""
    if not nitrate.value and not ammonium.value:
        return []  # none of either: there is nothing to weigh
    value = ammonium.value / nitrate.value if nitrate.value else math.inf
    endless = math.isinf(value)
    note = f"{ammonium.shown} over {nitrate.shown}"
    if endless:
        note += ": no nitrate at all, which is worse than every class"
    return [
        Found(
            finish.assay("nh4_no3_ratio"), value,
            "without end, as there is no nitrate" if endless else show(value, "ratio"),
            ammonium.when, ammonium.age_d, finish.verdicts("nh4_no3_ratio", value), notes=(note,),
            older=ammonium.older,
        )
    ]  # fmt: skip


def _warmed(
    record: TrialRecord | None, heap: HeapRecord, oldest: datetime, shown_in: str
) -> list[Found]:
    """How far the heap itself warmed after its last turn, where that was read not long ago."""
    turns = [e for e in heap.events if e.what == "turned" and e.when.middle >= oldest]
    if record is None or not turns or heap.built is None:
        return []
    turn = max(turns, key=lambda e: e.when.middle)
    at = heap.age_d(turn.when.middle)
    try:
        excess = excess_of(record, heap)
    except NotEnoughError:
        return []
    rise = finish.warmed_after(
        [float(a) - at for a in excess.age_d], [float(x) for x in excess.excess_c]
    )
    if rise is None:
        return []
    found = finish.verdicts("warmed_again", rise)
    cool = (
        "" if (found[0].stage or 0) else
        "a dry, cold or small heap stays cool too, so this says little by itself"
    )  # fmt: skip
    return [
        Found(
            finish.assay("warmed_again"), rise, _shown("warmed_again", rise, shown_in),
            turn.when.middle, at, found, notes=(cool,) if cool else (),
        )
    ]  # fmt: skip
