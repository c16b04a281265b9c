"""Files in and out of the book for a page: sheets that wait for answers, the kit, a copy.

Units: bytes. Conventions: an uploaded sheet waits beside the book under a name of its own making
until it is imported, at most a day; the name it was given stays in what is said of it. A copy of
the book is made by the database itself, so that it is whole while others write.
"""

from __future__ import annotations

import io
import re
import shutil
import sqlite3
import tempfile
import time
import uuid
import zipfile
from contextlib import closing, suppress
from datetime import datetime
from pathlib import Path

from heapwright.errors import BookError, InputError, UnknownNameError
from heapwright.services.kit import write_kit
from heapwright.services.settings import beside
from heapwright.services.uploads import checked_name, disk_name
from heapwright.store.book import Book

__all__ = ["ENDINGS", "MOST_BYTES", "copy_of_book", "forget", "held", "hold", "kit_zip"]

#: largest sheet taken from a page [bytes], and the endings its name may have
MOST_BYTES = 10_000_000
ENDINGS = (".csv", ".tsv", ".txt", ".json")
_DAY_S = 86400.0


def hold(book: str, name: str, content: bytes) -> str:
    """Keep an uploaded sheet until its questions are answered; returns what it is called here.

    Raises `InputError` for one that is too large, empty, or of another kind.
    """
    plain = checked_name(
        name, content, endings=ENDINGS, most=MOST_BYTES, kind="no sheet",
        way_out="Save it as CSV", smaller="Cut it into years, or import it with the command",
    )  # fmt: skip
    desk = beside(book, ".sheets")
    _tidy(desk)
    made = uuid.uuid4().hex
    folder = desk / made
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / disk_name(plain)).write_bytes(content)
    except OSError as error:
        raise InputError(
            f"the sheet cannot be kept ({error.strerror})", field="file", value=plain
        ) from None
    return made


def held(book: str, name: str) -> Path:
    """The sheet that waits under that name; raises `UnknownNameError`."""
    folder = beside(book, ".sheets") / name
    found = sorted(folder.iterdir()) if re.fullmatch(r"[0-9a-f]{32}", name) and folder.is_dir() \
        else []  # fmt: skip
    if not found:
        raise UnknownNameError(
            "this sheet waits here no longer", field="file", value=name[:32],
            way_out="Choose the file again; answers to its layout are remembered once it is in",
        )  # fmt: skip
    return found[0]


def forget(book: str, name: str) -> None:
    """Put away a sheet that is imported."""
    if re.fullmatch(r"[0-9a-f]{32}", name):
        shutil.rmtree(beside(book, ".sheets") / name, ignore_errors=True)


def _tidy(desk: Path) -> None:
    """Put away sheets that nobody came back to."""
    if not desk.is_dir():
        return
    for folder in desk.iterdir():
        with suppress(OSError):
            if time.time() - folder.stat().st_mtime > _DAY_S:
                shutil.rmtree(folder, ignore_errors=True)


def kit_zip(book: Book, trial: str, *, now: datetime) -> bytes:
    """The kit of a trial as one zip file; counted as one look.

    Raises as `heapwright.services.kit.write_kit`.
    """
    made = io.BytesIO()
    with tempfile.TemporaryDirectory() as folder, zipfile.ZipFile(
        made, "w", zipfile.ZIP_DEFLATED
    ) as archive:  # fmt: skip
        for path in write_kit(book, trial, Path(folder) / "kit", now=now):
            archive.write(path, f"kit/{path.name}")
    return made.getvalue()


def copy_of_book(book: Book) -> Path:
    """A whole copy of the book in a new temporary folder, for the caller to delete.

    Raises `BookError` for a book on a database server, which has its own way to be copied.
    """
    if book.is_url and not book.where.startswith("sqlite"):
        raise BookError(
            "a book on a database server is copied there", field="book", value=book.shown,
            way_out="pg_dump --format=custom --file=book.dump DATABASE, and pg_restore to get it "
            "back",
        )  # fmt: skip
    source = book.engine.url.database or book.where
    target = Path(tempfile.mkdtemp(prefix="heapwright-copy-")) / "book.sqlite"
    try:
        with closing(sqlite3.connect(source)) as here, closing(sqlite3.connect(target)) as there:
            here.backup(there)
    except sqlite3.Error as error:
        shutil.rmtree(target.parent, ignore_errors=True)
        raise BookError(
            f"the copy cannot be made ({error})", field="book", value=book.shown
        ) from None
    return target
