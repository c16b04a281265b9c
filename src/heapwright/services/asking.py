"""Questions that must be answered before anything is written, gathered so that all come at once.

Conventions: an answer is never applied by itself; a suggestion only lets the search for further
questions go on. Answers that nothing asks for are errors, because they are mistyped keys.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from heapwright.errors import EntryError, Question, QuestionError

__all__ = ["Asker", "read_answers"]


def read_answers(typed: Iterable[str]) -> dict[str, str]:
    """``key=value`` texts as a mapping; raises `EntryError` for anything else.

    >>> read_answers(["A.core=F", "heap=revol+rep"])
    {'A.core': 'F', 'heap': 'revol+rep'}
    """
    answers: dict[str, str] = {}
    for text in typed:
        key, equals, value = text.partition("=")
        if not equals or not key.strip() or not value.strip():
            raise EntryError(
                "an answer is written key=value",
                field="--answer",
                value=repr(text),
                way_out="For instance --answer unit=F",
            )
        if answers.setdefault(key.strip(), value.strip()) != value.strip():
            raise EntryError(
                "this is answered twice, and differently",
                field="--answer",
                value=key.strip(),
                way_out="Give one answer for each key",
            )
    return answers


@dataclass(slots=True)
class Asker:
    """Answers by key (case of keys does not matter), and the questions still open."""

    answers: Mapping[str, str]
    remembered: Mapping[str, str] = field(default_factory=dict)
    open: list[Question] = field(default_factory=list)
    used: dict[str, str] = field(default_factory=dict)
    reused: dict[str, str] = field(default_factory=dict)

    def given(self, key: str) -> str | None:
        """The answer to *key*, or the one remembered, or None; nothing is asked."""
        for source, kept in ((self.answers, self.used), (self.remembered, self.reused)):
            for mine, value in source.items():
                if mine.lower() == key.lower():
                    kept[key] = value
                    return value
        return None

    def get(
        self, key: str, text: str, choices: Sequence[str] = (), *, suggested: str | None = None
    ) -> str | None:
        """The answer to *key*; without one the question is noted and *suggested* comes back.

        Raises `EntryError` for an answer that is none of the choices.
        """
        found = self.given(key)
        if found is None:
            if all(q.key != key for q in self.open):
                self.open.append(Question(key, text, tuple(choices), suggested))
            return suggested
        return self.check(key, found, choices)

    def forget(self, key: str) -> None:
        """Drop the answer to *key* and its question, so that it can be asked anew."""
        self.open = [q for q in self.open if q.key.lower() != key.lower()]
        self.answers = {k: v for k, v in self.answers.items() if k.lower() != key.lower()}
        self.remembered = {k: v for k, v in self.remembered.items() if k.lower() != key.lower()}

    @staticmethod
    def check(key: str, answer: str, choices: Sequence[str]) -> str:
        """*answer* in the spelling of its choice; raises `EntryError` when it is none."""
        if not choices:
            return answer
        for choice in choices:
            if choice.lower() == answer.lower():
                return choice
        raise EntryError(
            "this is none of the answers",
            field=key,
            value=answer,
            way_out="One of " + ", ".join(choices),
        )

    def settle(self) -> None:
        """Raise `QuestionError` when something is still open."""
        if self.open:
            raise QuestionError(self.open)

    def unused(self, known: Iterable[str]) -> None:
        """Raise `EntryError` for an answer whose key is neither used nor among *known*."""
        fine = {k.lower() for k in known} | {k.lower() for k in self.used}
        for key in self.answers:
            if key.lower() not in fine:
                near = difflib.get_close_matches(key.lower(), fine, n=1)
                raise EntryError(
                    "nothing asks for this",
                    field="--answer",
                    value=key,
                    way_out=f"Did you mean {near[0]}"
                    if near
                    else "Leave it out, or look at the questions without it",
                )
