"""Fixtures every test may use: a book on SQLite and on PostgreSQL, a fixed clock, long counts."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

NOW = datetime(2026, 7, 2, 8, 0, tzinfo=UTC)
LONG = os.environ.get("HEAPWRIGHT_LONG") == "1"


@pytest.fixture(autouse=True)
def _quiet_environment(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """No test ever touches the keeper's own book or clock."""
    monkeypatch.setenv("HEAPWRIGHT_BOOK", str(tmp_path / "book.sqlite"))
    monkeypatch.setenv("HEAPWRIGHT_NOW", NOW.isoformat())
    monkeypatch.setenv("NO_COLOR", "1")


@pytest.fixture
def now() -> datetime:
    """The moment tests take as now."""
    return NOW


@pytest.fixture(scope="session")
def postgresql(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of a PostgreSQL server that this run starts for itself."""
    folder = tmp_path_factory.mktemp("postgresql")
    with _server(folder) as address:
        yield address


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def book_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Where an empty book may be opened: once on SQLite, once on PostgreSQL."""
    if request.param == "sqlite":
        yield str(tmp_path / "book.sqlite")
        return
    server = request.getfixturevalue("postgresql")
    with _database(server) as url:
        yield url


@contextlib.contextmanager
def _database(server: str) -> Iterator[str]:
    import psycopg

    name = f"book_{uuid.uuid4().hex}"
    with psycopg.connect(f"{server}/postgres", autocommit=True) as link:
        link.execute(f'create database "{name}"')
    try:
        yield f"{server}/{name}".replace("postgresql://", "postgresql+psycopg://")
    finally:
        with psycopg.connect(f"{server}/postgres", autocommit=True) as link:
            link.execute(f'drop database "{name}" with (force)')


@contextlib.contextmanager
def _server(folder: Path) -> Iterator[str]:
    """A PostgreSQL server on a free loopback port, run by another user when we are root."""
    programs = _programs()
    data = Path("/tmp") / f"heapwright-pg-{uuid.uuid4().hex[:8]}"
    data.mkdir(mode=0o700)
    prefix: list[str] = []
    if os.geteuid() == 0:
        user = "postgres"
        shutil.chown(data, user=user)
        prefix = ["runuser", "-u", user, "--"]
    log = folder / "server.log"
    with log.open("w") as out:
        subprocess.run(
            [*prefix, programs / "initdb", "-D", data, "-U", "book", "-A", "trust", "--no-sync"],
            check=True, stdout=out, stderr=out, cwd="/",
        )  # fmt: skip
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        process = subprocess.Popen(
            [*prefix, programs / "postgres", "-D", data, "-h", "127.0.0.1", "-p", str(port),
             "-k", data, "-c", "fsync=off"],
            stdout=out, stderr=out, cwd="/",
        )  # fmt: skip
        address = f"postgresql://book@127.0.0.1:{port}"
        try:
            _wait(address, log)
            yield address
        finally:
            process.terminate()
            process.wait(timeout=30)
            shutil.rmtree(data, ignore_errors=True)


def _programs() -> Path:
    """The folder of initdb and postgres."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    assert on_path, "PostgreSQL is missing: run scripts/debian-packages"
    return Path(on_path).parent


def _wait(address: str, log: Path) -> None:
    import time

    import psycopg

    for _ in range(200):
        try:
            psycopg.connect(f"{address}/postgres", connect_timeout=2).close()
        except psycopg.OperationalError:
            time.sleep(0.1)
        else:
            return
    raise AssertionError(f"the PostgreSQL server did not start:\n{log.read_text()}")
