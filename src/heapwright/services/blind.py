"""Judging blind: labels in place of heaps, scores by label, and the heaps only when all are in.

Units: scores 1 to 5 for smell and look, 0 to 3 for bean pots. Conventions: labels are drawn from a
stored seed; the key, the scores and the opening are notes of the first heap of the trial, so that
nothing is kept beside the book and nothing can be changed unseen; the judge's sheet never holds the
key. Samples of heaps are written only when a round is opened, and it opens only when complete.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from heapwright.domain.entries import Entry, Event, Sample, Trail
from heapwright.domain.names import one_of
from heapwright.domain.when import When
from heapwright.errors import EntryError, InputError, NotEnoughError, UnknownNameError
from heapwright.reports.part import Grid, Part
from heapwright.science import finish
from heapwright.services.finishentry import SIGNS
from heapwright.services.log import made_id
from heapwright.services.yard import yard_of
from heapwright.store.book import Book

__all__ = [
    "ABOUT",
    "CONTROL",
    "BlindRound",
    "Unit",
    "blind_part",
    "blind_rounds",
    "deal_labels",
    "enter_scores",
    "enter_sheet",
    "key_part",
    "open_round",
    "round_part",
]

#: What can be judged blind, by its word, with the quantity it is kept as.
ABOUT: Mapping[str, str] = {"smell": "smell_score", "look": "look_score", "beans": "bean_signs"}
#: What stands in place of a heap for pots without compost.
CONTROL = "control"
_MARK = "blind judging"
_MOST = 60


@dataclass(frozen=True, slots=True)
class Unit:
    """One thing with a label: a bag of a heap's compost, or a pot; of "control" or of a heap."""

    label: str
    of: str


