"""The main job end to end on the invented Ferncombe trial: plan, deal, log, mend, find, report.

Conventions: everything goes through the same services as a keeper's own trial; the clock of each
step is the day of the story, so the same demo gives the same numbers. The story is told into a
book of its own first and taken over as a whole, so that no half of it can stand in a book. All
data is INVENTED.
"""

from __future__ import annotations

import shutil
import tempfile
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from heapwright.domain.trial import Trial
from heapwright.errors import InputError, QuestionError
from heapwright.exchange.planfile import read_plan_text
from heapwright.reports.sheets import deal_sheet_html, lots_sheet_html
from heapwright.services import ferncombe
from heapwright.services.calendar import calendar_of_work, write_ics
from heapwright.services.deal import deal_sheet, lots_sheet, share_out, write_page
from heapwright.services.doings import log_event, log_sample
from heapwright.services.findings import Findings, find
from heapwright.services.log import log_round
from heapwright.services.mend import exchange_heaps
from heapwright.services.plans import example_plan, lock_text
from heapwright.services.report import write_report
from heapwright.store.book import Book
from heapwright.store.takeover import take_over

__all__ = ["put_demo", "run_demo"]

Say = Callable[[str], None]
_SEED = 21
_LOCKED = datetime(2026, 4, 15, 18, tzinfo=UTC)
_LOOK = datetime(2026, 5, 24, 18, tzinfo=UTC)
_FOUND = datetime(2026, 6, 20, 18, tzinfo=UTC)
#: when the day of the findings begins: all entries lie before it
_OVER = _FOUND.replace(hour=0)
_EXCHANGED_ROUND, _FAHRENHEIT_ROUND = 4, 7
_MISSED_DAYS = range(24, 32)
_WRONG_TURN_DAY = 33
_MARK = "INVENTED.txt"
#: one story is told at a time: making a new book is for one thread of a process
_TELLING = threading.Lock()


def run_demo(folder: Path, *, say: Say) -> Path:
    """Run the invented trial in *folder*, saying what happens; returns the path of the report.

    Raises `InputError` when the folder holds something that is not an earlier demo.
    """
    _empty(folder)
    (folder / "plan.toml").write_text(example_plan(), encoding="utf-8")
    with Book(folder / "book.sqlite") as book:
        name = put_demo(book, folder, now=_FOUND, say=say)
        found = find(book, name, now=_FOUND)
        _say_findings(found, say)
        return write_report(book, name, folder / "report.html", now=_FOUND)


def put_demo(
    book: Book, folder: Path | None = None, *, now: datetime, say: Say = lambda _: None
) -> str:
    """Put the invented trial into a book without any trial; returns the name of the trial.

    Parameters
    ----------
    book : Book
        Gets all of the trial at once; its entries carry the days of the story.
    folder : Path, optional
        Where the sheets and the calendar are written; none are without it.
    now : aware datetime
        Not before the end of the story, so that nothing stands in the future.

    Raises
    ------
    InputError
        The clock stands before the end of the story, or the book holds a trial; nothing is
        changed then.
    """
    _refuse_early(now)
    with (
        _TELLING,
        tempfile.TemporaryDirectory(prefix="heapwright-demo-") as place,
        Book(Path(place) / "story.sqlite") as story,
    ):
        _refuse_full(book)
        name = _tell(story, folder, say)
        take_over(book, story)
    return name


def _refuse_early(now: datetime) -> None:
    if now < _OVER:
        raise InputError(
            f"the story of this invented trial ends on {_day(_OVER)} {_OVER.year}; this clock "
            "says earlier", field="clock", value=f"{_day(now)} {now.year}",
            way_out="Set the clock of this machine right, or begin with your own four answers",
        )  # fmt: skip


def _refuse_full(book: Book) -> None:
    """The invented trial does not come between trials of one's own, and not twice."""
    known = book.trials()
    if not known:
        return
    invented = read_plan_text(example_plan(), now=_LOCKED).name
    same = next((name for name in known if name.lower() == invented.lower()), None)
    raise InputError(
        f"this book holds {'a trial of that name' if same else 'another trial'} already",
        field="trial", value=same or known[-1],
        way_out="Look at that one" if same else "Put the invented trial into an empty book",
    )  # fmt: skip


