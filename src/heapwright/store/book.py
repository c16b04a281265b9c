"""The book: one database that a keeper owns, SQLite by default, PostgreSQL by URL.

Holds: opening, schema upgrade, transactions, and everything that reads or appends rows.
Conventions: entries are only ever appended; the same entry sent twice is one entry; every call
that writes is one transaction (``BEGIN IMMEDIATE`` on SQLite). Forecasts are only ever appended
too; kept fits are a cache and may be dropped.
"""

from __future__ import annotations

import contextlib
import uuid
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from heapwright.domain.entries import Entry, Round, Trail
from heapwright.domain.forecast import Forecast, check_print
from heapwright.domain.when import When
from heapwright.errors import BookError, ConflictError, InputError, UnknownNameError
from heapwright.store import rows, tables

__all__ = ["Added", "Book", "PlanVersion", "new_id"]

#: The newest schema revision this program knows (file store/migrations/versions).
HEAD = "0002"
_CHUNK = 400
_TRIAL_NAMES = sa.select(tables.trial.c.name, tables.trial.c.id)


def new_id() -> str:
    """A fresh random id for an entry."""
    return str(uuid.uuid4())


@dataclass(frozen=True, slots=True)
class Added:
    """What one call put into the book: new entries, and entries that were there already."""

    new: int = 0
    known: int = 0


@dataclass(frozen=True, slots=True)
class PlanVersion:
    """One stored version of a trial's plan."""

    version: int
    text: str
    fingerprint: str
    locked: bool
    why: str
    recorded: datetime


