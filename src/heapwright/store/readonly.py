"""Books that are only read: somebody else's, which must stay as they came.

Conventions: an SQLite book is copied, with what still stands in its log, and the copy is read, so
that nothing is written beside it and a book of an older program is brought up to date in the copy
only. A book at another address is refused unless its tables are those of this program.
"""

from __future__ import annotations

import contextlib
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import sqlalchemy as sa

from heapwright.errors import BookError
from heapwright.store.book import HEAD, Book

__all__ = ["file_of", "open_read_only"]

#: What SQLite keeps beside a file: changes not yet in it, or not yet undone.
_LOGS = ("-wal", "-journal")


def file_of(where: str) -> Path | None:
    """The file of an SQLite book, by path or by address; None for another database.

    >>> file_of("sqlite:////yards/north.sqlite").as_posix(), file_of("postgresql://h/north")
    ('/yards/north.sqlite', None)
    """
    if "://" not in where:
        return Path(where)
    with contextlib.suppress(sa.exc.ArgumentError):
        address = sa.make_url(where)
        if address.get_backend_name() == "sqlite":
            return Path(address.database or "")
    return None


@contextlib.contextmanager
def open_read_only(where: str) -> Iterator[Book]:
    """A book to be read, of which nothing changes; closed at the end.

    Parameters
    ----------
    where : str
        A path of an SQLite file, or a database address. Nobody may write to a file meanwhile.

    Raises
    ------
    BookError
        Missing, not a book, newer than this program, not reachable; at an address also older.
    """
    file = file_of(where)
    if file is None:
        _check_current(where)
        with Book(where, create=False) as book:
            yield book
        return
    with tempfile.TemporaryDirectory(prefix="heapwright-") as folder:
        copy = Path(folder) / "copy.sqlite"
        _copy(file, copy, shown=where)
        try:
            with _opened(copy) as book:
                yield book
        except BookError as error:
            if str(error.value) != str(copy):
                raise
            raise type(error)(
                error.what, field="book", value=where, way_out=error.way_out
            ) from None


def _opened(copy: Path) -> Book:
    try:
        return Book(copy, create=False)
    except ValueError:  # the description of its tables is no text
        raise BookError(
            "the book is damaged",
            field="book",
            value=str(copy),
            way_out="Have it mailed again, or leave it out",
        ) from None


def _copy(file: Path, copy: Path, *, shown: str) -> None:
    if not file.is_file():
        raise BookError(
            "a folder is no book" if file.is_dir() else "there is no such book",
            field="book",
            value=shown,
            way_out="Check the path; a book is one file, as it was mailed",
        )
    try:
        shutil.copyfile(file, copy)
        for log in _LOGS:
            beside = file.with_name(file.name + log)
            if beside.is_file():
                shutil.copyfile(beside, copy.with_name(copy.name + log))
    except OSError as error:
        raise BookError(
            f"the book cannot be read ({error.strerror or error})",
            field="book",
            value=shown,
            way_out="Check who may read it, and whether there is room for a copy",
        ) from None


def _check_current(where: str) -> None:
    """Refuses a database that opening would change; `Book` says why one cannot be reached."""
    try:
        engine = sa.create_engine(where)
        with engine.connect() as link:
            names = set(sa.inspect(link).get_table_names())
            found = (
                link.execute(sa.text("select version_num from alembic_version")).scalar()
                if "alembic_version" in names
                else None
            )
        engine.dispose()
    except (sa.exc.SQLAlchemyError, ImportError):
        return
    if found is None or found < HEAD:
        raise BookError(
            "there is no book at this address"
            if found is None
            else f"the book was written by an older Heapwright (schema {found}, now {HEAD})",
            field="book",
            value=where.split("@")[-1],
            way_out="Check the address"
            if found is None
            else "Its keeper opens it once with this version, which brings it up to date",
        )
