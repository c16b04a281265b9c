"""Who runs the members of a fit: this machine, or a Dask cluster that is there already.

Conventions: the cluster is somebody else's; it is neither started nor stopped here. Its workers
need the same version of Heapwright. A simulation keeps its process busy, so workers of one thread
each do most. Numbers are the same as here on processors of the same kind; other kinds may differ in
the last digits. Without any worker left a fit waits until one comes back.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import BrokenExecutor, Executor, Future, InvalidStateError
from pkgutil import resolve_name
from typing import Any

import heapwright
from heapwright.errors import InputError
from heapwright.inference.crew import Crew

__all__ = ["crew_for"]

#: how long to try to reach a cluster, and to wait for its first worker [s]
_PATIENCE_S = 10.0
_VERSION = "heapwright:__version__"


@contextlib.contextmanager
def crew_for(workers: int | None, cluster: str | None) -> Iterator[Crew]:
    """A crew on this machine, or on the cluster whose scheduler has the address *cluster*.

    workers : processes of this machine, as many as it has cores by default; a cluster has its own
    number. Raises `InputError` where the cluster cannot be reached, has no worker or has workers
    with another Heapwright, and where the package that talks to it is missing.
    """
    if workers is not None and workers < 1:
        raise InputError("at least one process is needed", field="jobs", value=workers)
    if cluster is None:
        with Crew(workers or _cores()) as crew:
            yield crew
        return
    if workers is not None:
        raise InputError(
            "counts processes of this machine; a cluster has its own workers", field="jobs",
            value=workers, way_out="Give either jobs or a cluster",
        )  # fmt: skip
    with _client(cluster) as client:
        threads = _threads(client, cluster)
        _same_version(client, cluster)
        with _There(client, cluster) as there, Crew(sum(threads.values()), there) as crew:
            yield crew


class _There(Executor):
    """Does work on the cluster; what is not done when the scheduler is gone counts as cancelled."""

    def __init__(self, client: Any, cluster: str) -> None:
        self._client, self._cluster = client, cluster
        # pure=False: a chunk that is handed out again is a new task, not the failed one
        self._theirs: Executor = client.get_executor(pure=False)
        self._waiting: set[Future[Any]] = set()
        self._ended = threading.Event()
        threading.Thread(target=self._watch, daemon=True).start()

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """As `concurrent.futures.Executor.submit`; `InputError` when the scheduler is gone."""
        # what is handed out while the connection is down would be cancelled with it
        until = time.monotonic() + 3 * _PATIENCE_S
        while self._client.status == "connecting" and time.monotonic() < until:
            time.sleep(0.1)
        if self._client.status != "running":
            raise _error(
                self._cluster, "the scheduler answers no longer",
                "Start it again, and then this: passes that were done are not done again",
            )  # fmt: skip
        mine: Future[Any] = Future()
        self._waiting.add(mine)
        theirs = self._theirs.submit(fn, *args, **kwargs)
        theirs.add_done_callback(lambda done: self._hand_over(done, mine))
        return mine

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Ends the watch; the rest is the client's."""
        self._ended.set()

    def _hand_over(self, theirs: Future[Any], mine: Future[Any]) -> None:
        self._waiting.discard(mine)
        with contextlib.suppress(InvalidStateError):
            if theirs.cancelled():
                _cancel(mine)
            elif (error := theirs.exception()) is None:
                mine.set_result(theirs.result())
            elif type(error).__module__.partition(".")[0] == "distributed":
                lost = BrokenExecutor(str(error))
                lost.__cause__ = error
                mine.set_exception(lost)
            else:
                mine.set_exception(error)

    def _watch(self) -> None:
        while not self._ended.wait(0.5):
            if self._client.status in ("closing", "closed"):
                for future in tuple(self._waiting):
                    self._waiting.discard(future)
                    _cancel(future)


def _cancel(future: Future[Any]) -> None:
    """Cancel so that whoever waits wakes up."""
    if future.cancel():
        future.set_running_or_notify_cancel()


def _cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextlib.contextmanager
def _client(cluster: str) -> Iterator[Any]:
    """A connection to the cluster, closed in the end; what it was still to do is dropped then."""
    try:
        from distributed import Client
    except ImportError:
        raise _error(
            cluster, "the package that talks to a cluster is not installed",
            'pip install "heapwright[cluster]"',
        ) from None  # fmt: skip
    # what cannot be reached is told once, by us
    with _silent("distributed"):
        try:
            asyncio.run(_answers(cluster))
            client = Client(cluster, timeout=_PATIENCE_S, set_as_default=False)
        except Exception as why:
            raise _error(
                cluster, "no Dask scheduler answers at this address",
                "Start one, or give its address like tcp://HOST:8786; without a cluster this "
                "machine does the work",
            ) from why  # fmt: skip
    try:
        yield client
    finally:
        with _silent("distributed"):
            client.close()


async def _answers(cluster: str) -> None:
    """Raises where nothing answers in time: the library's own limit leaves out the first words,
    for which it would wait forever at the port of another program."""
    from distributed import Client

    client = Client(cluster, timeout=_PATIENCE_S, asynchronous=True, set_as_default=False)
    try:
        await asyncio.wait_for(client, _PATIENCE_S)
    finally:
        await client.close(timeout=1.0)


def _threads(client: Any, cluster: str) -> Mapping[str, int]:
    """Threads of every worker."""
    with contextlib.suppress(TimeoutError):
        client.wait_for_workers(1, timeout=_PATIENCE_S)
    threads: Mapping[str, int] = client.nthreads()
    if not threads:
        raise _error(
            cluster, "the scheduler answers but has no worker",
            f"Start workers for it: dask worker {cluster} --nthreads 1",
        )  # fmt: skip
    return threads


def _same_version(client: Any, cluster: str) -> None:
    """Refuse workers whose Heapwright is another one or missing."""
    found: Mapping[str, object] = client.run(resolve_name, _VERSION, on_error="return")
    others = sorted(
        f"{worker} has {'none' if isinstance(version, BaseException) else version}"
        for worker, version in found.items()
        if version != heapwright.__version__
    )
    if others:
        more = f" and {len(others) - 3} more" if len(others) > 3 else ""
        raise _error(
            cluster,
            f"its workers need Heapwright {heapwright.__version__}; {', '.join(others[:3])}{more}",
            f'Install it there: pip install "heapwright[cluster]=={heapwright.__version__}"',
        )


@contextlib.contextmanager
def _silent(name: str) -> Iterator[None]:
    """Nothing of a library's log reaches the keeper meanwhile."""
    log = logging.getLogger(name)
    before = log.level
    log.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        log.setLevel(before)


def _error(cluster: str, what: str, way_out: str) -> InputError:
    return InputError(what, field="cluster", value=cluster, way_out=way_out)
