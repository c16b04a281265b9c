"""Run some of a fitted ensemble again, for more than a fit keeps of its members.

Units: days of heap age. Conventions: members are taken evenly, two dozen unless there are fewer:
a range of 80 % is steady then, own choice.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from heapwright.inference.crew import Crew
from heapwright.inference.fit import Fitted

__all__ = ["run_again"]

_MEMBERS = 24


def run_again(
    fitted: Fitted,
    heap: str,
    until_d: float,
    what: Callable[..., list[Any]],
    *,
    crew: Crew | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> list[Any]:
    """What *what* makes of members of a heap until an age; see `heapwright.inference.crew.Crew`."""
    every = fitted.numbers(heap)
    picks = np.unique(np.linspace(0, len(every) - 1, min(_MEMBERS, len(every))).astype(int))
    count = [0]

    def tell(more: int) -> None:
        count[0] += more
        if on_progress is not None:
            on_progress(count[0], len(picks))

    work = [(fitted.subject(heap), [every[k] for k in picks])]
    (made,) = (crew or Crew(1)).run(
        work, until_d, fitted.settings.cell_m, what=what, on_done=tell
    )  # fmt: skip
    return made