class Book:
    """An open book. Use as a context manager.

    Parameters
    ----------
    where : str or Path
        A path of an SQLite file, or a database URL (``postgresql+psycopg://...``).
    create : bool
        Make the file and tables when missing; otherwise a missing file is a `BookError`.

    Raises
    ------
    BookError
        Missing, not a book, newer than this program, or not reachable.
    """

    def __init__(self, where: str | Path, *, create: bool = True) -> None:
        self.where = str(where)
        self.is_url = "://" in self.where
        if not self.is_url:
            path = Path(self.where)
            if not path.exists() and not create:
                raise BookError(
                    "there is no book yet",
                    field="book",
                    value=self.where,
                    way_out="Log something first, or name another file with --book",
                )
            with _said("the folder of the book cannot be made", self.where):
                path.parent.mkdir(parents=True, exist_ok=True)
        self.engine = _engine(self.where)
        with _said("the book cannot be opened", self.shown):
            self._bring_up_to_date()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.engine.dispose()

    @property
    def shown(self) -> str:
        """The book's place without a password."""
        if not self.is_url:
            return self.where
        return sa.make_url(self.where).render_as_string(hide_password=True)

    # -- opening --------------------------------------------------------------------------------

    def _bring_up_to_date(self) -> None:
        with self.engine.connect() as link:
            names = set(sa.inspect(link).get_table_names())
            found = (
                link.execute(sa.text("select version_num from alembic_version")).scalar()
                if "alembic_version" in names
                else None
            )
        if found == HEAD:
            return
        if found is None and names:
            raise BookError(
                "this database holds something else",
                field="book",
                value=self.shown,
                way_out="Name another file or database with --book",
            )
        if found is not None and found > HEAD:
            raise BookError(
                f"the book was written by a newer Heapwright (schema {found}, known {HEAD})",
                field="book",
                value=self.shown,
                way_out="Install the newer version",
            )
        from heapwright.store.migrate import upgrade

        upgrade(self.engine, head=HEAD)

    @contextlib.contextmanager
    def read(self) -> Iterator[Connection]:
        """A connection for reading."""
        with _said("the book cannot be read", self.shown), self.engine.connect() as link:
            yield link

    @contextlib.contextmanager
    def write(self) -> Iterator[Connection]:
        """A connection inside one write transaction; rolled back on any error."""
        with (
            _said("the book cannot be written", self.shown),
            self.engine.connect().execution_options(heapwright_write=True) as link,
            link.begin(),
        ):
            yield link

    # -- trials, plans, heaps ----------------------------------------------------------------

    def trials(self) -> list[str]:
        """Names of all trials, oldest first."""
        with self.read() as link:
            query = sa.select(tables.trial.c.name).order_by(tables.trial.c.recorded)
            return list(link.scalars(query))

    def trial_id(self, name: str, *, link: Connection | None = None) -> str:
        """Id of the trial called *name* (case does not matter); raises `UnknownNameError`."""
        with self._link(link) as use:
            known = {str(n): str(i) for n, i in use.execute(_TRIAL_NAMES)}
        for found, made in known.items():  # SQLite lowers ASCII letters only: compared here
            if found.lower() == name.strip().lower():
                return made
        raise UnknownNameError(
            "the book has no trial of that name",
            field="trial",
            value=name,
            way_out="Known: " + ", ".join(known)
            if known
            else "Lock a plan first: heapwright plan lock FILE",
        )

    def ensure_trial(self, name: str, *, now: datetime, link: Connection) -> str:
        """Id of the trial called *name*, made if it is new."""
        try:
            return self.trial_id(name, link=link)
        except UnknownNameError:
            made = str(uuid.uuid5(uuid.NAMESPACE_URL, f"heapwright:trial:{name.strip().lower()}"))
            link.execute(sa.insert(tables.trial).values(id=made, name=name.strip(), recorded=now))
            return made

    def heap_ids(self, trial: str, *, link: Connection | None = None) -> dict[str, str]:
        """Heap name -> heap id of the trial with id *trial*, in order of names."""
        with self._link(link) as use:
            query = (
                sa.select(tables.heap.c.name, tables.heap.c.id)
                .where(tables.heap.c.trial == trial)
                .order_by(tables.heap.c.name)
            )
            return {str(name): str(id_) for name, id_ in use.execute(query)}

    def ensure_heaps(
        self, trial: str, names: Iterable[str], *, now: datetime, link: Connection
    ) -> dict[str, str]:
        """Heap name -> id after making those that are new."""
        known = self.heap_ids(trial, link=link)
        lower = {n.lower() for n in known}
        for name in dict.fromkeys(n.strip() for n in names):
            if name.lower() not in lower:
                made = str(uuid.uuid5(uuid.UUID(trial), f"heap:{name.lower()}"))
                link.execute(
                    sa.insert(tables.heap).values(id=made, trial=trial, name=name, recorded=now)
                )
                lower.add(name.lower())
        return self.heap_ids(trial, link=link)

    def save_plan(
        self,
        name: str,
        text: str,
        *,
        heaps: Sequence[str],
        fingerprint: str,
        locked: bool,
        now: datetime,
        why: str = "",
    ) -> int:
        """Append a version of a trial's plan, making trial and heaps; returns the version.

        A text equal to the newest version under the same lock is not stored twice.
        """
        with self.write() as link:
            trial = self.ensure_trial(name, now=now, link=link)
            self.ensure_heaps(trial, heaps, now=now, link=link)
            before = self.plans(name, link=link)
            if before and before[-1].text == text and before[-1].locked >= locked:
                return before[-1].version
            version = len(before) + 1
            link.execute(
                sa.insert(tables.plan).values(
                    id=new_id(),
                    trial=trial,
                    version=version,
                    text=text,
                    why=why,
                    recorded=now,
                    fingerprint=fingerprint,
                    locked=int(locked),
                )
            )
            return version

    def plans(self, name: str, *, link: Connection | None = None) -> list[PlanVersion]:
        """All versions of a trial's plan, oldest first."""
        with self._link(link) as use:
            trial = self.trial_id(name, link=use)
            t = tables.plan.c
            query = (
                sa.select(t.version, t.text, t.fingerprint, t.locked, t.why, t.recorded)
                .where(t.trial == trial)
                .order_by(t.version)
            )
            return [PlanVersion(v, x, f, bool(k), w, r) for v, x, f, k, w, r in use.execute(query)]

    # -- entries --------------------------------------------------------------------------------

    def add(
        self,
        entries: Iterable[Entry],
        *,
        now: datetime,
        rounds: Iterable[Round] = (),
        make_heaps: bool = False,
        link: Connection | None = None,
    ) -> Added:
        """Append new entries (version 1) and the rounds they point at, in one transaction.

        An entry whose id is known with the same content is counted as known and not written;
        with other content it raises `ConflictError`, and nothing of the call is written.
        """
        entries, rounds = list(entries), list(rounds)
        if not entries and not rounds:
            return Added()
        if link is None:
            with self.write() as made:
                return self.add(entries, now=now, rounds=rounds, make_heaps=make_heaps, link=made)
        names = {e.trial for e in entries} | {r.trial for r in rounds}
        trials = {
            n: self.ensure_trial(n, now=now, link=link)
            if make_heaps
            else self.trial_id(n, link=link)
            for n in names
        }
        heaps: dict[str, dict[str, str]] = {}
        for name, trial in trials.items():
            wanted = [e.heap for e in entries if e.trial == name and e.heap]
            heaps[name] = (
                self.ensure_heaps(trial, wanted, now=now, link=link)
                if make_heaps
                else self.heap_ids(trial, link=link)
            )
        self._add_rounds(rounds, trials, now=now, link=link)
        total = Added()
        for kind, table in tables.ENTRY_TABLES.items():
            batch = [
                rows.to_row(e, trial=trials[e.trial], heaps=heaps[e.trial], now=now)
                for e in entries
                if e.kind == kind
            ]
            added = self._insert(table, batch, link=link)
            total = Added(total.new + added.new, total.known + added.known)
        return total

    def _add_rounds(
        self, rounds: Sequence[Round], trials: dict[str, str], *, now: datetime, link: Connection
    ) -> None:
        known = self._known(tables.round_, [r.id for r in rounds], link)
        for walk in rounds:
            other = known.get(walk.id)
            if other is not None and (
                other["trial"] != trials[walk.trial]
                or other["low"] != walk.when.low.replace(microsecond=0)
                or other["high"] != walk.when.high.replace(microsecond=0)
            ):
                raise ConflictError(
                    "this id already stands for another round",
                    field="id",
                    value=walk.id,
                    way_out="Use a new id for another round",
                )
        fresh = {
            r.id: {
                "id": r.id,
                "trial": trials[r.trial],
                "low": r.when.low,
                "high": r.when.high,
                "typed_when": r.when.typed,
                "reader": r.reader,
                "note": r.note,
                "recorded": now,
            }
            for r in rounds
            if r.id not in known
        }
        if fresh:
            link.execute(sa.insert(tables.round_), list(fresh.values()))

    def _insert(self, table: sa.Table, batch: list[dict[str, Any]], *, link: Connection) -> Added:
        if not batch:
            return Added()
        known = self._known(table, [r["id"] for r in batch], link)
        fresh: dict[str, dict[str, Any]] = {}
        doubles = 0
        for row in batch:
            other = known.get(row["id"]) or fresh.get(row["id"])
            if other is None:
                fresh[row["id"]] = row
            elif rows.same(row, other):
                doubles += 1
            else:
                raise ConflictError(
                    f"this id already stands for another {table.name}",
                    field="id",
                    value=row["id"],
                    way_out="Use a new id, or correct the old entry",
                )
        values = list(fresh.values())
        for start in range(0, len(values), 2000):
            link.execute(sa.insert(table), values[start : start + 2000])
        return Added(len(values), doubles)

    def _known(
        self, table: sa.Table, ids: Sequence[str], link: Connection
    ) -> dict[str, dict[str, Any]]:
        found: dict[str, dict[str, Any]] = {}
        for start in range(0, len(ids), _CHUNK):
            query = sa.select(table).where(table.c.id.in_(ids[start : start + _CHUNK]))
            for row in link.execute(query).mappings():
                found[row["id"]] = dict(row)
        return found

    def current(
        self, kind: str, trial: str, *, heap: str | None = None, withdrawn: bool = False
    ) -> list[Any]:
        """The entries of a kind that stand now, in order of time.

        kind : ``reading``, ``event``, ``sample`` or ``weather``; trial, heap : names.
        Withdrawn ones are left out unless asked for.
        """
        table = tables.ENTRY_TABLES[kind]
        later = table.alias("later")
        with self.read() as link:
            query = (
                self._select(table)
                .where(table.c.trial == self.trial_id(trial, link=link))
                .where(~sa.exists().where(later.c.replaces == table.c.id))
                .order_by(table.c.low, table.c.id)
            )
            if not withdrawn:
                query = query.where(table.c.action != "withdrawn")
            if heap is not None and kind != "weather":
                ids = self.heap_ids(self.trial_id(trial, link=link), link=link)
                same = [i for n, i in ids.items() if n.lower() == heap.strip().lower()]
                query = query.where(table.c.heap.in_(same))
            return [rows.from_row(kind, dict(row)) for row in link.execute(query).mappings()]

    def trails(self, trial: str) -> list[tuple[str, str, str]]:
        """Action, chain and source of every version of every entry of a trial, without the rest."""
        out: list[tuple[str, str, str]] = []
        with self.read() as link:
            trial_id = self.trial_id(trial, link=link)
            for table in tables.ENTRY_TABLES.values():
                query = sa.select(table.c.action, table.c.root, table.c.source)
                out += [
                    (a, r, s) for a, r, s in link.execute(query.where(table.c.trial == trial_id))
                ]
        return out

    def history(self, trial: str, *, id: str | None = None) -> list[Entry]:
        """Every version of every entry of a trial (or of one chain), in order of recording."""
        out: list[Entry] = []
        with self.read() as link:
            trial_id = self.trial_id(trial, link=link)
            for kind, table in tables.ENTRY_TABLES.items():
                query = self._select(table).where(table.c.trial == trial_id)
                if id is not None:
                    roots = sa.select(table.c.root).where(table.c.id.startswith(id))
                    query = query.where(table.c.root.in_(roots))
                query = query.order_by(table.c.low, table.c.root, table.c.version)
                out += [rows.from_row(kind, dict(row)) for row in link.execute(query).mappings()]
        return out

    def find(self, trial: str, id: str) -> Entry:
        """The current version of the chain that an id (or its first characters) belongs to.

        Raises `UnknownNameError` when none or several chains fit.
        """
        versions = self.history(trial, id=id) if id.strip() else []
        chains = {e.trail.root for e in versions}
        if len(chains) == 1:
            return max(versions, key=lambda e: e.trail.version)
        raise UnknownNameError(
            "no entry has this id" if not chains else f"{len(chains)} entries begin like this",
            field="id",
            value=id,
            way_out="See the ids in: heapwright history",
        )

    def append(self, entry: Entry, *, now: datetime, link: Connection | None = None) -> Entry:
        """Append the next version of a chain; ``entry.trail.replaces`` must be the current one.

        Raises `ConflictError` when somebody else replaced it first.
        """
        if link is None:
            with self.write() as made:
                return self.append(entry, now=now, link=made)
        trial = self.trial_id(entry.trial, link=link)
        row = rows.to_row(entry, trial=trial, heaps=self.heap_ids(trial, link=link), now=now)
        try:
            with link.begin_nested():
                link.execute(sa.insert(tables.ENTRY_TABLES[entry.kind]).values(**row))
        except sa.exc.IntegrityError:
            raise ConflictError(
                "it was changed meanwhile",
                field="id",
                value=entry.trail.replaces,
                way_out="Look again: heapwright history",
            ) from None
        return entry

    # -- forecasts and fits -----------------------------------------------------------------------

    def add_forecasts(
        self, trial: str, forecasts: Sequence[Forecast], *, now: datetime | None = None
    ) -> Added:
        """Append forecasts for the trial called *trial*, in one transaction.

        A forecast for the same heap, spot and time, made at the same second, is counted as known
        when it says the same; when it says something else it raises `ConflictError`, and nothing
        of the call is written. Raises `UnknownNameError` for a trial or heap the book does not
        have. now : when the book takes them, aware; the present moment if None.
        """
        if not forecasts:
            return Added()
        with self.write() as link:
            trial_id = self.trial_id(trial, link=link)
            heaps = self.heap_ids(trial_id, link=link)
            taken = now or utc_now()
            batch = [
                rows.forecast_row(f, trial=trial_id, heaps=heaps, now=taken) for f in forecasts
            ]
            try:
                return self._insert(tables.forecast, batch, link=link)
            except ConflictError as error:
                ids = [row["id"] for row in batch]
                one = forecasts[ids.index(str(error.value))]
                raise ConflictError(
                    "a forecast made at the same moment says something else, and what was "
                    "forecast is never changed",
                    field="forecast",
                    value=f"heap {one.heap}, {one.spot}, {one.due.isoformat(timespec='minutes')}",
                    way_out="Keep this one as made at another moment",
                ) from None

    def forecasts(self, trial: str) -> list[Forecast]:
        """Every forecast for the trial called *trial*: oldest first, then by the time it is about.

        Times come back in UTC, to the second. Raises `UnknownNameError`.
        """
        t = tables.forecast
        with self.read() as link:
            query = (
                self._select(t)
                .where(t.c.trial == self.trial_id(trial, link=link))
                .order_by(t.c.made, t.c.due, tables.heap.c.name, t.c.spot)
            )
            return [rows.forecast_from(dict(row)) for row in link.execute(query).mappings()]

    def keep_fit(
        self, trial: str, print_: str, passes: int, payload: bytes, *, now: datetime | None = None
    ) -> None:
        """Keep what a fit had learned after a number of passes, in place of what was kept of it.

        print_ : which fit, 1 to 16 letters; passes : passes done, 0 or more; now : aware, the
        present moment if None. Raises `InputError` and `UnknownNameError`.
        """
        check_print(print_)
        if passes < 0:
            raise InputError(
                "a fit cannot have done less than nothing", field="passes", value=passes,
                way_out="Give the number of passes done",
            )  # fmt: skip
        t = tables.fit
        with self.write() as link:
            trial_id = self.trial_id(trial, link=link)
            key = {"trial": trial_id, "print": print_, "passes": passes}
            # somebody who keeps the same at this very moment has learned the same
            with contextlib.suppress(sa.exc.IntegrityError), link.begin_nested():
                link.execute(sa.delete(t).where(*(t.c[name] == v for name, v in key.items())))
                link.execute(
                    sa.insert(t).values(
                        id=new_id(), payload=payload, recorded=now or utc_now(), **key
                    )
                )

    def kept_fit(self, trial: str, print_: str) -> tuple[int, bytes] | None:
        """Passes done and what was learned, of the fit that got furthest; None if none is kept.

        Raises `UnknownNameError` for a trial the book does not have.
        """
        t = tables.fit.c
        with self.read() as link:
            query = (
                sa.select(t.passes, t.payload)
                .where(t.trial == self.trial_id(trial, link=link), t.print == print_)
                .order_by(t.passes.desc())
                .limit(1)
            )
            found = link.execute(query).first()
            return None if found is None else (int(found.passes), bytes(found.payload))

    def drop_fits(self, trial: str, but: str) -> None:
        """Throw away the kept fits of a trial except those with the print *but*.

        Only the cache is touched. Raises `UnknownNameError` for an unknown trial.
        """
        t = tables.fit
        with self.write() as link:
            trial_id = self.trial_id(trial, link=link)
            link.execute(sa.delete(t).where(t.c.trial == trial_id, t.c.print != but))

    # -- looks and mappings -----------------------------------------------------------------------

    def count_look(self, trial: str, *, ended: bool, what: str, now: datetime) -> tuple[int, int]:
        """Note one look at findings; returns looks (before the end, in all), this one included."""
        with self.write() as link:
            trial_id = self.trial_id(trial, link=link)
            link.execute(
                sa.insert(tables.look).values(
                    id=new_id(), trial=trial_id, at=now, ended=int(ended), what=what
                )
            )
            marks = list(
                link.scalars(sa.select(tables.look.c.ended).where(tables.look.c.trial == trial_id))
            )
        return sum(1 for m in marks if not m), len(marks)

    def remembered(self, header: str) -> str | None:
        """The answers given last time for a sheet with this header, as JSON text."""
        with self.read() as link:
            t = tables.mapping.c
            return link.scalar(sa.select(t.answers).where(t.header == header))

    def remember(self, header: str, answers: str, *, now: datetime, link: Connection) -> None:
        """Keep answers for sheets with this header."""
        t = tables.mapping
        link.execute(sa.delete(t).where(t.c.header == header))
        link.execute(sa.insert(t).values(header=header, answers=answers, recorded=now))

    # -- helpers --------------------------------------------------------------------------------

    @contextlib.contextmanager
    def _link(self, link: Connection | None) -> Iterator[Connection]:
        if link is not None:
            yield link
        else:
            with self.read() as made:
                yield made

    @staticmethod
    def _select(table: sa.Table) -> Any:
        trial_name = tables.trial.c.name.label("trial_name")
        source = table.join(tables.trial, tables.trial.c.id == table.c.trial)
        if "heap" in table.c:
            source = source.join(tables.heap, tables.heap.c.id == table.c.heap)
            return sa.select(table, trial_name, tables.heap.c.name.label("heap_name")).select_from(
                source
            )
        return sa.select(table, trial_name).select_from(source)


