"""What to measure next: which reading would narrow a forecast most.

Units: degrees C. Conventions: members and what readings are off are taken as normal together, so
that how far a reading narrows does not depend on what it will say. A cheap reading that narrows as
much comes first; what a reading costs in minutes is an own estimate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heapwright.inference.fit import Fitted
from heapwright.inference.forecast import carried_on
from heapwright.inference.readings import Read

__all__ = ["Worth", "worth_of"]

#: minutes that a reading takes (own estimates)
_MINUTES = {
    "temp_c": 2.0, "o2": 6.0, "moisture_wb": 12.0, "height_m": 3.0, "volume_m3": 10.0,
    "mass_kg": 60.0, "dry_kg": 60.0,
}  # fmt: skip
#: readings of which one narrows less than this much of the SD are as good as none
_NOTHING = 0.02


@dataclass(frozen=True, slots=True)
class Worth:
    """What one more reading is worth: read; before_c, after_c : SD of what is forecast without and
    with it; minutes it takes."""

    read: Read
    before_c: float
    after_c: float
    minutes: float

    @property
    def narrows(self) -> float:
        """Share of the SD that goes."""
        return 1.0 - self.after_c / self.before_c if self.before_c > 0 else 0.0


def worth_of(
    fitted: Fitted, possible: Sequence[Read], target: Sequence[Read], *, beside: Sequence[Read] = ()
) -> tuple[Worth, ...]:
    """What each possible reading is worth for the mean of *target*, most for its time first.

    beside : readings that will be taken anyway. Readings that narrow hardly at all are left out.
    Raises as `heapwright.inference.forecast.expected`.
    """
    ahead = [*target, *beside, *possible]
    mean, cov = carried_on(fitted, ahead, fitted.said(ahead), fitted.errors)
    apart = mean - mean.mean(axis=1, keepdims=True)
    spread = apart @ apart.T / max(mean.shape[1] - 1, 1) + cov
    n, m = len(target), len(beside)
    weight = np.zeros(len(ahead))
    weight[:n] = 1.0 / n
    # what is wanted is how warm it is, not what a probe will be off
    wanted = spread.copy()
    wanted[:n, :n] -= np.diag(np.full(n, fitted.errors.reading**2))
    made = []
    for k, read in enumerate(possible):
        known = [*range(n, n + m), n + m + k]
        before = _left(wanted, spread, weight, known[:-1])
        after = _left(wanted, spread, weight, known)
        worth = Worth(read, before, after, _MINUTES[read.quantity])
        if worth.narrows >= _NOTHING:
            made.append(worth)
    made.sort(key=lambda w: (-w.narrows / (w.minutes + 5.0), w.read.heap, w.read.spot))
    return tuple(made)


def _left(
    wanted: np.ndarray[tuple[int, int], np.dtype[np.float64]],
    spread: np.ndarray[tuple[int, int], np.dtype[np.float64]],
    weight: np.ndarray[tuple[int], np.dtype[np.float64]],
    known: list[int],
) -> float:
    """SD of the weighted mean once *known* was read."""
    left = float(weight @ wanted @ weight)
    if known:
        across = weight @ spread[:, known]
        left -= float(across @ np.linalg.solve(spread[np.ix_(known, known)], across))
    return float(np.sqrt(max(left, 0.0)))
