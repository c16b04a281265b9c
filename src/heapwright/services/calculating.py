"""Long calculations as a page asks for them: by kind, with words, tables, picture and numbers.

Units: as in the answers of the commands of the same names, whose words and JSON these are.
Conventions: the book is named by path or address and the moment comes in, so that a calculation can
run in another process; progress is told as done of total. What was fitted is kept in the book, so
that one that was stopped goes on where it was.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from heapwright.errors import UnknownNameError, sentence
from heapwright.reports.part import Grid

if TYPE_CHECKING:
    from heapwright.inference.crew import Crew
    from heapwright.inference.fit import Fitted
    from heapwright.services.learning import Task

__all__ = ["KINDS", "Answer", "calculate"]

Tell = Callable[[int, int], None]
#: kinds of calculations, and what each answers
KINDS: Mapping[str, str] = {
    "learn": "What was learned from the readings",
    "forecast": "What next week will bring",
    "why": "Why one heap is warmer than another",
    "inside": "How it is inside now",
    "air": "Was there air in the core",
    "advise": "What to do now",
    "simulate": "How the heaps run by physics alone",
}


@dataclass(frozen=True, slots=True)
class Answer:
    """What a calculation found: words, first the one that answers; grids; known : how we know;
    picture : SVG elements, "" for none; numbers : the JSON of the command."""

    words: Sequence[str]
    grids: Sequence[Grid] = ()
    known: Sequence[str] = ()
    picture: str = ""
    invented: bool = False
    numbers: Mapping[str, Any] = field(default_factory=dict, hash=False)

    def to_json(self) -> dict[str, Any]:
        """All of it as plain values."""
        return {
            "words": [sentence(w) for w in self.words],
            "grids": [g.to_json() for g in self.grids],
            "known": [sentence(w) for w in self.known], "picture": self.picture,
            "invented": self.invented, "numbers": dict(self.numbers),
        }  # fmt: skip


def calculate(
    kind: str, args: Mapping[str, str], *, book: str, now: datetime, tell: Tell, workers: int = 1
) -> dict[str, Any]:
    """Run a calculation to its end.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    args : mapping
        ``trial``; ``heap`` of inside, air and advise; ``one`` and ``other`` of why; ``squeeze``,
        ``smell`` and ``hose`` of advise; ``careful``, ``labels`` (they were looked at and are
        right); ``weather``, a file, and ``answer.KEY`` to what is asked of it. Each may be left
        out.
    workers : int
        Processes side by side.

    Returns
    -------
    dict
        See `Answer.to_json`.

    Raises
    ------
    UnknownNameError
        No such kind, trial or heap; else as the command of that name.
    QuestionError
        The weather file leaves something open.
    """
    if kind not in KINDS:
        raise UnknownNameError(
            "no calculation of that name", field="kind", value=kind,
            way_out="One of " + ", ".join(KINDS),
        )  # fmt: skip
    given = {k: v.strip() for k, v in args.items() if v and v.strip()}
    if kind == "simulate":
        return _simulate(given, book, now, tell, workers).to_json()
    ahead = {"forecast": 7.0, "inside": 7.0, "advise": 14.0}.get(kind, 1.0)
    with _fitted(given, book, now, tell, workers, ahead) as (task, fitted, crew):
        match kind:
            case "learn":
                made = _learn(task, fitted)
            case "forecast":
                made = _forecast(task, fitted, book)
            case "why":
                made = _why(task, fitted, crew, given, tell)
            case "inside":
                made = _inside(task, fitted, crew, given, tell)
            case "air":
                made = _air(task, fitted, crew, given, tell)
            case _:
                made = _advise(task, fitted, crew, given, book, tell)
    return made.to_json()


@contextmanager
def _fitted(
    given: Mapping[str, str], book: str, now: datetime, tell: Tell, workers: int, ahead_d: float
) -> Iterator[tuple[Task, Fitted, Crew]]:
    from heapwright.services.cluster import crew_for
    from heapwright.services.learning import gather, learn

    task = gather(
        now=now, trial=given.get("trial"), book=book, ahead_d=ahead_d, weather=_weather(given),
        answers=_answers(given),
    )  # fmt: skip
    for name in ("heap", "one", "other"):
        if name in given:
            task.heap(given[name])  # refuses one that is not there, before minutes of work
    with crew_for(workers, None) as crew:
        fitted = learn(
            task, careful="careful" in given, trusted="labels" in given, crew=crew, book=book,
            on_progress=tell,
        )  # fmt: skip
        yield task, fitted, crew


def _weather(given: Mapping[str, str]) -> Path | None:
    return Path(given["weather"]) if "weather" in given else None


def _answers(given: Mapping[str, str]) -> dict[str, str]:
    """What was answered to questions, by key."""
    return {k.removeprefix("answer."): v for k, v in given.items() if k.startswith("answer.")}


def _notes(task: Task, heap: str | None = None) -> list[str]:
    """What was taken for granted, and the weather."""
    jobs = [j for j in task.jobs if heap in (None, j.case.name)]
    assumed = dict.fromkeys(line for j in jobs for line in j.assumed)
    return [
        *task.left_out, *(f"Assumed: {line}" for line in assumed),
        *(f"Weather: {line}" for line in jobs[0].weather.source),
    ]  # fmt: skip


def _learn(task: Task, fitted: Fitted) -> Answer:
    from heapwright.services.learnwords import alike, learned_json, learned_rows, learned_words

    rows = alike(learned_rows(fitted.learned()))
    return Answer(
        learned_words(fitted),
        [Grid("What was learned", ["heap", "what", "before", "now", "verdict"], rows,
              "Ranges are 80 %; a factor is on what is usual.")],
        _notes(task), invented=task.invented, numbers=learned_json(task.trial, fitted),
    )  # fmt: skip


def _forecast(task: Task, fitted: Fitted, book: str) -> Answer:
    from heapwright.services.forecasting import look_ahead
    from heapwright.services.learnwords import (
        ahead_rows,
        learned_words,
        outlook_json,
        outlook_words,
        worth_words,
    )

    found = look_ahead(task, fitted, book=book)
    head, rows = ahead_rows(found.ahead)
    return Answer(
        outlook_words(found),
        [
            Grid(
                "Spot by spot", head, rows, "Ranges of 80 %, with the error of a reading in them."
            ),
            Grid("Most useful next", ["measure"], [[sentence(w)] for w in worth_words(found.next)]),
        ],
        [*learned_words(fitted), *_notes(task)],
        invented=task.invented,
        numbers=outlook_json(found),
    )


def _why(task: Task, fitted: Fitted, crew: Crew, given: Mapping[str, str], tell: Tell) -> Answer:
    from heapwright.services.learnwords import learned_words
    from heapwright.services.reasons import gap_words, heat_rows, share_rows, to_json, why_of

    found = why_of(
        task, fitted, given.get("one", ""), given.get("other", ""), crew=crew, on_progress=tell
    )
    a, b = found.why.one, found.why.other
    shares = [f"{a} less {b}, C", "share", "80 %", f"{b}'s in {a}", f"{a}'s in {b}", "comes first"]
    heat = [f"heat until day {found.days[1]:.0f}, MJ/kg dry", a, b]
    return Answer(
        gap_words(found),
        [
            Grid("Shares of the causes", shares, share_rows(found),
                 "A share is the mean of both swaps; where they differ, the order matters. Shares "
                 "need not add up to the gap."),
            Grid("Where the heat went", heat, list(heat_rows(found)),
                 "Bookkeeping of the middle of the heaps that fit, not a cause."),
        ],
        [*learned_words(fitted), *_notes(task)], invented=task.invented, numbers=to_json(found),
    )  # fmt: skip


def _air(task: Task, fitted: Fitted, crew: Crew, given: Mapping[str, str], tell: Tell) -> Answer:
    from heapwright.services.breathing import air_json, air_of, air_picture, air_rows, air_words

    found = air_of(task, fitted, given.get("heap", ""), crew=crew, on_progress=tell)
    return Answer(
        air_words(found),
        [Grid("Day by day", ["day", "oxygen of the core", "core short", "somewhere short"],
              air_rows(found),
              "Short is below 5 % of oxygen. Chances are shares of the possible heaps that fit.")],
        _notes(task), air_picture(found).svg, task.invented, air_json(found),
    )  # fmt: skip


def _inside(task: Task, fitted: Fitted, crew: Crew, given: Mapping[str, str], tell: Tell) -> Answer:
    from heapwright.services import inside as within
    from heapwright.services.learnwords import learned_words, worth_words

    made = within.inside_of(task, fitted, given.get("heap", ""), crew=crew, on_progress=tell)
    f = made.found
    return Answer(
        within.inside_words(made),
        [
            Grid("Last read", within.READ_HEAD, within.read_rows(made)),
            Grid("Where the heat went", within.HEAT_HEAD, within.account_rows(f.heat, f.heat_now),
                 within.ACCOUNTED),
            Grid("Where the water went", within.WATER_HEAD,
                 within.account_rows(f.water, f.water_now), within.ACCOUNTED),
            Grid("Most useful next", ["measure"], [[sentence(w)] for w in worth_words(made.next)]),
        ],
        [*learned_words(fitted), *_notes(task, f.heap)], within.inside_picture(made).svg,
        task.invented, within.inside_json(made),
    )  # fmt: skip


def _advise(
    task: Task, fitted: Fitted, crew: Crew, given: Mapping[str, str], book: str, tell: Tell
) -> Answer:
    from heapwright.services.advisewords import (
        COLUMNS,
        act_rows,
        advice_json,
        cause_lines,
        grounds,
        item_lines,
    )
    from heapwright.services.advising import advice_for, hose_flow

    hose = given.get("hose")
    made = advice_for(
        task, fitted, given.get("heap", ""), book=book, squeeze=given.get("squeeze"),
        smell=given.get("smell"), hose_l_min=None if hose is None else hose_flow(hose),
        rain_known="weather" in given, crew=crew, on_progress=tell,
    )  # fmt: skip
    advice = [
        [item.words, "; ".join(f"{head}: {text}" for head, text in item_lines(item))]
        for item in made.advised.items
    ]
    return Answer(
        [made.advised.sentence, *(line.strip() for line in cause_lines(made))],
        [
            Grid("Advice", ["what", "and why"], advice),
            Grid("What each act would change against leaving the heap", COLUMNS, act_rows(made),
                 "Mean of the core, days it is above 55 C, water of core and crust at the end, "
                 "time the core is short of air, dry mass lost."),
        ],
        [*grounds(made), *_notes(task, made.heap)], invented=task.invented,
        numbers=advice_json(made),
    )  # fmt: skip


def _simulate(
    given: Mapping[str, str], book: str, now: datetime, tell: Tell, workers: int
) -> Answer:
    from heapwright.services import simwords
    from heapwright.services.simfiles import heap_pictures
    from heapwright.services.simulating import prepare, simulate_heaps

    jobs = prepare(
        now=now, trial=given.get("trial"), book=book, weather=_weather(given),
        answers=_answers(given),
    )  # fmt: skip
    far: dict[str, float] = {}

    def progress(name: str, at: Any) -> None:
        far[name] = at.day / at.days
        tell(round(100 * sum(far.values()) / len(jobs)), 100)

    made = simulate_heaps(jobs, workers=workers, now=now, on_progress=progress)
    days = max((simwords.shown_days(m.run) for m in made), key=len)
    rows = [
        [r.heap, r.spot, *(f"{t:.0f}" for t in r.temp_c), *[""] * (len(days) - len(r.temp_c)),
         f"{r.highest_c:.0f} on day {r.highest_d:.1f}"]
        for m in made for r in simwords.heap_rows(m, simwords.shown_days(m.run))
    ]  # fmt: skip
    known = dict.fromkeys(
        [f"Assumed: {a}" for m in made for a in m.job.assumed]
        + [f"Weather: {s}" for m in made for s in m.job.weather.source]
    )
    return Answer(
        [w for w in (*simwords.compared(made), *simwords.cautions(made), simwords.NOT_MEASURED,
                     *(line for m in made for line in simwords.findings(m))) if w],
        [Grid("Spots by day", ["heap", "spot, C", *[f"day {d:g}" for d in days], "highest"], rows)],
        list(known), "\n".join(p.svg for m in made for p in heap_pictures(m.job, m.run).values()),
        any(j.case.invented for j in jobs), simwords.to_json(made),
    )  # fmt: skip
