"""Where the book is and what time it is, from the command line, the environment or defaults.

Conventions: every setting is an environment variable HEAPWRIGHT_NAME; an option comes first.
"""

from __future__ import annotations

from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import Field
from pydantic_settings import BaseSettings, SettingsConfigDict

from heapwright.errors import InputError

if TYPE_CHECKING:
    from heapwright.store.book import Book

__all__ = ["Settings", "beside", "open_book", "settings"]


class Settings(BaseSettings):
    """Settings of one run; every field may be set by an environment variable HEAPWRIGHT_NAME."""

    model_config = SettingsConfigDict(env_prefix="HEAPWRIGHT_")

    book: str | None = Field(default=None, description="path or database URL of the book")
    now: datetime | None = Field(
        default=None,
        description="the moment taken as now (ISO 8601 with zone), for rehearsals and tests",
    )


def settings() -> Settings:
    """The settings of this run; raises `InputError` naming a setting that cannot be read."""
    try:
        return Settings()
    except ValueError as error:
        raise InputError(
            "a setting cannot be read: " + str(error).splitlines()[-2].strip(),
            field="HEAPWRIGHT_NOW",
            way_out="Write it as 2026-05-01T08:00:00+00:00",
        ) from None


def now() -> datetime:
    """The moment taken as now, aware, to the second."""
    chosen = settings().now or datetime.now(UTC)
    return (chosen if chosen.tzinfo else chosen.replace(tzinfo=UTC)).replace(microsecond=0)


def open_book(option: str | None = None, *, create: bool = True) -> Book:
    """The book named by *option*, else by HEAPWRIGHT_BOOK, else the keeper's own default file."""
    from heapwright.store.book import Book

    if option is not None and not option.strip():
        raise InputError(
            "no path stands here",
            field="--book",
            value=repr(option),
            way_out="Name a file, or leave --book out for your own book",
        )
    where = option or settings().book
    if where is None:
        from platformdirs import user_data_path

        where = str(user_data_path("heapwright") / "book.sqlite")
    return Book(where, create=create)


def beside(book: str, ending: str) -> Path:
    """Where something of a book lies: beside its file, or in the keeper's data folder.

    >>> beside("yard/book.sqlite", ".jobs").name
    'book.sqlite.jobs'
    """
    if "://" not in book:
        return Path(book + ending)
    from platformdirs import user_data_path

    return Path(user_data_path("heapwright")) / f"{sha256(book.encode()).hexdigest()[:16]}{ending}"
