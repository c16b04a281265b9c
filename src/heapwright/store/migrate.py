"""Bringing a book's tables to the newest schema with alembic."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy.engine import Engine

__all__ = ["config", "upgrade"]


def config() -> Config:
    """Alembic's settings for a book; no ini file is needed."""
    made = Config()
    made.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    return made


def upgrade(engine: Engine) -> None:
    """Run the missing migrations in one transaction.

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
        settings.attributes["connection"] = link
        command.upgrade(settings, "head")
        if sqlite and link.exec_driver_sql("PRAGMA foreign_key_check").fetchall():
            raise RuntimeError("foreign keys do not hold after the migration")
        link.commit()
    engine.dispose()