@dataclass(frozen=True, slots=True)
class BlindRound:
    """One round of blind judging.

    number : from 1; about : words of `ABOUT`; units : the key; seed; scores : by label and word;
    judge : who scored; opened : whether the heaps were told; dealt : when.
    """

    number: int
    about: tuple[str, ...]
    units: tuple[Unit, ...]
    seed: int
    scores: Mapping[str, Mapping[str, str]]
    judge: str
    opened: bool
    dealt: datetime

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels as they stand on the sheet, in their own order, which says nothing of heaps."""
        return tuple(sorted(u.label for u in self.units))

    @property
    def missing(self) -> tuple[str, ...]:
        """Labels without every score."""
        return tuple(
            label for label in self.labels
            if any(about not in self.scores.get(label, {}) for about in self.about)
        )  # fmt: skip

    @property
    def key_told(self) -> Mapping[str, str]:
        """Heap by label; empty before the round is opened."""
        return {u.label: u.of for u in self.units} if self.opened else {}


# --- dealing --------------------------------------------------------------------------------------


def deal_labels(
    book: Book,
    trial: str | None,
    *,
    now: datetime,
    about: Sequence[str] = ("smell", "look"),
    heaps: Sequence[str] = (),
    pots: int = 1,
    controls: int = 0,
    seed: int | None = None,
    who: str = "",
) -> BlindRound:
    """Draw a label for each heap (or pot) and keep the key in the book.

    Parameters
    ----------
    about : sequence of str
        Words of `ABOUT`; ``beans`` stands alone, because its labels are pots.
    heaps : sequence of str
        Names; all heaps of the trial if empty.
    pots, controls : int
        Pots of each heap, and pots without compost; for beans.
    seed : int, optional
        Of the draw; from the moment if left out. It is stored.

    Raises
    ------
    InputError, UnknownNameError
        Words, heaps or counts that cannot stand, or a round that is still closed.
    """
    yard = yard_of(book, trial)
    known = {word: word for word in ABOUT}
    words = tuple(dict.fromkeys(one_of("about", w, known) for w in about))
    if not words or ("beans" in words and len(words) > 1):
        raise InputError(
            "beans are judged pot by pot, smell and look bag by bag", field="about",
            value=", ".join(about), way_out="Deal beans by themselves",
        )  # fmt: skip
    names = [yard.heap(h) for h in heaps] or list(yard.heaps)
    names = list(dict.fromkeys(names))
    if "beans" not in words:
        pots, controls = 1, 0
    elif not 1 <= pots <= 20 or not int(finish.number("control_pots").value) <= controls <= 20:
        raise InputError(
            "a bean test has 1 to 20 pots a heap and at least 3 control pots", field="pots",
            value=f"{pots} and {controls} controls", way_out="For instance 3 and 3 controls",
        )  # fmt: skip
    of = [h for h in names for _ in range(pots)] + [CONTROL] * controls
    if not 2 <= len(of) <= _MOST or not names:
        raise InputError(
            "there must be 2 to 60 things to judge, or a label hides nothing", field="heaps",
            value=len(of), way_out="Name two heaps at least",
        )  # fmt: skip
    rounds = blind_rounds(book, yard.trial)
    shut = [r for r in rounds if not r.opened and set(r.about) & set(words)]
    if shut:
        raise InputError(
            f"round {shut[-1].number} is not opened yet, and two keys at once mix up labels",
            field="about", value=", ".join(words),
            way_out="Score all its labels and open it first, or withdraw its note from the book",
        )  # fmt: skip
    number = max((r.number for r in rounds), default=0) + 1
    drawn = int(now.timestamp()) if seed is None else seed
    rng = np.random.default_rng([drawn, number])
    labels = rng.choice(np.arange(100, 1000), size=len(of), replace=False)
    units = tuple(Unit(f"{label}", heap) for label, heap in zip(labels, of, strict=True))
    _note(
        book, yard.trial, yard.heaps[0], number, now, who=who,
        said={"about": list(words), "seed": drawn, "key": {u.label: u.of for u in units}},
        words="the key, not for whoever judges",
    )  # fmt: skip
    return BlindRound(number, words, units, drawn, {}, "", False, now)


def blind_rounds(book: Book, trial: str) -> tuple[BlindRound, ...]:
    """Every round of a trial, the first first, read back from its notes.

    A key note that was withdrawn takes its round with it; a withdrawn score may be given again.
    """
    keys: dict[int, tuple[Event, dict[str, Any]]] = {}
    scores: dict[int, dict[str, dict[str, str]]] = {}
    judges: dict[int, str] = {}
    opened: set[int] = set()
    for event in sorted(book.current("event", trial), key=lambda e: e.when.middle):
        number, said = _read(event)
        if number is None:
            continue
        if "key" in said:
            keys[number] = (event, said)
        for label, given in said.get("scores", {}).items():
            scores.setdefault(number, {}).setdefault(label, {}).update(given)
            judges[number] = event.who or judges.get(number, "")
        if "opened" in said:
            opened.add(number)
    return tuple(
        BlindRound(
            number, tuple(said["about"]),
            tuple(Unit(label, of) for label, of in said["key"].items()), int(said["seed"]),
            scores.get(number, {}), judges.get(number, ""), number in opened, event.when.middle,
        )
        for number, (event, said) in sorted(keys.items())
    )  # fmt: skip


# --- scoring and opening --------------------------------------------------------------------------


def enter_scores(
    book: Book,
    trial: str | None,
    typed: Mapping[str, str],
    *,
    now: datetime,
    about: str | None = None,
    number: int | None = None,
    who: str = "",
) -> BlindRound:
    """Enter scores by label: ``{"417": "4", "203": "2"}``, of one thing judged.

    Parameters
    ----------
    typed : mapping of str to str
        By label; smell and look 1 to 5, beans none to severe or 0 to 3. Empty ones are left out.
    about : str, optional
        Which, where the round judges more than one.
    number : int, optional
        The round; the last that is closed if left out.

    Raises
    ------
    EntryError
        A label that is not of the round, a score that cannot stand, one given before, or a round
        that was opened: nothing of the call is written.
    NotEnoughError
        No round was dealt.
    """
    yard = yard_of(book, trial)
    found = _round(book, yard.trial, number)
    if about is None and len(found.about) > 1:
        raise EntryError(
            f"round {found.number} judges {' and '.join(found.about)}", field="about",
            way_out=f"Say which: {' or '.join(found.about)}",
        )  # fmt: skip
    word = one_of("about", about or found.about[0], {w: w for w in found.about})
    return enter_sheet(book, yard.trial, {word: typed}, now=now, number=found.number, who=who)


def enter_sheet(
    book: Book,
    trial: str | None,
    sheet: Mapping[str, Mapping[str, str]],
    *,
    now: datetime,
    number: int | None = None,
    who: str = "",
) -> BlindRound:
    """Enter a whole sheet: by word of `ABOUT`, what was typed by label; all of it or nothing.

    Errors as in `enter_scores`.
    """
    yard = yard_of(book, trial)
    found = _round(book, yard.trial, number)
    if found.opened:
        raise _told(found)
    kept: dict[str, dict[str, str]] = {}
    given = 0
    for about, typed in sheet.items():
        word = one_of("about", about, {w: w for w in found.about})
        for label, text in typed.items():
            if text.strip():
                given += 1
                score = _new_score(found, word, label.strip(), text.strip())
                if score is not None:
                    kept.setdefault(label.strip(), {})[word] = score
    if not given:
        raise EntryError("no score was given", field="score", way_out="Give a label its score")
    if kept:
        _note(
            book, yard.trial, yard.heaps[0], found.number, now, who=who, said={"scores": kept},
            words="scores by label, about no heap yet",
        )  # fmt: skip
    return _round(book, yard.trial, found.number)


def _told(found: BlindRound) -> EntryError:
    return EntryError(
        "the heaps of this round were told, so nothing of it is blind any more",
        field="round", value=found.number, way_out="Deal another round",
    )  # fmt: skip


def _new_score(found: BlindRound, word: str, label: str, text: str) -> str | None:
    """A score to keep; None where the same one stands already. Raises `EntryError`."""
    if label not in found.labels:
        raise EntryError(
            f"round {found.number} has no such label", field="label", value=label,
            way_out="Its labels: " + ", ".join(found.labels),
        )  # fmt: skip
    score = _score(word, text, label)
    before = found.scores.get(label, {}).get(word)
    if before is not None and before != score:
        raise EntryError(
            f"{word} of label {label} was scored {before} before", field="score", value=text,
            way_out="Withdraw the note with that score from the book, with the reason, and score "
            "it again",
        )  # fmt: skip
    return score if before is None else None


def open_round(
    book: Book,
    trial: str | None,
    *,
    now: datetime,
    number: int | None = None,
    control_up: str = "",
    who: str = "",
) -> tuple[BlindRound, tuple[Sample, ...]]:
    """Tell which label was which heap, and write the scores down as samples of the heaps.

    Parameters
    ----------
    number : int, optional
        The round; the last that is closed if left out.
    control_up : str, optional
        Beans that came up in the control pots out of those sown, as ``9/9``.

    Raises
    ------
    NotEnoughError
        Scores are missing; the labels are named, the heaps not.
    EntryError
        It was opened before, or the beans of the control cannot be read.
    """
    yard = yard_of(book, trial)
    found = _round(book, yard.trial, number)
    if found.opened:
        raise EntryError("this round was opened before", field="round", value=found.number)
    if found.missing:
        raise NotEnoughError(
            f"scores are missing, and the heaps are told when all are in: {len(found.missing)} of "
            f"{len(found.labels)} labels", field="round", value=found.number,
            way_out="Score " + ", ".join(found.missing),
        )  # fmt: skip
    method = f"blind, round {found.number}"
    made: list[Sample] = []
    when = When.instant(now)
    for heap in dict.fromkeys(u.of for u in found.units if u.of != CONTROL):
        labels = [u.label for u in found.units if u.of == heap]
        for word in found.about:
            typed, value = _sample_of(found, heap, word, control_up)
            made.append(
                Sample(
                    made_id("blind", yard.trial.lower(), str(found.number), heap.lower(), word),
                    yard.trial, heap, when, ABOUT[word], value, typed=typed, method=method,
                    note=f"label {', '.join(labels)}"
                    + (f", judged by {found.judge}" if found.judge else ""),
                    trail=Trail("", source="blind"),
                )
            )  # fmt: skip
    opening = _event(
        yard.trial, yard.heaps[0], found.number, now, who=who, said={"opened": True},
        words="opened: " + ", ".join(f"{u.label} was {u.of}" for u in found.units),
    )  # fmt: skip
    entries: list[Entry] = [*made, opening]
    book.add(entries, now=now)
    return _round(book, yard.trial, found.number), tuple(made)


def _sample_of(found: BlindRound, heap: str, word: str, control_up: str) -> tuple[str, float]:
    """Text and value of one heap's sample."""
    from heapwright.services.finishentry import read_test

    mine = [found.scores[u.label][word] for u in found.units if u.of == heap]
    if word != "beans":
        return mine[0], float(mine[0])
    control = [found.scores[u.label][word] for u in found.units if u.of == CONTROL]
    text = f"{' '.join(mine)}, control {' '.join(control)}"
    if control_up.strip():
        text += f", control up {control_up.strip()}"
    return text, read_test("bean_signs", text, field="control up")[0]


