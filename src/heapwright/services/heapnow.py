"""A heap as the book knows it now: its last round, its air and rain, and what there is to
complain of.

Units: degrees C, days, mm, m3. Conventions: the core is read at the spot of that name, else at the
deepest; readings within a fifth of a day are one round.
"""

from __future__ import annotations

from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from heapwright.planning.diagnosis import Seen
from heapwright.science.values import value
from heapwright.services.corespot import core_spot
from heapwright.services.learning import Task
from heapwright.services.noted import last_noted
from heapwright.services.record import HeapRecord, TrialRecord

__all__ = ["air_now", "complaint_of", "core_read", "rain_week", "seen_of"]

#: Readings this close together are one round [d], own choice.
_ROUND_D = 0.2
#: A change of the core by less is neither rising nor falling [degrees C], own choice.
_STEADY_C = 1.0
#: Air read within so many days is the air now [d], own choice.
_AIR_D = 1.0
#: When a heap counts as too hot, as fallen back, as not heating (own choices, in line with the
#: classes of ``symptoms.toml``) [degrees C, d].
_HOT_C, _COOL_C, _FELL_C, _HEATED_C, _NEVER_C, _YOUNG_D = 65.0, 40.0, 15.0, 30.0, 15.0, 3.0


def _temps(mine: HeapRecord, now: datetime) -> list[tuple[float, str, float]]:
    """Age, spot and temperature of every reading until now, in order."""
    made = [
        (mine.age_d(r.when.middle), r.spot, r.value)
        for r in mine.readings
        if r.quantity == "temp_c" and r.when.middle <= now
    ]
    return sorted(made)


def core_read(
    record: TrialRecord, mine: HeapRecord, now: datetime
) -> tuple[float | None, float | None]:
    """The core in the last round [degrees C] and how many days ago that was; None where unread."""
    temps = _temps(mine, now)
    if not temps:
        return None, None
    last = temps[-1][0]
    spot = core_spot(record, mine)
    of_core = [t for a, s, t in temps if s == spot and last - a <= _ROUND_D]
    return of_core[-1] if of_core else None, max(0.0, mine.age_d(now) - last)


def complaint_of(
    *, core_c: float | None, air_c: float | None, peak_c: float | None, age_d: float,
    squeeze: str | None, smell: str | None,
) -> str | None:  # fmt: skip
    """What there is to complain of, one of `COMPLAINTS` of the diagnosis, or None.

    Temperatures in degrees C; squeeze (inside) and smell as in `Seen`.

    >>> complaint_of(core_c=16, air_c=14, peak_c=20, age_d=8, squeeze=None, smell=None)
    'not heating'
    >>> complaint_of(core_c=52, air_c=14, peak_c=60, age_d=8, squeeze="damp", smell="earthy")
    """
    bad = smell in ("ammonia", "rotten egg", "sour", "vinegar")
    if smell == "burnt" or (core_c is not None and core_c >= value("caution", "watch_c").value):
        return "too hot"
    if bad:
        return "wet and sour" if squeeze == "streams" and smell != "ammonia" else "smells"
    if squeeze in ("crumbles", "no_ball", "dusty"):
        return "dry core"
    if core_c is not None and core_c >= _HOT_C:
        return "too hot"
    if core_c is None or air_c is None or peak_c is None:
        return None
    if peak_c - air_c >= _HEATED_C and core_c < _COOL_C and peak_c - core_c >= _FELL_C:
        return "fell back"
    if peak_c - air_c < _NEVER_C and age_d >= _YOUNG_D:
        return "not heating"
    return None


def seen_of(
    task: Task, record: TrialRecord, mine: HeapRecord, volume_m3: float, squeeze: str | None,
    squeeze_skin: str | None, smell: str | None, rain: float | None,
) -> Seen | None:  # fmt: skip
    """What the book knows, for the diagnosis; None where there is nothing to complain of.

    volume_m3 : now; squeeze, squeeze_skin, smell, rain : as told, rain of the last week [mm];
    squeeze and smell that were not told are those of the last fresh note, see `last_noted`.
    """
    noted = last_noted(mine, task.now)
    if squeeze is None and "squeeze" in noted:
        squeeze = noted["squeeze"].word
    if smell is None and "smell" in noted:
        smell = noted["smell"].word
    temps, age = _temps(mine, task.now), task.ages[mine.name]
    spot = core_spot(record, mine)
    core = [(a, t) for a, s, t in temps if s == spot]
    core_c, _ = core_read(record, mine, task.now)
    peak = max(core, key=lambda row: row[1]) if core else None
    air = air_now(task, record, mine.name)
    complaint = complaint_of(
        core_c=core_c, air_c=air, peak_c=peak[1] if peak else None, age_d=age, squeeze=squeeze,
        smell=smell,
    )  # fmt: skip
    if complaint is None:
        return None
    others = [t for a, s, t in temps if s != spot and temps[-1][0] - a <= _ROUND_D]
    step = core[-1][1] - core[-2][1] if len(core) > 1 else 0.0
    turned = [mine.age_d(e.when.middle) for e in mine.events if e.what == "turned"]
    turns = [a for a in turned if 0 <= a <= age]
    after = [t for a, t in core if turns and a >= turns[-1]]
    job = next(j for j in task.jobs if j.case.name == mine.name)
    matter = job.case.recipe
    nitrogen = 0.0 if matter is None else matter.organic_n + matter.mineral_n
    return Seen(
        complaint=complaint, age_d=age, volume_m3=volume_m3,
        height_m=job.case.spec.height_m, core_c=core_c, air_c=air,
        peak_c=peak[1] if peak else None,
        days_since_peak=max(0.0, age - peak[0]) if peak else None,
        other_spots_c=float(np.mean(others)) if others else None,
        days_since_turn=age - turns[-1] if turns else None,
        rose_after_turn_c=max(after) - after[0] if len(after) > 1 else None,
        rising=None if abs(step) < _STEADY_C else step > 0,
        squeeze_core=squeeze, squeeze_skin=squeeze_skin, smell=smell, rain_mm_week=rain,
        cn=matter.carbon / nitrogen if matter is not None and nitrogen > 0 else None,
    )  # fmt: skip


def air_now(task: Task, record: TrialRecord, heap: str) -> float | None:
    """The air as read within a day, else its mean over the last day."""
    near = [
        a.value for a in record.air
        if abs((task.now - a.when.middle).total_seconds()) <= _AIR_D * 86400
    ]  # fmt: skip
    return near[-1] if near else float(np.mean(_last(task, heap, "air_temp_c", 24.0)))


def rain_week(task: Task, heap: str) -> float:
    """Rain of the week before now, by the weather of the heap [mm]."""
    return float(np.sum(_last(task, heap, "rain_mm", 7 * 24.0)))


def _last(task: Task, heap: str, field: str, hours: float) -> NDArray[np.float64]:
    """A column of the weather over the last hours."""
    job = next(j for j in task.jobs if j.case.name == heap)
    now_h = job.start_h + task.ages[heap] * 24.0
    middles = job.weather.middles_h
    inside = (middles <= now_h + 1.0) & (middles > now_h - hours)
    return np.asarray(getattr(job.weather, field)[inside])
