"""One pasted line of a probe round: ``A 52 48 55 B 41 44 40 air 12``.

Units: none here; every number keeps its text and the unit mark that stood at it.
Conventions: a heap's numbers stand in the order of the spots; ``-``, ``x`` or ``?`` is a spot not
read; commas, semicolons, slashes, bars, colons after a name, and new lines only separate. A date
or time may stand in front. A name of digits only must be followed by a colon or stand in quotes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from heapwright.domain.names import check_name, one_of
from heapwright.errors import EntryError

__all__ = ["RoundLine", "Typed", "parse_round_line"]

_MOST_SPOTS = 20
_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\.?"
_DAY = r"(?:mon|tues|wednes|thurs|fri|satur|sun)day"
_DATE = (
    rf"\d{{4}}-\d{{1,2}}-\d{{1,2}}|\d{{1,2}}[/.]\d{{1,2}}[/.]\d{{2,4}}"
    rf"|\d{{1,2}}\.?\s+{_MONTH}(?:\s+\d{{4}})?|{_MONTH}\s+\d{{1,2}}(?:,?\s+\d{{4}})?"
    rf"|today|yesterday|{_DAY}"
)
_CLOCK = r"\d{1,2}:\d{2}(?::\d{2})?(?:z|[+-]\d{2}:?\d{2})?"
_WHEN = re.compile(
    rf"\s*(?P<when>(?:(?:about|around)\s+)?"
    rf"(?:(?:{_DATE})(?:(?:t|[\s,]+(?:at\s+)?){_CLOCK})?|(?:at\s+)?{_CLOCK}))(?=[\s,;:]|$)[\s,;:]*",
    re.IGNORECASE,
)
_NUMBER = re.compile(
    r"(?P<number>[-+]?\d+(?:[.,]\d+)?)\s?(?P<unit>°\s?[CcFf]|[CcFf](?![\w.+-]))?(?![\w.+-])"
)
_GLUED = re.compile(r"(?P<number>[-+]?\d+(?:[.,]\d+)?)(?P<unit>°?\s?[CcFf])?")
_WHOLE_UNIT = re.compile(
    r"(?:all\s+)?in\s+(?:degrees?\s+|deg\s+|°\s*)?(?P<unit>celsius|fahrenheit|c|f)(?![\w+-])",
    re.IGNORECASE,
)
_SKIPPED = {"-", "--", "–", "—", "x", "?"}
_AIR = {"air", "ambient"}
_QUOTES = {'"': '"', "'": "'", "“": "”", "‘": "’", "«": "»"}
_BETWEEN = " \t\r\n,;/|"
_WAY_OUT = "Write it as in: A 52 48 55 B 41 44 40 air 12"


@dataclass(frozen=True, slots=True)
class Typed:
    """One number as typed: its text without the mark, and the mark (``C``, ``F`` or ````)."""

    text: str
    unit: str = ""

    @property
    def number(self) -> float:
        """The number, whatever its unit."""
        return float(self.text.replace(",", "."))


@dataclass(frozen=True, slots=True)
class RoundLine:
    """One round as typed: numbers by heap in the order of spots (None: not read), air, words.

    when : the words for the time, empty if none stood there; unit : of the whole line or empty.
    """

    heaps: dict[str, tuple[Typed | None, ...]]
    air: Typed | None = None
    when: str = ""
    unit: str = ""
    text: str = ""


def parse_round_line(
    text: str, *, heaps: Sequence[str] = (), spots: Sequence[str] = (), new: bool = False
) -> RoundLine:
    """A pasted line as a `RoundLine`.

    Parameters
    ----------
    text : str
        What was typed.
    heaps : sequence of str
        Known heap names; the longest fitting one counts, whatever its case.
    spots : sequence of str
        Names of the spots, in the order of the numbers; any number up to 20 without.
    new : bool
        A word that is no known heap is the name of a new one.

    Raises
    ------
    EntryError
        Something that is neither heap, number, skipped spot nor air; no number; more numbers
        than spots; a heap or the air twice. The message names the word.
    UnknownNameError
        A word that looks like a heap, but is none.

    Examples
    --------
    >>> line = parse_round_line("7:10 A 52 48,5 B 41 - air 12", heaps=["A", "B"])
    >>> line.when, line.heaps["A"][1].number, line.heaps["B"][1], line.air.text
    ('7:10', 48.5, None, '12')
    """
    reader = _Reader(text, tuple(heaps), len(spots) or _MOST_SPOTS, tuple(spots), new)
    return reader.read()


@dataclass(slots=True)
class _Reader:
    """One pass from left to right."""

    text: str
    known: tuple[str, ...]
    most: int
    spots: tuple[str, ...]
    new: bool
    at: int = 0
    heap: str | None = None
    in_air: bool = False
    found: dict[str, list[Typed | None]] = field(default_factory=dict)
    air: Typed | None = None
    unit: str = ""

    def read(self) -> RoundLine:
        when = ""
        start = _WHEN.match(self.text)
        if start:
            when, self.at = start["when"].strip(), start.end()
        while True:
            while self.at < len(self.text) and self.text[self.at] in _BETWEEN:
                self.at += 1
            if self.at >= len(self.text):
                break
            self._token()
        self._leave_heap()
        if not any(t for row in self.found.values() for t in row):
            what = "there is no reading in this line" if self.text.strip() else "nothing was typed"
            raise EntryError(what, field="line", value=self.text.strip() or None, way_out=_WAY_OUT)
        return RoundLine(
            {h: tuple(row) for h, row in self.found.items()},
            self.air, when, self.unit, " ".join(self.text.split()),
        )  # fmt: skip

    def _token(self) -> None:
        name = self._name()
        if name is not None:
            self._enter_heap(name)
            return
        rest = self.text[self.at :]
        whole = _WHOLE_UNIT.match(rest)
        if whole:
            unit = whole["unit"][0].upper()
            if self.unit and self.unit != unit:
                raise self._wrong(whole[0], "two units are given for the whole line")
            self.unit = unit
            self.at += whole.end()
            return
        word = re.match(r"[^\s,;/|]+", rest)
        bare = word[0].rstrip(":").lower() if word else ""
        if bare in _AIR and word:
            self._leave_heap()
            if self.air is not None or self.in_air:
                raise self._wrong(word[0], "the air is given twice")
            self.in_air = True
            self.at += word.end()
        elif bare in _SKIPPED and word:
            self._take(None, word[0])
            self.at += word.end()
        else:
            self._number_or_name(rest)

    def _number_or_name(self, rest: str) -> None:
        word = _word(rest)
        chain = re.fullmatch(r"\d+(?:,\d+)+,?", word)
        if chain and not re.fullmatch(r"\d+,\d,?", word):
            parts = word.strip(",").split(",")
            if len(parts) < 3 or min(len(p) for p in parts) < 2:
                raise self._wrong(
                    word,
                    "this may be one number with a decimal comma or several readings",
                    f"Write {word.strip(',').replace(',', '.', 1)} or {' '.join(parts)}",
                )
            for part in parts:
                self._take(Typed(part), part)
            self.at += len(word)
            return
        number = self._number(rest)
        if number:
            mark = (number["unit"] or "").strip("° ").upper()
            self._take(Typed(number["number"], mark), number[0].strip())
            self.at += number.end()
            return
        if re.match(r"[^\W\d_]", word) and not self.new:
            bare = word.rstrip(":")
            if bare.upper() in ("C", "F") and self.found:
                raise self._wrong(
                    bare,
                    "it is not clear what this unit belongs to",
                    f"Write 52{bare.upper()} at one number, or in {bare.upper()} for all",
                )
            one_of("heap", bare, {h: h for h in self.known})
        if word.startswith("--"):
            raise self._wrong(word, "there is no such option of a round")
        raise self._wrong(word, "this is neither a heap, a number nor a skipped spot (-)")

    def _number(self, rest: str) -> re.Match[str] | None:
        """A number at the start of *rest*; a mark after a space is left if it is a heap."""
        found = _NUMBER.match(rest)
        if found is None or not found["unit"]:
            return found
        mark = found["unit"].strip()
        spaced = rest[found.end("number") : found.start("unit")] != ""
        if spaced and any(mark.lower() == h.lower() for h in self.known):
            return _GLUED.match(rest[: found.end("number")])
        return found

    def _name(self) -> str | None:
        """The heap whose name stands here, moving past it; None when there is none."""
        rest = self.text[self.at :]
        close = _QUOTES.get(rest[0])
        if close:
            end = rest.find(close, 1)
            if end < 0:
                raise self._wrong(rest.split()[0], "this quotation mark is not closed")
            typed = rest[1:end].strip()
            self.at += end + 1
            self._colon()
            return self._known_or_new(typed)
        for name in sorted(self.known, key=len, reverse=True):
            pattern = re.escape(name).replace(r"\ ", r"\s+")
            found = re.match(rf"{pattern}(?![\w.+-])", rest, re.IGNORECASE)
            if found and (not _digits(name) or re.match(r"\s*:", rest[found.end() :])):
                self.at += found.end()
                self._colon()
                return name
        word = _word(rest).rstrip(":")
        fresh = re.fullmatch(r"[^\W\d_][\w.+-]*", word) and word.lower() not in _AIR | _SKIPPED
        numbered = re.match(r"\d+\s*:(?!\d)", rest)
        if numbered:
            self.at += numbered.end()
            return self._known_or_new(numbered[0].rstrip(": "))
        if self.new and fresh and word.lower() not in ("in", "all"):
            self.at += len(word)
            self._colon()
            return check_name(word, field="heap")
        return None

    def _known_or_new(self, typed: str) -> str:
        for name in self.known:
            if name.lower() == typed.lower():
                return name
        if self.new:
            return check_name(typed, field="heap")
        return one_of("heap", typed, {h: h for h in self.known})

    def _colon(self) -> None:
        found = re.match(r"\s*[:=]", self.text[self.at :])
        if found:
            self.at += found.end()

    def _enter_heap(self, name: str) -> None:
        self._leave_heap()
        if any(name.lower() == h.lower() for h in self.found):
            raise self._wrong(name, "this heap stands twice in one round")
        self.heap = name
        self.found[name] = []

    def _leave_heap(self) -> None:
        if self.heap is not None and not self.found[self.heap]:
            raise self._wrong(self.heap, "no reading follows this heap")
        if self.in_air and self.air is None:
            raise self._wrong("air", "no number follows the air", "Write air 12")
        self.heap, self.in_air = None, False

    def _take(self, value: Typed | None, token: str) -> None:
        if self.in_air:
            if self.air is not None:
                raise self._wrong(token, "the air takes one number")
            if value is None:
                raise self._wrong(token, "an air that was not read is left out")
            self.air = value
            return
        if self.heap is None:
            raise self._wrong(token, "no heap stands before this number")
        row = self.found[self.heap]
        if len(row) >= self.most:
            spots = f" ({', '.join(self.spots)})" if self.spots else ""
            raise self._wrong(
                token, f"heap {self.heap} has more numbers than its {self.most} spots{spots}"
            )
        row.append(value)

    @staticmethod
    def _wrong(token: str, what: str, way_out: str = _WAY_OUT) -> EntryError:
        return EntryError(what, field="in the line", value=repr(token), way_out=way_out)


def _word(rest: str) -> str:
    """What stands up to the next space or separator; a comma inside digits belongs to it."""
    found = re.match(r"(?:\d+(?:,\d+)+,?(?=[\s;/|]|$)|[^\s,;/|]+)", rest)
    return found[0] if found else rest[:1]


def _digits(name: str) -> bool:
    return re.fullmatch(r"\d+(?:[.,]\d+)?", name) is not None
