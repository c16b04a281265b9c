"""Commands that enter and mend what stands in the book: log, import, history, correct and kin.

Conventions: ``heapwright log`` takes a pasted line at once; its first word decides whether it is
one of the named commands, something done (``covered A``) or a round. On a terminal questions are
asked there; otherwise they are printed, nothing is written, and the exit code is 3.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer
from typer.core import TyperGroup

from heapwright.cli.shared import BookOption, JsonOption, is_terminal, say, say_json, table
from heapwright.domain.entries import EVENT_KINDS
from heapwright.errors import InputError, QuestionError

if TYPE_CHECKING:
    from heapwright.services.importing import Imported
    from heapwright.services.log import Logged

__all__ = [
    "correct",
    "exchange",
    "history",
    "import_",
    "log_app",
    "restore",
    "withdraw",
]

T = TypeVar("T")
_FIRST_WORDS = {kind.split()[0] for kind in EVENT_KINDS} | {"note"}


class LogGroup(TyperGroup):
    """Commands of ``log``; a first word that is none of them begins an event or a round."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Put ``event`` or ``round`` in front of a line that names no command."""
        if args and args[0] not in self.commands and args[0] != "--help":
            words = args[0].lower().split()
            event = bool(words) and words[0] in _FIRST_WORDS and words[0] != "air"
            args = ["event" if event else "round", *args]
        return super().parse_args(ctx, args)


log_app = typer.Typer(
    cls=LogGroup,
    help='Enter a round ("A 52 48 55 B 41 44 40 air 12"), something done, a sample or the air.',
    no_args_is_help=True,
    rich_markup_mode=None,
)

TrialOption = Annotated[
    str | None, typer.Option("--trial", help="Name of the trial, if the book has several.")
]
WhenOption = Annotated[
    str | None,
    typer.Option("--when", help='"3 May 7:10", "yesterday", "about Tuesday"; now if left out.'),
]
AnswerOption = Annotated[
    list[str] | None,
    typer.Option("--answer", help="Answer to a question, as key=value; may stand many times."),
]
IdOption = Annotated[
    str | None, typer.Option("--id", help="Your own id; the same id twice is one entry.")
]
NewOption = Annotated[
    bool, typer.Option("--new", help="Take trial and heaps that have no plan as they come.")
]
NoteOption = Annotated[str, typer.Option("--note", help="Anything worth keeping, in words.")]
WhyOption = Annotated[str, typer.Option("--why", help="The reason; it stays with the change.")]
UnitOption = Annotated[
    str | None, typer.Option("--unit", help="C or F, for numbers without a mark.")
]
WhoOption = Annotated[str, typer.Option("--who", help="Who did it.")]
MinutesOption = Annotated[
    str | None, typer.Option("--minutes", help="Minutes of work or of the hose, for each heap.")
]
LitresOption = Annotated[
    str | None, typer.Option("--litres", help="Litres for each heap; other units may be written.")
]
FlowOption = Annotated[str | None, typer.Option("--flow", help="Flow of the hose, as 15 L/min.")]


def asked(act: Callable[[dict[str, str]], T], answers: list[str] | None) -> T:
    """``act(answers)``; on a terminal its questions are asked there until it can go on."""
    from heapwright.services.asking import read_answers

    known = read_answers(answers or [])
    while True:
        try:
            return act(known)
        except QuestionError as error:
            if not is_terminal():
                _print_questions(error)
                raise typer.Exit(error.exit_code) from None
            for question in error.questions:
                say(str(question))
                known[question.key] = typer.prompt(question.key, default=question.default)


def _print_questions(error: QuestionError) -> None:
    """All open questions on standard error, one a line, with the way to answer."""
    count = len(error.questions)
    lines = [
        f"heapwright: nothing was written; {count} question{'s' if count != 1 else ''} first:",
        *(f"  {question}" for question in error.questions),
        "Answer with --answer key=value for each.",
    ]
    if any(question.key.startswith("column.") for question in error.questions):
        from heapwright.exchange.roles import SIMPLE

        lines += [
            "--answer columns=suggested takes every suggested column, columns=named ignores those "
            "that no answer names.",
            f"A column is one of {', '.join(SIMPLE)}, reading:HEAP/SPOT, or a quantity with its "
            "unit, such as carbon_dm:% or mass_kg:kg@compost net.",
        ]
    sys.stderr.write("\n".join(lines) + "\n")


