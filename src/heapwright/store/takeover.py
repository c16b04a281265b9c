"""Taking all rows of one book over into another that holds no trial yet.

Conventions: one transaction, so that all of it is there or none; ids and moments stay as they were.
"""

from __future__ import annotations

import sqlalchemy as sa

from heapwright.errors import InputError
from heapwright.store import tables
from heapwright.store.book import Book

__all__ = ["take_over"]

_CHUNK = 2000


def take_over(book: Book, other: Book) -> None:
    """Append everything that stands in *other* to *book*.

    Raises `InputError` when *book* holds a trial; nothing is changed then.
    """
    batches = []
    with other.read() as link:
        for table in tables.metadata.sorted_tables:
            query = sa.select(table)
            if "replaces" in table.c:  # a version comes after the one that it replaces
                query = query.order_by(table.c.version)
            batches.append((table, [dict(row) for row in link.execute(query).mappings()]))
    with book.write() as link:
        there = link.scalar(sa.select(tables.trial.c.name).limit(1))
        if there is not None:
            raise InputError(
                "the book holds a trial by now, so nothing was put into it",
                field="trial", value=there, way_out="Look at that one, or name another book",
            )  # fmt: skip
        for table, rows in batches:
            for start in range(0, len(rows), _CHUNK):
                link.execute(sa.insert(table), rows[start : start + _CHUNK])
