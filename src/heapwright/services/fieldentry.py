"""An entry as a phone sends it from the heaps, and what became of it.

Units: temperatures as typed, with C or F beside; times as aware ISO texts. Conventions: every text
has a greatest length, and what cannot be read is said by its name.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from heapwright.errors import EntryError, HeapwrightError, Question
from heapwright.services.log import check_id

__all__ = ["KINDS", "PHOTO_BYTES", "FieldAnswer", "FieldEntry", "refused"]

#: What a phone may send.
KINDS = ("reading", "air", "note", "smell", "squeeze", "photo", "line", "undo")
#: Largest photo [bytes]; most letters of any other text.
PHOTO_BYTES, _LETTERS = 3_000_000, 600


@dataclass(frozen=True, slots=True)
class FieldEntry:
    """One entry as a phone sends it.

    id : made on the phone; kind : one of `KINDS`; visit : one phone on one round; began, time : of
    the visit and of the entry, aware; heap, spot, text : as typed; unit : ``C`` or ``F``, of the
    probe; photo : JPEG in base64; answers : to questions, by key.
    """

    id: str
    kind: str
    visit: str
    began: datetime
    time: datetime
    heap: str = ""
    spot: str = ""
    text: str = ""
    unit: str = "C"
    reader: str = ""
    probe: str = ""
    photo: str = ""
    answers: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def read(cls, raw: object) -> FieldEntry:
        """The entry in a decoded JSON object; raises `EntryError` for what cannot be read."""
        if not isinstance(raw, Mapping):
            raise EntryError("an entry is an object with names", field="entry", value=str(raw)[:40])
        texts = {
            k: _text(raw, k, 4 * PHOTO_BYTES // 3 + 8 if k == "photo" else _LETTERS)
            for k in ("id", "kind", "visit", "heap", "spot", "text", "unit", "reader", "probe",
                      "photo")
        }  # fmt: skip
        if texts["kind"] not in KINDS:
            raise EntryError("nothing of that kind is taken here", field="kind",
                             value=texts["kind"], way_out="One of " + ", ".join(KINDS))  # fmt: skip
        texts["unit"] = texts["unit"].upper() or "C"
        if texts["unit"] not in ("C", "F"):
            raise EntryError("temperatures are in C or F", field="unit", value=texts["unit"])
        check_id(texts["id"])
        check_id(texts["visit"])
        answers = raw.get("answers") or {}
        if not isinstance(answers, Mapping) or len(answers) > 50:
            raise EntryError("answers stand by their keys", field="answers")
        said = {str(k)[:120]: str(v)[:_LETTERS] for k, v in answers.items()}
        return cls(began=_moment(raw, "began"), time=_moment(raw, "time"), answers=said, **texts)


def _text(raw: Mapping[str, Any], key: str, most: int) -> str:
    found = raw.get(key, "")
    if found is None:
        return ""
    if not isinstance(found, str) or len(found) > most:
        raise EntryError(f"a text of at most {most} letters was expected", field=key,
                         value=str(found)[:40])  # fmt: skip
    return found.strip()


def _moment(raw: Mapping[str, Any], key: str) -> datetime:
    try:
        made = datetime.fromisoformat(str(raw.get(key, "")))
    except ValueError:
        made = datetime.min
    if made.tzinfo is None:
        raise EntryError("a time with its zone was expected", field=key,
                         value=str(raw.get(key))[:40])  # fmt: skip
    return made.replace(microsecond=0)


@dataclass(frozen=True, slots=True)
class FieldAnswer:
    """What became of one entry.

    state : ``kept``, ``known`` (was there already), ``left out`` (after an answer), ``asked`` or
    ``refused``; message, way_out : why it was refused, or a remark; questions : what is asked.
    """

    id: str
    state: str
    message: str = ""
    way_out: str = ""
    questions: tuple[Question, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain values for JSON."""
        return {
            "id": self.id, "state": self.state, "message": self.message, "way_out": self.way_out,
            "questions": [
                {"key": q.key, "text": q.text, "choices": list(q.choices), "suggested": q.default}
                for q in self.questions
            ],
        }  # fmt: skip


def refused(id_: str, error: HeapwrightError) -> FieldAnswer:
    """The answer to an entry that cannot stand: why, and the way out."""
    what = error.what[:1].upper() + error.what[1:].rstrip(".") + "."
    return FieldAnswer(id_, "refused", what, error.way_out or "")