def _tell(book: Book, folder: Path | None, say: Say) -> str:
    """The whole story, from the locked plan to the last measures; returns the trial's name."""
    stored = lock_text(book, example_plan(), now=_LOCKED)
    trial = stored.trial
    say(f"{trial.name}. INVENTED: there is no Ferncombe orchard.")
    say(f"Question, locked before the first barrow: {stored.locked.question}")
    say(f"  fingerprint for the shed wall: {stored.fingerprint}")
    _share_out(book, trial.name, folder, say)
    _work_and_rounds(book, trial, say)
    _mend(book, trial, say)
    _last_measures(book, trial)
    return trial.name


def _empty(folder: Path) -> None:
    """A fresh folder; an earlier demo is cleared away, anything else is left alone."""
    if folder.exists():
        if not (folder / _MARK).exists() and any(folder.iterdir()):
            raise InputError(
                "this folder holds other things", field="folder", value=str(folder),
                way_out="Name a new folder with --folder",
            )  # fmt: skip
        shutil.rmtree(folder)
    folder.mkdir(parents=True)
    (folder / _MARK).write_text(
        "Everything in this folder was made by heapwright demo and is INVENTED.\n",
        encoding="utf-8",
    )


def _share_out(book: Book, name: str, folder: Path | None, say: Say) -> None:
    """Deal 62 loads by leafiness; with a *folder* write the sheets, the lots and the calendar."""
    rng = np.random.default_rng(_SEED)
    batch = np.repeat(rng.normal(40, 12, 11), 6)[:62]
    scores = [float(s) for s in np.clip(batch + rng.normal(0, 8, 62), 0, 100).round()]
    deal = share_out(name, book=book.where, now=_LOCKED, loads=62, scores=scores)
    if folder is not None:
        page = deal_sheet_html(deal_sheet(deal, now=_LOCKED))
        write_page(page, folder / "sharing-out.html", field="folder")
        page = lots_sheet_html(lots_sheet(deal, now=_LOCKED))
        write_page(page, folder / "lots-keep-folded.html", field="folder")
        calendar = calendar_of_work(name, book=book.where, now=_LOCKED)
        write_ics(calendar, folder / "work.ics", now=_LOCKED)
    balance = deal.balance
    assert balance is not None
    means = list(balance.mean_score.values())
    say(
        f"62 barrows shared out by leafiness: {min(balance.loads.values())} or "
        f"{max(balance.loads.values())} loads a heap, heap means "
        f"{min(means):.0f} to {max(means):.0f} % leaf."
    )


def _work_and_rounds(book: Book, trial: Trial, say: Say) -> None:
    """Log what was done and read day by day, slips included, with one look on the way."""
    for job in ferncombe.work(trial, seed=_SEED):
        _log_work(book, trial, job)
    logged, looked = 0, False
    for number, (when, temps, air) in enumerate(_rounds(trial)):
        if (when - ferncombe.build_time(trial)).days in _MISSED_DAYS:
            continue
        if when > _LOOK and not looked:
            _look_early(book, trial.name, say)
            looked = True
        if number == _EXCHANGED_ROUND:
            temps = {**temps, "A": temps["F"], "F": temps["A"]}
        hot = max(temps, key=lambda name: temps[name][0])
        line = " ".join(f"{n} " + " ".join(f"{t:g}" for t in temps[n]) for n in temps)
        line += f" air {air:g}"
        answers: dict[str, str] = {}
        if number == _FAHRENHEIT_ROUND:
            core = temps[hot][0]
            line = line.replace(f"{hot} {core:g} ", f"{hot} {core * 1.8 + 32:.0f} ", 1)
            answers = _asked(book, trial, line, when, say, "F")
        if number == _EXCHANGED_ROUND:
            answers = _asked(book, trial, line, when, say, "as-written")
        log_round(
            book, trial.name, line, now=when, when=when, reader="Ada", probe="long", answers=answers
        )
        logged += 1
    say(f"{logged} rounds of {len(trial.heaps)} heaps logged; one week nobody came.")


