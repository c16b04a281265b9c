"""Bringing a book's tables to the newest schema with alembic."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from sqlalchemy.engine import Engine

from heapwright.errors import BookError

#: Names the lock under which one program at a time upgrades a PostgreSQL book.
_LOCK = 4_832_095

__all__ = ["config", "upgrade"]


def config() -> Config:
    """Alembic's settings for a book; no ini file is needed."""
    made = Config()
    made.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    return made


def upgrade(engine: Engine, *, head: str) -> None:
    """Run the missing migrations up to revision *head* in one transaction.

    Programs that open an old book at the same time wait for each other, and only the first does
    the work. An SQLite book that holds something is copied to ``NAME.before-HEAD`` first; raises
    `BookError` when that fails.

    On SQLite foreign keys are off meanwhile (a batch change of a parent table with cascading
    keys would otherwise delete its children) and checked afterwards.
    """
    settings = config()
    with engine.connect() as link:
        sqlite = link.dialect.name == "sqlite"
        if sqlite:
            link.exec_driver_sql("COMMIT")
            link.exec_driver_sql("PRAGMA foreign_keys=OFF")
            link.exec_driver_sql("BEGIN IMMEDIATE")
            if MigrationContext.configure(link).get_current_revision() not in (None, head):
                _copy(str(engine.url.database), f"{engine.url.database}.before-{head}")
        else:
            link.exec_driver_sql(f"select pg_advisory_xact_lock({_LOCK})")
        settings.attributes["connection"] = link
        command.upgrade(settings, head)
        if sqlite and link.exec_driver_sql("PRAGMA foreign_key_check").fetchall():
            raise RuntimeError("foreign keys do not hold after the migration")
        link.commit()
    engine.dispose()


def _copy(book: str, to: str) -> None:
    """Copy an SQLite book with what still stands in its log beside it."""
    try:
        with (
            contextlib.closing(sqlite3.connect(book)) as source,
            contextlib.closing(sqlite3.connect(to)) as target,
        ):
            source.backup(target)
        shutil.copymode(book, to)
    except (sqlite3.Error, OSError) as error:
        raise BookError(
            f"the book cannot be copied before its tables are brought up to date ({error})",
            field="book",
            value=to,
            way_out="Make room there or move what stands in the way; nothing was changed",
        ) from None
