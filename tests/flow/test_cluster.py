"""A fit on a Dask cluster: a real scheduler and real workers, one of which is killed on the way."""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Executor
from pathlib import Path

import numpy as np
import pytest
from tests.unit.inference.invented import subject

import heapwright
from heapwright.errors import InputError
from heapwright.inference import crew as crews
from heapwright.inference.crew import Crew
from heapwright.inference.fit import Fitted, Settings, fit
from heapwright.inference.readings import Read
from heapwright.services import cluster
from heapwright.services.cluster import crew_for

HEAPS = (subject("A"), subject("B", moisture_wb=0.5))
READS = tuple(
    Read(heap, spot, day, 30.0 + 6.0 * day + off, probe="p1")
    for heap, off in (("A", 0.0), ("B", -4.0))
    for spot in ("core", "top")
    for day in (1.0, 2.5, 4.0)
)
SETTINGS = Settings(cell_m=0.25, members=12, passes=2)
PASS = SETTINGS.members * len(HEAPS)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _await(address: str) -> None:
    """Until somebody listens there."""
    host, port = address.removeprefix("tcp://").split(":")
    until = time.monotonic() + 30.0
    while True:
        try:
            socket.create_connection((host, int(port)), timeout=1.0).close()
            return
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.1)


@contextlib.contextmanager
def _cluster(
    folder: Path, workers: int, allowed_failures: int = 3
) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A scheduler of this machine and workers of one thread: its address, and all processes,
    the scheduler first."""
    pytest.importorskip("distributed")
    address = f"tcp://127.0.0.1:{_free_port()}"
    settings = {"DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": str(allowed_failures)}
    processes: list[subprocess.Popen[bytes]] = []
    with (folder / "cluster.log").open("wb") as log:

        def start(*args: str) -> None:
            command = [sys.executable, "-m", *args, "--no-dashboard"]
            processes.append(
                subprocess.Popen(
                    command, stdout=log, stderr=log, cwd=folder, env={**os.environ, **settings}
                )
            )

        try:
            start("distributed.cli.dask_scheduler", "--host", "127.0.0.1",
                  "--port", address.rpartition(":")[2])  # fmt: skip
            _await(address)
            for _ in range(workers):
                start("distributed.cli.dask_worker", address, "--nthreads", "1", "--no-nanny",
                      "--host", "127.0.0.1", "--local-directory", str(folder))  # fmt: skip
            yield address, processes
        finally:
            for process in reversed(processes):
                process.kill()
                process.wait(timeout=10)


@contextlib.contextmanager
def _crew_of(address: str, workers: int) -> Iterator[Crew]:
    """The crew of a cluster once all its workers have come."""
    until = time.monotonic() + 30.0
    while True:
        with crew_for(None, address) as crew:
            if crew.workers == workers or time.monotonic() > until:
                yield crew
                return
        time.sleep(0.2)


@pytest.fixture(scope="module")
def here() -> Fitted:
    """The same fit on this machine alone."""
    return fit(HEAPS, READS, settings=SETTINGS, crew=Crew(1))


@pytest.mark.parametrize("allowed_failures", [3, 0], ids=["dask repeats", "we repeat"])
def test_a_worker_killed_in_the_first_pass_changes_no_number(
    tmp_path: Path, here: Fitted, allowed_failures: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With no failure allowed the cluster gives a lost chunk up; the crew hands it out again."""
    killed_at: list[int] = []
    losses: list[str] = []
    is_loss = crews._is_loss

    def noted(error: Exception, pool: Executor) -> bool:
        losses.append(type(error.__cause__ or error).__name__)
        return is_loss(error, pool)

    monkeypatch.setattr(crews, "_is_loss", noted)
    with _cluster(tmp_path, 2, allowed_failures) as (address, processes):

        def kill(done: int, _: int) -> None:
            if not killed_at:
                killed_at.append(done)
                processes[1].kill()

        with _crew_of(address, 2) as crew:
            assert crew.workers == 2
            there = fit(HEAPS, READS, settings=SETTINGS, crew=crew, on_progress=kill)
        assert processes[1].wait(timeout=10) == -9
        assert processes[2].poll() is None
        with crew_for(None, address) as left:
            assert left.workers == 1
    assert 0 < killed_at[0] < PASS
    assert set(losses) == (set() if allowed_failures else {"KilledWorker"})
    assert not np.array_equal(here.first, here.last)
    assert np.array_equal(there.last, here.last)
    assert np.array_equal(there.said(READS), here.said(READS))


def test_a_scheduler_that_is_gone_ends_the_fit_and_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "_PATIENCE_S", 5.0)
    with (
        _cluster(tmp_path, 1) as (address, processes),
        _crew_of(address, 1) as crew,
        pytest.raises(InputError, match=f"cluster = {address}: the scheduler answers no longer"),
    ):
        fit(HEAPS, READS, settings=SETTINGS, crew=crew,
            on_progress=lambda done, total: processes[0].kill())  # fmt: skip


def test_what_is_wrong_with_a_cluster_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "_PATIENCE_S", 1.0)
    nowhere = f"tcp://127.0.0.1:{_free_port()}"
    with pytest.raises(InputError, match=f"cluster = {nowhere}: no Dask scheduler"):
        crew_for(None, nowhere).__enter__()
    for strange in ("tcp://127.0.0.1:door", "carrier-pigeon://loft", "no such place", ""):
        with pytest.raises(InputError, match="no Dask scheduler"):
            crew_for(None, strange).__enter__()
    monkeypatch.setattr(cluster, "_PATIENCE_S", 5.0)
    with _cluster(tmp_path, 1) as (address, _), _crew_of(address, 1):
        monkeypatch.setattr(heapwright, "__version__", "9.9")
        with pytest.raises(InputError, match=r"workers need Heapwright 9\.9; .* has 0") as caught:
            crew_for(None, address).__enter__()
        assert address in str(caught.value)
        monkeypatch.setattr(cluster, "_VERSION", "no_such_package_here:__version__")
        with pytest.raises(InputError, match="has none"):
            crew_for(None, address).__enter__()
    with (
        _cluster(tmp_path, 0) as (empty, _),
        pytest.raises(InputError, match=f"cluster = {empty}: .* has no worker"),
    ):
        crew_for(None, empty).__enter__()


def test_somebody_elses_port_is_no_scheduler(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr(cluster, "_PATIENCE_S", 1.0)
    with socket.socket() as mute:
        mute.bind(("127.0.0.1", 0))
        mute.listen()
        address = f"tcp://127.0.0.1:{mute.getsockname()[1]}"
        with pytest.raises(InputError, match="no Dask scheduler"):
            crew_for(None, address).__enter__()


def test_without_the_package_the_way_to_it_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"heapwright\[cluster\]"):
        crew_for(None, "tcp://127.0.0.1:8786").__enter__()


def test_without_a_cluster_the_crew_is_of_this_machine() -> None:
    with crew_for(3, None) as crew:
        assert (crew.workers, crew.theirs) == (3, None)
    with crew_for(None, None) as crew:
        assert 1 <= crew.workers <= (os.cpu_count() or 1)
    with pytest.raises(InputError, match="jobs"):
        crew_for(0, None).__enter__()
    with pytest.raises(InputError, match="either jobs or a cluster"):
        crew_for(2, "tcp://127.0.0.1:8786").__enter__()
