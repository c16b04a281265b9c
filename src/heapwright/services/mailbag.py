"""Books that a page takes in to be joined: unpacked for one answer, read, and put away again.

Units: bytes. Conventions: a book sent lies in a temporary folder while its answer is worked out,
and nothing of it stays; a yard is named after the file as it was sent, as the command names it
after its path, and so it is in errors.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from heapwright.errors import BookError, HeapwrightError, InputError
from heapwright.services.mailed import yard_name
from heapwright.services.together import Together, together
from heapwright.store.book import Book

__all__ = ["MOST_BOOKS", "Sent", "together_sent"]

#: most books sent at once
MOST_BOOKS = 12
_SQLITE = b"SQLite format 3\x00"
_LETTERS = 255  # longest name of a file that is kept


@dataclass(frozen=True, slots=True)
class Sent:
    """A file as it was sent: its name, without folders, and its bytes."""

    name: str
    content: bytes

    @property
    def shown(self) -> str:
        """The name on one line, without the folders that some browsers send."""
        last = re.split(r"[/\\]", self.name)[-1][-_LETTERS:]
        return " ".join("".join(c if c.isprintable() else " " for c in last).split())


def together_sent(
    sent: Sequence[Sent],
    *,
    now: datetime,
    trials: Sequence[str] = (),
    names: Sequence[str] = (),
    own: Book | None = None,
    own_trials: Sequence[str] = (),
) -> Together:
    """What the books sent, and trials of the own book, show together.

    trials, names, own, own_trials : as in `heapwright.services.together.together`. Raises as that,
    and `InputError` for nothing sent or too many, `BookError` for a file that is no book.
    """
    if not sent and own is None:
        raise InputError(
            "no book was chosen", field="books",
            way_out="Choose the books that were mailed to you, or trials of your own book",
        )  # fmt: skip
    if len(sent) > MOST_BOOKS:
        raise InputError(
            f"at most {MOST_BOOKS} books are taken at once", field="books", value=len(sent),
            way_out="Join the rest with the command",
        )  # fmt: skip
    for file in sent:
        if not file.content.startswith(_SQLITE):
            raise BookError(
                "nothing stands in it" if not file.content else "this file is no book",
                field="books", value=file.shown,
                way_out="Choose the file that ends in .sqlite, as it was mailed",
            )  # fmt: skip
    with tempfile.TemporaryDirectory(prefix="heapwright-mailed-") as folder:
        paths = {}
        for place, file in enumerate(sent):
            path = Path(folder) / f"{place}.sqlite"
            path.write_bytes(file.content)
            paths[str(path)] = file.shown
        try:
            return together(
                list(paths), now=now, trials=trials, own=own, own_trials=own_trials,
                names=names or [yard_name(n) or f"yard {i + 1}"
                                for i, n in enumerate(paths.values())],
            )  # fmt: skip
        except HeapwrightError as error:
            raise _as_sent(error, paths) from None


def _as_sent(error: HeapwrightError, paths: Mapping[str, str]) -> HeapwrightError:
    """The same error with names of files as they were sent."""

    def named(text: object) -> str | None:
        said = None if text is None else str(text)
        for path, name in paths.items():
            said = said and said.replace(path, name)
        return said

    return type(error)(
        named(error.what) or "", field=error.field, value=named(error.value),
        way_out=named(error.way_out), where=named(error.where),
    )  # fmt: skip
