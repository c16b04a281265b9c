"""Who runs the members: processes of this machine or any executor of ``concurrent.futures``.

Conventions: work is handed out in chunks of members of one heap; what a chunk gives does not depend
on who runs it, when, or how often, so a chunk whose worker was lost is simply handed out again.
Called from a script, more than one process needs the usual ``if __name__ == "__main__":``.
"""

from __future__ import annotations

import signal
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import (
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    as_completed,
)
from multiprocessing import get_context
from types import TracebackType
from typing import Any

from heapwright.errors import HeapwrightError, ImpossibleError
from heapwright.inference.members import run_chunk

__all__ = ["Crew"]

_TRIES = 3
#: chunks that each worker gets of one piece of work, so that none waits long for the last
_EACH = 4


def _quiet() -> None:
    """In a worker: Ctrl-C is the parent's to handle."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


class Crew:
    """Runs members; a context manager.

    workers : processes of this machine, 1 for none beside this one; executor : of somebody else
    (say a cluster), who closes it; then *workers* is about how many it has.

    >>> with Crew(1) as crew:
    ...     crew.workers
    1
    """

    def __init__(self, workers: int = 1, executor: Executor | None = None) -> None:
        self.workers, self.theirs = workers, executor
        self._own: Executor | None = None

    def __enter__(self) -> Crew:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._own is not None:
            self._own.shutdown(wait=kind is None, cancel_futures=True)

    def run(
        self,
        work: Sequence[tuple[Any, Sequence[Mapping[str, float]]]],
        days: float,
        cell_m: float | None,
        *,
        what: Callable[..., list[Any]] = run_chunk,
        on_done: Callable[[int], None] | None = None,
    ) -> list[list[Any]]:
        """For every (subject, members) the courses of its members, in order.

        what : what is done to a chunk, a function of a module; on_done : called with how many more
        members are done. Raises `ImpossibleError` when a chunk was lost three times.
        """
        chunks = [
            (n, first, list(members[first : first + size]))
            for n, (_, members) in enumerate(work)
            for size in [self._size(sum(len(m) for _, m in work))]
            for first in range(0, len(members), size)
        ]
        made: list[list[Any]] = [[None] * len(members) for _, members in work]

        def keep(n: int, first: int, courses: list[Any]) -> None:
            made[n][first : first + len(courses)] = courses
            if on_done is not None:
                on_done(len(courses))

        if self.workers == 1 and self.theirs is None:
            for n, first, members in chunks:
                keep(n, first, what(work[n][0], members, days, cell_m))
            return made
        todo, why = chunks, None
        for _ in range(_TRIES):
            todo, why = self._hand_out(work, todo, days, cell_m, what, keep)
            if not todo:
                return made
            self._own = None
        raise ImpossibleError(
            "a simulation ended without an answer three times, probably for want of memory",
            way_out="Take larger cells, fewer members or fewer workers",
        ) from why

    def _size(self, members: int) -> int:
        return max(1, -(-members // (_EACH * max(self.workers, 1))))

    def _executor(self) -> Executor:
        if self.theirs is not None:
            return self.theirs
        if self._own is None:
            self._own = ProcessPoolExecutor(self.workers, get_context("spawn"), initializer=_quiet)
        return self._own

    def _hand_out(
        self,
        work: Sequence[tuple[Any, Any]],
        chunks: list[tuple[int, int, list[Any]]],
        days: float,
        cell_m: float | None,
        what: Callable[..., list[Any]],
        keep: Callable[[int, int, list[Any]], None],
    ) -> tuple[list[tuple[int, int, list[Any]]], Exception | None]:
        """Hand chunks out and collect them; gives back what was lost with its worker, and why."""
        lost: list[tuple[int, int, list[Any]]] = []
        why: Exception | None = None
        pool = self._executor()
        futures: dict[Future[list[Any]], tuple[int, int, list[Any]]] = {}
        try:
            for chunk in chunks:
                n, _, members = chunk
                futures[pool.submit(what, work[n][0], members, days, cell_m)] = chunk
        except Exception as error:
            if not _is_loss(error, pool):
                raise
            lost, why = chunks[len(futures) :], error
        for future in as_completed(futures):
            n, first, _ = futures[future]
            try:
                courses = future.result()
            except Exception as error:
                if not _is_loss(error, pool):
                    raise
                lost.append(futures[future])
                why = error
                continue
            keep(n, first, courses)
        return lost, why


def _is_loss(error: Exception, pool: Executor) -> bool:
    """True where a chunk was lost, not refused by what was done to it.

    Besides what ``concurrent.futures`` calls broken or cancelled, that is every error of the
    executor's own package: the work itself raises none of those.
    """
    if isinstance(error, BrokenExecutor | CancelledError | ConnectionError):
        return True
    theirs = type(pool).__module__.partition(".")[0]
    if isinstance(error, HeapwrightError):
        return False
    return type(error).__module__.partition(".")[0] == theirs