def _log_work(book: Book, trial: Trial, job: ferncombe.Work) -> None:
    """One job; the turn of one day is done to the wrong heap and dated from memory."""
    meant, instead = _wrong_turn(trial)
    heap, when = job.heap, job.when.isoformat()
    day = (job.when - ferncombe.build_time(trial)).days + 1
    if job.what == "turned" and heap == meant and day == _WRONG_TURN_DAY:
        heap, when = instead, f"about {job.when:%Y-%m-%d}"
    log_event(
        book, trial.name, [heap], job.what, now=job.when, when=when, who=job.who,
        litres=None if job.water_l is None else f"{job.water_l:g}",
        minutes=None if job.minutes is None else f"{job.minutes:g}",
    )  # fmt: skip


def _rounds(trial: Trial) -> list[tuple[datetime, dict[str, list[float]], float]]:
    """The invented rounds, with one turn done to the wrong heap."""
    meant, instead = _wrong_turn(trial)
    planned = trial.way("turned").turn_ages_d(60)
    turns = {
        meant: tuple(age for age in planned if age != _WRONG_TURN_DAY),
        instead: (float(_WRONG_TURN_DAY),),
    }
    return ferncombe.rounds(trial, seed=_SEED, turns=turns)


def _wrong_turn(trial: Trial) -> tuple[str, str]:
    """The heap that should have been turned, and the one a helper turned instead."""
    turned = [h.name for h in trial.heaps if h.way == "turned"]
    alone = [h.name for h in trial.heaps if h.way == "left alone"]
    return turned[-1], alone[-1]


def _asked(
    book: Book, trial: Trial, line: str, when: datetime, say: Say, answer: str
) -> dict[str, str]:
    """Log a line with a slip in it: it is asked about; the answer, once without looking again."""
    try:
        log_round(book, trial.name, line, now=when, when=when, reader="Ada", probe="long")
    except QuestionError as asked:
        question = asked.questions[0]
        say(f"Asked on {_day(when)}: {question.text}")
        hasty = ", given in a hurry" if answer == "as-written" else ""
        say(f"  nothing was written until the answer: {question.key}={answer}{hasty}")
        return {question.key: answer}
    return {}


def _look_early(book: Book, name: str, say: Say) -> None:
    early = find(book, name, now=_LOOK)
    said = early.comparisons[0].sentence if early.comparisons else early.headline
    say(f"A look on {_day(_LOOK)}, before the end date: {said}")


def _mend(book: Book, trial: Trial, say: Say) -> None:
    """The exchanged round is noticed and mended: both versions stay in the history."""
    when = _rounds(trial)[_EXCHANGED_ROUND][0]
    done = exchange_heaps(
        book, trial.name, when, "A", "F", why="signs of A and F were exchanged that morning",
        now=_FOUND - timedelta(days=1),
    )  # fmt: skip
    say(
        f"On {_day(when)} A and F had been exchanged: {len(done.entries)} readings corrected, "
        "the old ones stay in the history."
    )


def _last_measures(book: Book, trial: Trial) -> None:
    """Volumes by tape at the build and at the end, invented."""
    rng = np.random.default_rng(_SEED + 2)
    built = ferncombe.build_time(trial)
    for heap in trial.heaps:
        assert heap.volume_m3 is not None
        first = heap.volume_m3.typical + rng.normal(0, 0.02)
        left = 0.62 if heap.way == "turned" else 0.72
        last = first * (left + rng.normal(0, 0.03))
        for moment, volume in ((built, first), (built + timedelta(days=55), last)):
            log_sample(
                book, trial.name, heap.name, "volume", f"{volume:.2f} m3", now=moment, when=moment,
                method="tape",
            )  # fmt: skip


def _say_findings(found: Findings, say: Say) -> None:
    say("")
    say(f"Findings on {_day(_FOUND)}:")
    for comparison in found.comparisons:
        say(f"  {comparison.sentence} [{comparison.claim}]")
    say(f"  {found.headline.rsplit('. ', 1)[-1]}")
    decides = found.record.plan.locked.decides
    for comparison in found.as_done:
        if comparison.outcome == decides:
            left = ", ".join(found.left_out)
            say(f"  As done, without {left}: {comparison.sentence} [{comparison.claim}]")
    for deviation in found.deviations:
        say(f"  Not as planned: {deviation.text}")
    say(f"  {found.fair_start.sentence}")
    say(f"  Looks before the end date: {found.looks_before_end}.")


def _day(moment: datetime) -> str:
    return f"{moment.day} {moment:%B}"
