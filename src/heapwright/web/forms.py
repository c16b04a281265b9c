"""A form that may bring a file and answers to questions, as several pages take it.

Units: letters, bytes. Conventions: fields named ``answer.KEY`` are answers; the file is the field
``file``; what is longer than anybody types is cut, what is larger than any page takes is refused by
whoever keeps it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fastapi import Request
from starlette.datastructures import UploadFile

from heapwright.errors import InputError
from heapwright.services.taking import MOST_BYTES

__all__ = ["Sent", "sent_form"]

#: most answers taken from a form, and letters of one
_ANSWERS, _LETTERS = 400, 300


@dataclass(frozen=True)
class Sent:
    """What a form sent: texts by field, answers by key, the file if one came."""

    texts: Mapping[str, str]
    answers: Mapping[str, str] = field(default_factory=dict)
    name: str = ""
    content: bytes | None = None


async def sent_form(request: Request) -> Sent:
    """The form of a request; raises `InputError` for more answers than can be meant."""
    form = await request.form()
    texts = {k: v[:_LETTERS] for k, v in form.multi_items()
             if isinstance(v, str) and not k.startswith("answer.")}  # fmt: skip
    answers = {
        k.removeprefix("answer."): v.strip()[:_LETTERS]
        for k, v in form.multi_items()
        if isinstance(v, str) and k.startswith("answer.") and v.strip()
    }
    if len(answers) > _ANSWERS:
        raise InputError("too many answers", field="answers", value=len(answers))
    file = form.get("file")
    if not isinstance(file, UploadFile) or not file.filename:
        return Sent(texts, answers)
    content = await file.read(MOST_BYTES + 1)
    return Sent(texts, answers, file.filename, content)
