"""What is due now, what comes next, and what fits into the minutes there are.

Units: minutes, days; dates are those of the clock of the place.
Conventions: something done counts for the planned occasion it lies nearest to, by date; an
interval ("about Tuesday") counts when it overlaps the days around that occasion. A round that was
skipped is not asked for again; a turn that was skipped is named once, under "missed".
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, tzinfo

from heapwright.domain.entries import Entry, Event, Reading, Sample
from heapwright.domain.when import When
from heapwright.errors import QuantityError
from heapwright.planning import workwords as words
from heapwright.planning.task import TASK_KINDS, Task
from heapwright.science.cautions import Met
from heapwright.units import Ranged, quantity

__all__ = ["Due", "Today", "side_by_side", "today_list"]

#: The kinds of work, what costs most when skipped first.
_BY_COST = (
    "final measures",
    "first measures",
    "turn",
    "open pipes",
    "pull pipes",
    "water check",
    "round",
    "end date",
)
_DONE_BY = {"turned": "turn", "vent opened": "open pipes", "vent pulled": "pull pipes"}
_PHOTO = "a photo with a scale"


@dataclass(frozen=True, slots=True)
class Due:
    """Work that stands, perhaps of several tasks of one kind and day.

    tasks : the tasks; heaps, parts : what is left of them; state : ``due now``, ``in 2 days`` ...;
    minutes : of what is left; fits : within the minutes given, None if none were given; why : the
    reason for that, in words.
    """

    tasks: tuple[Task, ...]
    heaps: tuple[str, ...]
    parts: tuple[str, ...]
    state: str
    minutes: Ranged
    fits: bool | None = None
    why: str = ""

    @property
    def kind(self) -> str:
        """The kind of the tasks."""
        return self.tasks[0].kind

    @property
    def due(self) -> date:
        """The local date of the tasks."""
        return self.tasks[0].due

    @property
    def title(self) -> str:
        """What is left to do, with the heaps."""
        return self.tasks[0].stem.replace("{}", words.listed(self.heaps))


@dataclass(frozen=True, slots=True)
class Today:
    """The answer for one moment: due now, soon, missed, and the sentence that says it all; cautions
    that this work meets."""

    moment: datetime
    due: tuple[Due, ...]
    soon: tuple[Due, ...]
    missed: tuple[Due, ...]
    minutes: float | None
    sentence: str
    cautions: tuple[Met, ...] = ()


def today_list(
    tasks: Sequence[Task],
    entries: Iterable[Entry],
    *,
    now: datetime,
    zone: tzinfo,
    minutes: float | None = None,
    horizon_d: int = 7,
) -> Today:
    """What there is to do.

    Parameters
    ----------
    tasks : sequence of Task
        Of `work_calendar`.
    entries : iterable of Event, Reading and Sample
        What stands in the book now; other entries are passed over.
    now : datetime
        Aware.
    zone : tzinfo
        The clock of the place.
    minutes : float, optional
        Time at hand [minute]; what costs most when skipped comes first.
    horizon_d : int
        How many days ahead to look.

    Raises
    ------
    QuantityError
        Minutes below zero or not a number.

    Examples
    --------
    >>> from datetime import UTC
    >>> today_list([], [], now=datetime(2026, 5, 1, tzinfo=UTC), zone=UTC).sentence
    'Nothing is planned: the plan names no heaps.'
    """
    if minutes is not None:
        quantity("minutes").check(minutes, field="minutes")
        if minutes == 0:
            raise QuantityError("no time is no visit", field="minutes", value=0,
                                way_out="Give the minutes you have, or leave it out")  # fmt: skip
    entries = list(entries)
    local = now.astimezone(zone)
    today = local.date()
    lost = _lost(entries, zone)
    left = _left(tasks, entries, lost, zone)
    due: list[Due] = []
    soon: list[Due] = []
    missed: list[Due] = []
    for item in left:
        task = item.tasks[0]
        late = (today - task.due).days
        if 0 <= late <= task.span_d[1]:
            due.append(replace(item, state=_state(task, local)))
        elif -horizon_d <= late < 0:
            soon.append(replace(item, state=_ahead(-late, task)))
        elif late > 0 and _named_when_missed(task):
            missed.append(replace(item, state=f"missed on {words.long_day(task.due)}"))
    due = sorted(_grouped(due), key=_by_cost)
    if minutes is not None:
        due = _fitted(due, minutes)
    ended = any(i.kind == "end date" for i in due)
    if ended:
        due = [i for i in due if i.kind in ("end date", "final measures")]
    missed = _latest(_grouped(missed), ended=ended)
    answer = Today(local, tuple(due), tuple(_grouped(soon)), tuple(missed), minutes, "")
    later = [i for i in left if i.due > today]
    return replace(answer, sentence=_sentence(answer, later, tasks))


def side_by_side(tasks: Sequence[Task]) -> list[Due]:
    """Tasks as rows of a calendar: those of one kind, day and hour together.

    >>> side_by_side([])
    []
    """
    rows = [Due((t,), t.heaps, t.parts, "", t.minutes) for t in tasks]
    return _grouped(rows)


# --- what is left ------------------------------------------------------------------------------


def _days(when: When, zone: tzinfo) -> tuple[int, int]:
    low, high = when.low.astimezone(zone).date(), when.high.astimezone(zone).date()
    return low.toordinal(), high.toordinal()


def _lost(entries: Iterable[Entry], zone: tzinfo) -> dict[str, int]:
    """The day from which a heap is lost, by heap."""
    return {
        e.heap: _days(e.when, zone)[1] for e in entries if isinstance(e, Event) and e.what == "lost"
    }


def _occasions(
    entries: Iterable[Entry], zone: tzinfo
) -> dict[tuple[str, str], set[tuple[int, int]]]:
    """Days on which something of a kind was done to a heap: (kind, heap) -> {(first, last)}."""
    found: dict[tuple[str, str], set[tuple[int, int]]] = {}

    def note(kind: str, heap: str, when: When) -> None:
        found.setdefault((kind, heap), set()).add(_days(when, zone))

    for entry in entries:
        if isinstance(entry, Reading):
            note("round", entry.heap, entry.when)
        elif isinstance(entry, Event):
            if entry.what in _DONE_BY:
                note(_DONE_BY[entry.what], entry.heap, entry.when)
                if entry.what == "vent pulled":  # nothing is left to be opened
                    note("open pipes", entry.heap, entry.when)
            elif entry.what == "watered":
                note("water check", entry.heap, entry.when)
            elif entry.what == "photo":
                note(_PHOTO, entry.heap, entry.when)
        elif isinstance(entry, Sample):
            if entry.quantity in ("moisture_wb", "moisture_db"):
                note("water check", entry.heap, entry.when)
            note(words.part_of(entry.quantity), entry.heap, entry.when)
    return found


def _overlaps(task: Task, days: tuple[int, int]) -> bool:
    middle = task.due.toordinal()
    return days[1] >= middle - task.span_d[0] and days[0] <= middle + task.span_d[1]


def _left(
    tasks: Sequence[Task], entries: Sequence[Entry], lost: dict[str, int], zone: tzinfo
) -> list[Due]:
    """Tasks without the heaps and parts that are done."""
    found = _occasions(entries, zone)
    done = _assigned(tasks, found)
    out = []
    for task in tasks:
        heaps: list[str] = []
        parts: list[str] = []
        asked = 0
        for heap in task.heaps:
            if lost.get(heap, 10**9) <= task.due.toordinal() or (task.key, heap) in done:
                continue
            if not task.parts:
                heaps.append(heap)
                asked += 1
                continue
            open_parts = [
                p
                for p in task.parts
                if not any(_overlaps(task, d) for d in found.get((p, heap), ()))
            ]
            if open_parts:
                heaps.append(heap)
                parts += [p for p in open_parts if p not in parts]
                asked += len(open_parts)
        if heaps:
            share = asked / (len(task.heaps) * max(len(task.parts), 1))
            out.append(Due((task,), tuple(heaps), tuple(parts), "", task.minutes.scaled(share)))
    return out


def _assigned(
    tasks: Sequence[Task], found: dict[tuple[str, str], set[tuple[int, int]]]
) -> set[tuple[str, str]]:
    """(task key, heap) of planned occasions that something done counts for."""
    done: set[tuple[str, str]] = set()
    by_heap: dict[tuple[str, str], list[Task]] = {}
    for task in tasks:
        for heap in task.heaps:
            by_heap.setdefault((task.kind, heap), []).append(task)
    for (kind, heap), occasions in found.items():
        for days in sorted(occasions):
            fitting = [t for t in by_heap.get((kind, heap), ()) if _overlaps(t, days)]
            if days[0] != days[1]:
                fitting = [t for t in fitting if (t.key, heap) not in done]
            if fitting:
                middle = (days[0] + days[1]) / 2
                nearest = min(fitting, key=lambda t: (abs(t.due.toordinal() - middle), t.due))
                done.add((nearest.key, heap))
                done |= {(t.key, heap) for t in fitting if t.due == nearest.due}
    return done


# --- words ---------------------------------------------------------------------------------------


def _named_when_missed(task: Task) -> bool:
    return task.kind not in ("round", "water check") or task.skipping_costs.startswith("the find")


def _latest(items: Sequence[Due], *, ended: bool) -> list[Due]:
    """The last missed item of each kind and heaps; after the end only what can still be done."""
    last: dict[tuple[str, tuple[str, ...]], Due] = {}
    for item in items:
        if not ended or item.kind == "final measures":
            last[item.kind, item.heaps] = item
    return list(last.values())


def _state(task: Task, local: datetime) -> str:
    late = (local.date() - task.due).days
    if late == 0:
        return f"today at {task.at:%H:%M}" if task.at and task.at > local else "due now"
    if late == 1:
        return "due since yesterday"
    since = f"{task.due:%A}" if late < 7 else f"{task.due:%A} {task.due.day} {task.due:%B}"
    return f"due since {since} ({late} days)"


def _ahead(days: int, task: Task) -> str:
    at = f" at {task.at:%H:%M}" if task.at else ""
    return f"tomorrow{at}" if days == 1 else f"in {days} days{at and ', ' + at.strip()}"


def _grouped(items: Sequence[Due]) -> list[Due]:
    """Items of one kind, day and state as one."""
    groups: dict[tuple[object, ...], Due] = {}
    for item in items:
        task = item.tasks[0]
        key = (task.stem, task.due, task.at, item.state, item.parts, task.skipping_costs)
        if key in groups:
            a = groups[key]
            total = Ranged(
                a.minutes.typical + item.minutes.typical,
                a.minutes.low + item.minutes.low,
                a.minutes.high + item.minutes.high,
            )
            groups[key] = replace(
                a, tasks=a.tasks + item.tasks, heaps=a.heaps + item.heaps, minutes=total
            )
        else:
            groups[key] = item
    return list(groups.values())


def _by_cost(item: Due) -> tuple[int, date, int]:
    task = item.tasks[0]
    decides = task.skipping_costs.startswith("the finding")
    return 0 if decides else 1 + _BY_COST.index(task.kind), task.due, TASK_KINDS.index(task.kind)


def _fitted(items: Sequence[Due], minutes: float) -> list[Due]:
    """Each item with whether it fits, taking what costs most when skipped first."""
    rest = minutes
    out = []
    for item in items:
        need, task = item.minutes.typical, item.tasks[0]
        short = task.short_minutes
        if need <= rest:
            rest -= need
            why = f"about {need:.0f} of your {minutes:g} min; {rest:.0f} min are left"
            out.append(replace(item, fits=True, why=why))
        elif short is not None and short.typical <= rest:
            rest -= short.typical
            why = (
                f"all of it takes about {need:.0f} min; {task.short_way}, takes about "
                f"{short.typical:.0f} min"
            )
            out.append(replace(item, fits=True, minutes=short, why=why))
        else:
            why = f"takes about {need:.0f} min and {rest:.0f} min are left"
            if len(item.heaps) > 1 and task.kind == "turn" and need / len(item.heaps) <= rest:
                why += "; turning only some today would make heaps of one way differ by a day"
            out.append(replace(item, fits=False, why=why))
    return out


def _day_words(day: date, today: date) -> str:
    ahead = (day - today).days
    if ahead == 1:
        return "tomorrow"
    return f"{day:%A}" if ahead < 7 else f"{day:%A} {day.day} {day:%B}"


def _sentence(answer: Today, later: Sequence[Due], tasks: Sequence[Task]) -> str:
    """One sentence or two that answer: what must I do?"""
    today = answer.moment.date()
    if not tasks:
        return "Nothing is planned: the plan names no heaps."
    lead = ""
    if all(t.provisional for t in tasks):
        lead = "No heap has a building day yet; these dates count as if you built today. "
    end = next((t for t in tasks if t.kind == "end date"), None)
    if end is not None and today >= end.due:
        return f"{lead}The trial ended on {words.long_day(end.due)}: ask for the findings."
    if answer.due:
        return lead + _due_words(answer)
    upcoming = [i for i in later if i.kind != "end date"]
    if not upcoming:
        on = "" if end is None else f" until the end on {words.long_day(end.due)}"
        return f"{lead}Nothing needs doing{on}."
    first = upcoming[0]
    text = f"{lead}Nothing needs doing."
    if first.kind == "round":
        on = _day_words(first.due, today)
        return f"{text} Next look {on}; skipping it costs {first.tasks[0].skipping_short}."
    same = _grouped([i for i in upcoming if i.due == first.due and i.kind == first.kind])[0]
    ahead = _ahead((first.due - today).days, first.tasks[0])
    text += f" Next: {_lower_first(same.title)}, {_day_words(first.due, today)}"
    text += "." if ahead.startswith("tomorrow") else f" ({ahead})."
    look = next((i for i in upcoming if i.kind == "round"), None)
    if look is not None:
        text += (
            f" Next look {_day_words(look.due, today)}; skipping it costs "
            f"{look.tasks[0].skipping_short}."
        )
    return text


def _due_words(answer: Today) -> str:
    fitting = [i for i in answer.due if i.fits is not False]
    if not fitting:
        return (
            f"Nothing that is due fits into the {answer.minutes:g} min you have; the shortest "
            f"takes about {min(i.minutes.typical for i in answer.due):.0f} min."
        )
    titles = "; ".join(_lower_first(i.title) for i in fitting)
    total = sum(i.minutes.typical for i in fitting)
    text = f"To do: {titles}. About {total:.0f} min."
    light = all(i.tasks[0].skipping_short == "almost nothing" for i in answer.due)
    return text + (" Skipping it costs almost nothing." if light else "")


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]