def _score(word: str, text: str, label: str) -> str:
    """A score as it is kept; raises `EntryError`."""
    if word == "beans":
        low = text.lower()
        if low in SIGNS:
            return low
        if low in ("0", "1", "2", "3"):
            return SIGNS[int(low)]
        raise EntryError(
            f"label {label} is scored none, slight, moderate or severe", field="score", value=text,
            way_out="Or 0, 1, 2, 3",
        )  # fmt: skip
    if text in ("1", "2", "3", "4", "5"):
        return text
    raise EntryError(
        f"{word} of label {label} is scored 1 to 5",
        field="score",
        value=text,
        way_out=finish.assay(ABOUT[word]).how,
    )


def _round(book: Book, trial: str, number: int | None) -> BlindRound:
    """A round by its number; for None the last that is closed, else the last."""
    rounds = blind_rounds(book, trial)
    if not rounds:
        raise NotEnoughError(
            "no labels were dealt yet", field="round", way_out="Deal labels first",
        )  # fmt: skip
    if number is None:
        closed = [r for r in rounds if not r.opened]
        return (closed or list(rounds))[-1]
    for found in rounds:
        if found.number == number:
            return found
    raise UnknownNameError(
        "there is no round of that number", field="round", value=number,
        way_out="Known: " + ", ".join(str(r.number) for r in rounds),
    )  # fmt: skip


