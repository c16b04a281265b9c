"""The tables of a book.

Conventions: times are UTC text (``2026-05-01T06:10:00Z``), so that they sort and can be read in
any SQL tool; values are in the unit of their register row beside the text as typed. The four
entry tables (reading, event, sample, weather) are append-only and share the same trail columns:
``root`` names the first entry of a chain, ``replaces`` the one before; nothing is updated.
Forecasts are append-only too, without a trail: they are never corrected. ``fit`` is a cache.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.types import TypeDecorator

__all__ = [
    "ENTRY_TABLES", "UtcText", "event", "fit", "forecast", "heap", "look", "mapping", "metadata",
    "plan", "reading", "round_", "sample", "trial", "weather",
]  # fmt: skip

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


#: How a moment is written, and how many letters that takes.
_TIME, _LETTERS = "%Y-%m-%dT%H:%M:%SZ", 20


class UtcText(TypeDecorator[datetime]):
    """An aware datetime kept as UTC text to the second."""

    impl = String(20)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> str | None:
        if value is None:
            return None
        return value.astimezone(UTC).strftime(_TIME)

    def process_result_value(self, value: str | None, dialect: Any) -> datetime | None:
        if value is None:
            return None
        if len(value) == _LETTERS and value[-1] == "Z":  # a tenth of the time of strptime
            return datetime.fromisoformat(value)
        return datetime.strptime(value, _TIME).replace(tzinfo=UTC)


def _id(name: str = "id") -> Column[Any]:
    return Column(name, String(64), primary_key=True)


def _text(name: str, **more: Any) -> Column[Any]:
    return Column(name, Text, nullable=False, server_default="", **more)


trial = Table(
    "trial", metadata,
    _id(),
    Column("name", Text, nullable=False, unique=True),
    Column("recorded", UtcText, nullable=False),
)  # fmt: skip

plan = Table(
    "plan", metadata,
    _id(),
    Column("trial", ForeignKey("trial.id"), nullable=False, index=True),
    Column("version", Integer, nullable=False),
    Column("text", Text, nullable=False),
    Column("fingerprint", String(16), nullable=False),
    Column("locked", Integer, nullable=False),
    _text("why"),
    Column("recorded", UtcText, nullable=False),
    UniqueConstraint("trial", "version"),
    CheckConstraint("locked in (0, 1)", name="locked"),
)  # fmt: skip

heap = Table(
    "heap", metadata,
    _id(),
    Column("trial", ForeignKey("trial.id"), nullable=False),
    Column("name", Text, nullable=False),
    _text("note"),
    Column("recorded", UtcText, nullable=False),
    UniqueConstraint("trial", "name"),
)  # fmt: skip

round_ = Table(
    "round", metadata,
    _id(),
    Column("trial", ForeignKey("trial.id"), nullable=False, index=True),
    Column("low", UtcText, nullable=False),
    Column("high", UtcText, nullable=False),
    _text("typed_when"),
    _text("reader"),
    _text("note"),
    Column("recorded", UtcText, nullable=False),
)  # fmt: skip


def _trail(name: str) -> list[Any]:
    """The columns every entry table shares."""
    return [
        _id(),
        Column("trial", ForeignKey("trial.id"), nullable=False, index=True),
        Column("low", UtcText, nullable=False, index=True),
        Column("high", UtcText, nullable=False),
        _text("typed_when"),
        _text("note"),
        Column("root", String(64), nullable=False, index=True),
        Column("version", Integer, nullable=False),
        Column("action", String(12), nullable=False),
        Column("replaces", String(64), ForeignKey(f"{name}.id"), nullable=True, unique=True),
        _text("why"),
        Column("recorded", UtcText, nullable=False),
        _text("source"),
        UniqueConstraint("root", "version"),
        CheckConstraint(
            "action in ('entered', 'corrected', 'withdrawn', 'restored')", name="action"
        ),
        CheckConstraint("(version = 1) = (replaces is null)", name="chain"),
    ]


def _heap_column(*, null: bool = False) -> Column[Any]:
    return Column("heap", ForeignKey("heap.id"), nullable=null, index=True)


def _value() -> list[Any]:
    return [
        Column("quantity", String(40), nullable=False),
        Column("value", Float, nullable=False),
        _text("typed"),
        _text("typed_unit"),
    ]


def _round_column() -> Column[Any]:
    return Column("round", ForeignKey("round.id"), nullable=True, index=True)


reading = Table(
    "reading", metadata, *_trail("reading"), _heap_column(), *_value(),
    _text("spot"), _text("probe"), _text("reader"),
    Column("depth_m", Float), Column("pipe_distance_m", Float), _round_column(),
)  # fmt: skip

event = Table(
    "event", metadata, *_trail("event"), _heap_column(),
    Column("what", String(20), nullable=False),
    Column("water_l", Float), Column("minutes", Float), _text("who"), _text("typed"),
)  # fmt: skip

sample = Table(
    "sample", metadata, *_trail("sample"), _heap_column(), *_value(),
    _text("part"), _text("method"), _text("basis"),
)  # fmt: skip

weather = Table(
    "weather", metadata, *_trail("weather"), *_value(), _text("origin"), _round_column(),
)  # fmt: skip

#: A look at findings before the end date is counted.
look = Table(
    "look", metadata,
    _id(),
    Column("trial", ForeignKey("trial.id"), nullable=False, index=True),
    Column("at", UtcText, nullable=False),
    Column("ended", Integer, nullable=False),
    _text("what"),
)  # fmt: skip

#: How a sheet's columns were read last time, by the fingerprint of its header.
mapping = Table(
    "mapping", metadata,
    Column("header", String(64), primary_key=True),
    Column("answers", Text, nullable=False),
    Column("recorded", UtcText, nullable=False),
)  # fmt: skip

#: What was forecast, as it was forecast; append-only.
forecast = Table(
    "forecast", metadata,
    _id(),
    Column("trial", ForeignKey("trial.id"), nullable=False),
    Column("heap", ForeignKey("heap.id"), nullable=False),
    _text("spot"),
    Column("made", UtcText, nullable=False),
    Column("due", UtcText, nullable=False),
    Column("quantity", String(40), nullable=False),
    Column("low", Float, nullable=False),
    Column("mean", Float, nullable=False),
    Column("high", Float, nullable=False),
    Column("no_change", Float), Column("cooling", Float),
    _text("weather"),
    Column("print", String(16), nullable=False),
    Column("recorded", UtcText, nullable=False),
    UniqueConstraint("trial", "heap", "spot", "due", "made"),
    CheckConstraint("due > made", name="ahead"),
    CheckConstraint("low <= mean and mean <= high", name="range"),
)  # fmt: skip

#: What a fit had learned after some passes: a cache, thrown away and made again at will.
fit = Table(
    "fit", metadata,
    _id(),
    Column("trial", ForeignKey("trial.id"), nullable=False),
    Column("print", String(16), nullable=False),
    Column("passes", Integer, nullable=False),
    Column("payload", LargeBinary, nullable=False),
    Column("recorded", UtcText, nullable=False),
    UniqueConstraint("trial", "print", "passes"),
)  # fmt: skip

#: Entry tables by the kind of entry they hold.
ENTRY_TABLES: dict[str, Table] = {
    "reading": reading, "event": event, "sample": sample, "weather": weather,
}  # fmt: skip