def _shown(logged: Logged, json_: bool, sentence: str) -> None:
    """Print what was written, with the first characters of the ids."""
    if json_:
        say_json(
            {
                "trial": logged.trial,
                "round": logged.round.id if logged.round else None,
                "ids": list(logged.ids),
                "new": logged.added.new,
                "known": logged.added.known,
                "remarks": list(logged.remarks),
            }
        )
        return
    for remark in logged.remarks:
        say(remark[:1].upper() + remark[1:] + ".")
    if logged.added.new == 0 and logged.added.known:
        say(
            f"Already in the book, nothing new was written: {sentence}. "
            "If it happened twice, give the time (--when) or an --id of its own."
        )
        return
    ids = [logged.round.id] if logged.round else list(logged.ids)
    shown = ", ".join(i[:8] for i in ids[:6]) + (" ..." if len(ids) > 6 else "")
    say(f"Written: {sentence}. Id {shown}.")


@log_app.command("round", context_settings={"ignore_unknown_options": True})
def round_(
    line: Annotated[list[str], typer.Argument(help="A 52 48 55 B 41 44 40 air 12")],
    trial: TrialOption = None,
    when: WhenOption = None,
    reader: Annotated[str, typer.Option("--reader", help="Who read.")] = "",
    probe: Annotated[str, typer.Option("--probe", help="Name of the probe.")] = "",
    unit: UnitOption = None,
    answer: AnswerOption = None,
    id_: IdOption = None,
    new: NewOption = False,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Enter one probe round: heaps with their readings in the order of the spots, and the air."""
    from heapwright.services.log import log_round
    from heapwright.services.settings import now, open_book

    with open_book(book, create=new) as opened:
        logged = asked(
            lambda answers: log_round(
                opened, trial, " ".join(line), now=now(), when=when, reader=reader, probe=probe,
                unit=unit, answers=answers, entry_id=id_, new=new,
            ),
            answer,
        )  # fmt: skip
    heaps = sorted({e.heap for e in logged.entries if e.heap})
    count = sum(1 for e in logged.entries if e.kind == "reading")
    air = " and the air" if any(e.kind == "weather" for e in logged.entries) else ""
    plural = "s" if count != 1 else ""
    _shown(logged, json_, f"round with {count} reading{plural} of {', '.join(heaps) or '-'}{air}")


@log_app.command("event")
def event(
    words: Annotated[
        list[str], typer.Argument(help="What was done and to which heaps: turned A B, covered all.")
    ],
    trial: TrialOption = None,
    when: WhenOption = None,
    litres: LitresOption = None,
    minutes: MinutesOption = None,
    flow: FlowOption = None,
    who: WhoOption = "",
    note: NoteOption = "",
    id_: IdOption = None,
    new: NewOption = False,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Enter something done: built, turned, watered, covered, vent opened, lost, note ..."""
    what, heaps = _what_and_heaps(" ".join(words).split() if len(words) == 1 else words)
    _event(heaps, what, trial, when, litres, minutes, flow, who, note, id_, new, book, json_)


def _what_and_heaps(words: list[str]) -> tuple[str, list[str]]:
    """What was done, at the beginning or the end of the words, and the heaps."""
    from heapwright.services.doings import event_kind

    for take in (2, 1):
        for what, heaps in ((words[:take], words[take:]), (words[-take:], words[:-take])):
            try:
                return event_kind(" ".join(what)), heaps
            except InputError:
                continue
    return event_kind(words[0]), words[1:]


def _event(
    heaps: list[str], what: str, trial: str | None, when: str | None, litres: str | None,
    minutes: str | None, flow: str | None, who: str, note: str, id_: str | None, new: bool,
    book: str | None, json_: bool,
) -> None:  # fmt: skip
    from heapwright.services.doings import event_kind, log_event
    from heapwright.services.settings import now, open_book

    with open_book(book, create=new) as opened:
        logged = log_event(
            opened, trial, heaps, what, now=now(), when=when, litres=litres, minutes=minutes,
            flow=flow, who=who, note=note, entry_id=id_, new=new,
        )  # fmt: skip
    first = logged.entries[0]
    vague = "" if first.when.exact else f" ({first.when.typed})"
    heaps_said = ", ".join(e.heap for e in logged.entries)
    _shown(logged, json_, f"{heaps_said} {event_kind(what)}{vague}")


@log_app.command("turned")
def turned(
    heaps: Annotated[list[str], typer.Argument(help="Names of heaps, or all.")],
    trial: TrialOption = None,
    when: WhenOption = None,
    minutes: MinutesOption = None,
    who: WhoOption = "",
    note: NoteOption = "",
    id_: IdOption = None,
    new: NewOption = False,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Enter that heaps were turned."""
    _event(heaps, "turned", trial, when, None, minutes, None, who, note, id_, new, book, json_)


@log_app.command("watered")
def watered(
    heaps: Annotated[list[str], typer.Argument(help="Names of heaps, or all.")],
    trial: TrialOption = None,
    when: WhenOption = None,
    litres: LitresOption = None,
    minutes: MinutesOption = None,
    flow: FlowOption = None,
    who: WhoOption = "",
    note: NoteOption = "",
    id_: IdOption = None,
    new: NewOption = False,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Enter that heaps were watered: litres, or minutes of a hose whose flow is known."""
    _event(heaps, "watered", trial, when, litres, minutes, flow, who, note, id_, new, book, json_)


@log_app.command("sample", context_settings={"ignore_unknown_options": True})
def sample(
    heap: Annotated[str, typer.Argument(help="Name of the heap.")],
    quantity: Annotated[str, typer.Argument(help="moisture, carbon, nitrogen, volume, mass ...")],
    value: Annotated[list[str], typer.Argument(help='With its unit: "45 %", "1.1 m3", "3 ft".')],
    trial: TrialOption = None,
    when: WhenOption = None,
    part: Annotated[str, typer.Option("--part", help="Which part of the heap.")] = "whole",
    method: Annotated[str, typer.Option("--method", help="How it was measured.")] = "",
    basis: Annotated[str, typer.Option("--basis", help="wet or dry; moisture is kept wet.")] = "",
    note: NoteOption = "",
    id_: IdOption = None,
    new: NewOption = False,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Enter what a kitchen or laboratory test of a heap gave."""
    from heapwright.services.doings import log_sample
    from heapwright.services.mend import describe
    from heapwright.services.settings import now, open_book

    with open_book(book, create=new) as opened:
        logged = log_sample(
            opened, trial, heap, quantity, " ".join(value), now=now(), when=when, part=part,
            method=method, basis=basis, note=note, entry_id=id_, new=new,
        )  # fmt: skip
    _shown(logged, json_, f"sample {describe(logged.entries[0])}")


@log_app.command("air", context_settings={"ignore_unknown_options": True})
def air(
    value: Annotated[list[str], typer.Argument(help="Air temperature in the shade, as 12 or 54F.")],
    trial: TrialOption = None,
    when: WhenOption = None,
    unit: UnitOption = None,
    answer: AnswerOption = None,
    id_: IdOption = None,
    new: NewOption = False,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Enter the temperature of the air beside the heaps."""
    from heapwright.services.log import log_air
    from heapwright.services.mend import describe
    from heapwright.services.settings import now, open_book

    with open_book(book, create=new) as opened:
        logged = asked(
            lambda answers: log_air(
                opened, trial, " ".join(value), now=now(), when=when, unit=unit, answers=answers,
                entry_id=id_, new=new,
            ),
            answer,
        )  # fmt: skip
    _shown(logged, json_, describe(logged.entries[0]) if logged.entries else "no reading")


# --- import --------------------------------------------------------------------------------------


def import_(
    file: Annotated[Path, typer.Argument(help="A sheet or logger file: CSV, TSV, semicolons.")],
    trial: TrialOption = None,
    answer: AnswerOption = None,
    where: Annotated[
        list[str] | None,
        typer.Option("--where", help="Take only rows with column=value; may stand many times."),
    ] = None,
    when: Annotated[
        str | None, typer.Option("--when", help="Time of all rows, if the sheet has no time.")
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would be written.")] = False,
    ask_again: Annotated[
        bool, typer.Option("--ask-again", help="Do not use the answers kept for this header.")
    ] = False,
    new: NewOption = False,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Read a sheet or logger file into the book; what is not certain is asked first."""
    from heapwright.services.asking import read_answers
    from heapwright.services.importing import import_sheet
    from heapwright.services.settings import now, open_book

    extra = {f"where.{k}": v for k, v in read_answers(where or []).items()}
    if when is not None:
        extra["when"] = when
    with open_book(book, create=new) as opened:
        done = asked(
            lambda answers: import_sheet(
                opened, file, trial, answers=answers | extra, now=now(), dry_run=dry_run,
                new=new, ask_again=ask_again,
            ),
            answer,
        )  # fmt: skip
    if json_:
        say_json(done.as_dict())
        return
    _say_import(done)


def _say_import(done: Imported) -> None:
    for line in done.lines():
        say(line)


# --- mending -------------------------------------------------------------------------------------

IdArgument = Annotated[str, typer.Argument(help="Id of the entry, or its first characters.")]


def history(
    id_: Annotated[
        str | None, typer.Argument(metavar="[ID]", help="One entry; all if left out.")
    ] = None,
    trial: TrialOption = None,
    heap: Annotated[str | None, typer.Option("--heap", help="Only this heap.")] = None,
    changed: Annotated[
        bool, typer.Option("--changed", help="Only entries that were changed later.")
    ] = False,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Show every version of what was entered: what, when, by whom, and why it was changed."""
    from heapwright.services import mend
    from heapwright.services.settings import open_book

    with open_book(book, create=False) as opened:
        rows = mend.history(opened, trial, entry_id=id_, heap=heap, changed=changed)
    if json_:
        say_json([r.as_dict() for r in rows])
        return
    table(
        ["id", "version", "when", "what", "typed", "action", "why", "by", "recorded"],
        [
            [
                r.entry.id[:8],
                f"{r.entry.trail.version}{'' if r.current else ' old'}",
                _when_words(r.entry),
                r.what,
                f"{r.entry.typed} {getattr(r.entry, 'typed_unit', '')}".strip(),
                r.entry.trail.action,
                r.entry.trail.why,
                mend.who(r.entry),
                f"{r.entry.trail.recorded:%Y-%m-%d %H:%M}" if r.entry.trail.recorded else "",
            ]
            for r in rows
        ],
    )
    say(f"{len(rows)} rows, times in UTC. Nothing is ever deleted: old rows stay, uncounted.")


def _when_words(entry: Any) -> str:
    when = entry.when
    if when.exact:
        return f"{when.low:%Y-%m-%d %H:%M}"
    return f"{when.low:%Y-%m-%d %H:%M} to {when.high:%Y-%m-%d %H:%M}"


def correct(
    id_: Annotated[str, typer.Argument(metavar="ID", help="Id, or its first characters.")],
    value: Annotated[
        str | None, typer.Argument(help='The right value, as 55, "131 F" or "45 %".')
    ] = None,
    why: WhyOption = "",
    heap: Annotated[str | None, typer.Option("--heap", help="The right heap.")] = None,
    when: Annotated[str | None, typer.Option("--when", help="The right time.")] = None,
    litres: LitresOption = None,
    minutes: MinutesOption = None,
    trial: TrialOption = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Correct an entry; the old version stays in the history."""
    from heapwright.services import mend
    from heapwright.services.settings import now, open_book

    with open_book(book, create=False) as opened:
        made = mend.correct(
            opened, trial, id_, value, why=why, now=now(), heap=heap, when=when, litres=litres,
            minutes=minutes,
        )  # fmt: skip
    _mended(made, "Corrected", json_)


def withdraw(
    id_: Annotated[str, typer.Argument(metavar="ID", help="Id, or its first characters.")],
    why: WhyOption = "",
    trial: TrialOption = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Take an entry out of account; it stays in the history and can be restored."""
    from heapwright.services import mend
    from heapwright.services.settings import now, open_book

    with open_book(book, create=False) as opened:
        made = mend.withdraw(opened, trial, id_, why=why, now=now())
    _mended(made, "Withdrawn", json_)


def restore(
    id_: Annotated[str, typer.Argument(metavar="ID", help="Id, or its first characters.")],
    why: WhyOption = "",
    trial: TrialOption = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Count a withdrawn entry again."""
    from heapwright.services import mend
    from heapwright.services.settings import now, open_book

    with open_book(book, create=False) as opened:
        made = mend.restore(opened, trial, id_, why=why, now=now())
    _mended(made, "Restored", json_)


def exchange(
    round_id: Annotated[
        str, typer.Argument(metavar="ROUND", help="Id of the round, or its day or time.")
    ],
    heap_a: Annotated[str, typer.Argument(help="One heap.")],
    heap_b: Annotated[str, typer.Argument(help="The other heap.")],
    why: WhyOption = "",
    trial: TrialOption = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Exchange the readings of two heaps in one round, when their names were swapped."""
    from heapwright.services import mend
    from heapwright.services.settings import now, open_book

    with open_book(book, create=False) as opened:
        done = mend.exchange_heaps(opened, trial, round_id, heap_a, heap_b, why=why, now=now())
    if json_:
        say_json({"ids": [e.id for e in done.entries], "heaps": list(done.heaps)})
        return
    a, b = done.heaps
    count = len(done.entries)
    moment = f"{done.when:%Y-%m-%d %H:%M} UTC"
    say(f"Exchanged {a} and {b} in the round of {moment}: {count} corrections.")


def _mended(entry: Any, word: str, json_: bool) -> None:
    from heapwright.services.mend import HistoryRow, describe

    if json_:
        say_json(HistoryRow(entry, entry.trail.action != "withdrawn").as_dict())
        return
    say(
        f"{word}: {describe(entry)}, version {entry.trail.version} of {entry.trail.root[:8]} "
        f"({entry.trail.why}). Id {entry.id[:8]}."
    )