def next_version(
    entry: Entry, action: Any, *, why: str, source: str, when: When | None = None, **changes: Any
) -> Entry:
    """A copy of *entry* that replaces it, with a new id and the given changes."""
    trail = Trail(
        root=entry.trail.root or entry.id,
        version=entry.trail.version + 1,
        action=action,
        replaces=entry.id,
        why=why,
        source=source,
    )
    return replace(entry, id=new_id(), trail=trail, when=when or entry.when, **changes)


def _engine(where: str) -> Engine:
    if "://" in where:
        try:
            return sa.create_engine(where, pool_pre_ping=True)
        except Exception:
            raise BookError(
                "this database address cannot be used",
                field="book",
                value=where.split("@")[-1],
                way_out="Write postgresql+psycopg://user@host/name (needs heapwright[postgresql])",
            ) from None
    engine = sa.create_engine(f"sqlite:///{where}", connect_args={"timeout": 30})

    @sa.event.listens_for(engine, "connect")
    def _connect(dbapi: Any, _: Any) -> None:
        dbapi.isolation_level = None
        cursor = dbapi.cursor()
        for pragma in ("journal_mode=WAL", "busy_timeout=30000", "foreign_keys=ON"):
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    @sa.event.listens_for(engine, "begin")
    def _begin(link: Connection) -> None:
        write = link.get_execution_options().get("heapwright_write")
        link.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

    return engine


@contextlib.contextmanager
def _said(what: str, shown: str) -> Iterator[None]:
    """Database failures as a `BookError` in plain words."""
    try:
        yield
    except sa.exc.OperationalError as error:
        cause = str(error.orig).strip().splitlines()[0] if error.orig else "no answer"
        raise BookError(
            f"{what} ({cause})",
            field="book",
            value=shown,
            way_out="Check the path, the disk and that no other program holds it",
        ) from None
    except sa.exc.DatabaseError as error:
        cause = str(error.orig).strip().splitlines()[0] if error.orig else "damaged"
        raise BookError(
            f"{what} ({cause})",
            field="book",
            value=shown,
            way_out="Is this file a book? Restore a backup or name another with --book",
        ) from None
    except OSError as error:
        raise BookError(
            f"{what} ({error.strerror or error})",
            field="book",
            value=shown,
            way_out="Name another place with --book",
        ) from None


def utc_now() -> datetime:
    """The present moment, aware; for callers at the border only."""
    return datetime.now(UTC).replace(microsecond=0)