# --- notes ----------------------------------------------------------------------------------------


def _event(
    trial: str, heap: str, number: int, now: datetime, *, who: str, said: Mapping[str, Any],
    words: str,
) -> Event:  # fmt: skip
    """A note of a round: words for a reader, and after the bar what is read back."""
    text = json.dumps({"round": number, **said}, separators=(",", ":"))
    note = f"{_MARK} {number}: {words} | {text}"
    return Event(
        made_id("event", "blind", trial.lower(), now.isoformat(), text), trial, heap,
        When.instant(now), "note", who=who.strip(), note=note, trail=Trail("", source="blind"),
    )  # fmt: skip


def _note(
    book: Book, trial: str, heap: str, number: int, now: datetime, *, who: str,
    said: Mapping[str, Any], words: str,
) -> None:  # fmt: skip
    book.add([_event(trial, heap, number, now, who=who, said=said, words=words)], now=now)


def _read(event: Event) -> tuple[int | None, dict[str, Any]]:
    """Number and content of a note of a round; (None, {}) for any other entry."""
    if event.what != "note" or not event.note.startswith(_MARK) or "| {" not in event.note:
        return None, {}
    try:
        said = json.loads(event.note.partition("| ")[2])
        number = int(said["round"])
        if "key" in said and not (isinstance(said["key"], dict) and said["about"] and
                                  int(said["seed"]) >= 0):  # fmt: skip
            return None, {}
    except (ValueError, KeyError, TypeError):
        return None, {}
    return number, said


# --- shown ----------------------------------------------------------------------------------------


def blind_part(found: BlindRound, trial: str) -> Part:
    """A round as command and page show it: how to do it, labels, and the heaps once it is open."""
    done = len(found.labels) - len(found.missing)
    words = [
        f"Round {found.number}: {done} of {len(found.labels)} labels are scored"
        + ("; it is open." if found.opened else ", and the heaps are told when all are.")
    ]
    heads = ("label", *found.about, *(("it was",) if found.opened else ()))
    rows = [
        (label, *(found.scores.get(label, {}).get(w, "") for w in found.about),
         *((found.key_told[label],) if found.opened else ()))
        for label in found.labels
    ]  # fmt: skip
    how = [f"{w.capitalize()}: {_scale(w)}" for w in found.about]
    return Part(
        title=f"Judging blind, round {found.number}",
        words=words,
        grids=(Grid("Sheet", heads, rows),),
        known=(
            *how,
            "Whoever fills the bags or pots writes the labels on them from the key and does not "
            "judge; whoever judges does not look into the book.",
            f"Labels were drawn with the seed {found.seed}; the key stands in the book."
            if found.opened else "The key stands in the book, in a note of its first heap.",
        ),
        numbers={
            "trial": trial, "round": found.number, "about": list(found.about),
            "labels": list(found.labels), "missing": list(found.missing), "opened": found.opened,
            "scores": {label: dict(given) for label, given in found.scores.items()},
            "key": dict(found.key_told), "seed": found.seed if found.opened else None,
        },
    )  # fmt: skip


def _scale(word: str) -> str:
    return finish.assay(ABOUT[word]).how.removeprefix("Judged blind: ") if word != "beans" else (
        "none, slight (new leaves cupped), moderate, or severe (most cupped, stem twisted)"
    )  # fmt: skip


def key_part(book: Book, trial: str | None, *, number: int | None = None) -> Part:
    """Which label is which, for whoever fills bags or pots and does not judge."""
    yard = yard_of(book, trial)
    found = _round(book, yard.trial, number)
    rows = [(u.of, u.label) for u in sorted(found.units, key=lambda u: (u.of == CONTROL, u.of))]
    return Part(
        title=f"The key of round {found.number}",
        words=("For whoever fills the bags or pots. Whoever judges must not see it.",),
        grids=(Grid("", ("heap", "label"), rows),),
        numbers={"trial": yard.trial, "round": found.number,
                 "key": {u.label: u.of for u in found.units}},
    )  # fmt: skip


def round_part(book: Book, trial: str | None, *, number: int | None = None) -> Part:
    """A round as it stands; the last that is closed if no number is given."""
    yard = yard_of(book, trial)
    return blind_part(_round(book, yard.trial, number), yard.trial)
