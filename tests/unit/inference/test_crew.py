"""What a crew does with chunks that are lost, and with errors that are not losses."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from concurrent.futures import CancelledError, Executor, Future
from typing import Any

import numpy as np
import pytest
from tests.unit.inference.invented import course, subject

from heapwright.errors import ImpossibleError, InputError
from heapwright.inference.crew import Crew
from heapwright.inference.members import member_of, run_chunk
from heapwright.inference.priors import Space

WORK = [("A", [{"rate": float(k)} for k in range(5)]), ("B", [{"rate": 7.0}])]


class GoneError(Exception):
    """What an executor says of a worker that died."""


class Careless(Executor):
    """Does the work at once, and loses the chunks it is told to."""

    def __init__(self, loses: Callable[[int], bool], with_: type[BaseException]) -> None:
        self.loses, self.with_, self.handed = loses, with_, 0

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        self.handed += 1
        if self.loses(self.handed):
            if self.with_ is CancelledError:
                future.cancel()
                future.set_running_or_notify_cancel()
            else:
                future.set_exception(self.with_("gone"))
            return future
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


def rates(subject: str, numbers: list[dict[str, float]], *_: object) -> list[tuple[str, float]]:
    return [(subject, n["rate"]) for n in numbers]


def refuses(*_: object) -> list[object]:
    raise InputError("cannot stand", field="rate")


def divides(*_: object) -> list[object]:
    return [1 / 0]


@pytest.mark.parametrize("error", [GoneError, CancelledError, ConnectionResetError])
def test_a_lost_chunk_is_handed_out_again(error: type[BaseException]) -> None:
    expected = Crew(1).run(WORK, 1.0, None, what=rates)
    pool = Careless(lambda n: n in (1, 3, 7), error)
    told: list[int] = []
    with Crew(2, pool) as crew:
        assert crew.run(WORK, 1.0, None, what=rates, on_done=told.append) == expected
    assert pool.handed > 6
    assert sum(told) == 6


def test_a_chunk_lost_three_times_is_given_up_with_its_reason() -> None:
    pool = Careless(lambda n: n >= 6, GoneError)
    with pytest.raises(ImpossibleError, match="three times") as caught, Crew(2, pool) as crew:
        crew.run(WORK, 1.0, None, what=rates)
    assert isinstance(caught.value.__cause__, GoneError)
    assert pool.handed == 6 + 2


@pytest.mark.parametrize(("what", "error"), [(refuses, InputError), (divides, ZeroDivisionError)])
def test_an_error_of_the_work_itself_is_not_tried_again(
    what: Callable[..., list[Any]], error: type[Exception]
) -> None:
    pool = Careless(lambda n: False, GoneError)
    with pytest.raises(error), Crew(2, pool) as crew:
        crew.run(WORK, 1.0, None, what=what)
    assert pool.handed == 6


def test_all_that_is_sent_and_comes_back_can_be_pickled() -> None:
    heap = subject()
    space = Space(("A",), (("A", "core"), ("A", "top")))
    numbers = space.numbers(space.draw(4, 1)[:, 0], "A")
    for thing in (run_chunk, heap, numbers, member_of(heap, numbers, 0.3), course([20.0, 30.0])):
        pickle.loads(pickle.dumps(thing))
    again = pickle.loads(pickle.dumps(heap))
    one, other = (s.course(numbers, 0.2, 0.3) for s in (heap, again))
    assert np.array_equal(one.curves["mean_c"], other.curves["mean_c"])
    assert all(np.array_equal(one.spots[s]["temp_c"], other.spots[s]["temp_c"]) for s in one.spots)
