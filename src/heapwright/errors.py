"""Every error a user of Heapwright can meet.

The tree::

    HeapwrightError                   anything we say on purpose; never a traceback for users
    ├── InputError          exit 2    what was typed cannot stand
    │   ├── QuantityError             a number or its unit
    │   ├── PlanError                 a plan file: file, line, key, value
    │   ├── TableError                somebody's sheet: file, row, column, value
    │   ├── EntryError                a reading, event or sample
    │   └── UnknownNameError          no such heap, way, spot, material or trial
    ├── ImpossibleError     exit 2    the wish cannot be met, and why
    ├── NotEnoughError      exit 2    the record does not carry the answer asked for
    ├── BookError           exit 2    the book itself: missing, busy, newer than this program
    │   ├── LockedError               a locked part of a plan would change
    │   └── ConflictError             an id comes back with other content
    └── QuestionError       exit 3    an answer is needed first; nothing was written

Conventions: every error names the field, the value and the way out, and prints as one message.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = [
    "BookError",
    "ConflictError",
    "EntryError",
    "HeapwrightError",
    "ImpossibleError",
    "InputError",
    "LockedError",
    "NotEnoughError",
    "PlanError",
    "QuantityError",
    "Question",
    "QuestionError",
    "TableError",
    "UnknownNameError",
    "sentence",
]


class HeapwrightError(Exception):
    """Anything Heapwright says on purpose.

    Parameters
    ----------
    what : str
        What was read and why it cannot stand, in one sentence.
    field : str, optional
        The name of the key, column or argument.
    value : object, optional
        What was found there, as it was typed.
    way_out : str, optional
        What to do instead, in one sentence.
    where : str, optional
        File and line, or row and column.

    Examples
    --------
    >>> str(InputError("0.9 is too short", field="depth", value="0.9", way_out="Write 40 cm."))
    'depth = 0.9: 0.9 is too short. Write 40 cm.'
    """

    exit_code = 2

    def __init__(
        self,
        what: str,
        *,
        field: str | None = None,
        value: object = None,
        way_out: str | None = None,
        where: str | None = None,
    ) -> None:
        self.what = what
        self.field = field
        self.value = value
        self.way_out = way_out
        self.where = where
        super().__init__(self.message)

    @property
    def message(self) -> str:
        """The whole message on one line: where, field = value: what. Way out."""
        parts = []
        if self.where:
            parts.append(f"{self.where}:")
        if self.field is not None:
            named = self.field if self.value is None else f"{self.field} = {self.value}"
            parts.append(f"{named}:")
        parts.append(_ended(self.what))
        if self.way_out:
            parts.append(_ended(self.way_out))
        return " ".join(parts)

    def at(self, where: str, *, field: str | None = None) -> HeapwrightError:
        """The same error, with its place (and field, if it had none) filled in."""
        return type(self)(
            self.what,
            field=field or self.field,
            value=self.value,
            way_out=self.way_out,
            where=where,
        )


class InputError(HeapwrightError):
    """What was typed cannot stand."""


class QuantityError(InputError):
    """A number or its unit cannot be read, or is outside its range."""


class PlanError(InputError):
    """A plan file holds something that cannot be carried out."""


class TableError(InputError):
    """A sheet or logger file cannot be read as asked."""


class EntryError(InputError):
    """A reading, event or sample cannot be entered."""


class UnknownNameError(InputError):
    """There is no heap, way, spot, material or trial of that name."""


class ImpossibleError(HeapwrightError):
    """The wish cannot be met with what there is; the message says why."""


class NotEnoughError(HeapwrightError):
    """The record does not carry the answer asked for; names what would."""


class BookError(HeapwrightError):
    """The book is missing, busy, damaged or newer than this program."""


class LockedError(BookError):
    """A part of the plan that was locked at the start would change."""


class ConflictError(BookError):
    """An entry comes back under a known id with other content."""


@dataclass(frozen=True, slots=True)
class Question:
    """One thing that must be answered before anything is written.

    key : what to give to ``--answer key=value``; text : the question; choices : allowed
    answers (empty: free text); default : never applied by itself, only suggested.
    """

    key: str
    text: str
    choices: tuple[str, ...] = ()
    default: str | None = None

    def __str__(self) -> str:
        offered = f" [{' / '.join(self.choices)}]" if self.choices else ""
        hint = f" (suggested: {self.default})" if self.default else ""
        return f"{self.key}: {self.text}{offered}{hint}"


class QuestionError(HeapwrightError):
    """An answer is needed first; nothing was written.

    ``questions`` holds what to answer with ``--answer key=value``.
    """

    exit_code = 3

    def __init__(
        self,
        questions: Sequence[Question],
        *,
        way_out: str = "Nothing was written. Answer with --answer key=value",
    ) -> None:
        self.questions = tuple(questions)
        super().__init__("; ".join(str(q) for q in self.questions), way_out=way_out)


def _ended(text: str) -> str:
    """*text* with a full stop, unless it already ends a sentence."""
    text = text.strip()
    return text if text.endswith((".", "?", "!")) else text + "."


def sentence(text: str) -> str:
    """*text* as a sentence: a capital first, and a full stop unless it already ends one.

    >>> sentence("the pipe is plugged"), sentence("Is it?")
    ('The pipe is plugged.', 'Is it?')
    """
    return _ended(text[:1].upper() + text[1:])
