"""Labels that look exchanged: a round that fits far better with two heaps swapped.

Units: degrees C, days. Conventions: every round is judged from all other rounds, by what the
ensemble says before it is fitted, so that a wrong round does not bend what it is judged by. Nothing
is changed: what looks exchanged is left out of the fit and asked about.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from heapwright.inference.readings import ErrorModel, Read, told

__all__ = ["Exchange", "exchanges", "given"]

Floats = NDArray[np.float64]
#: how much likelier the exchange has to be (logarithm), and how unlikely what is written (SDs)
_LIKELIER, _FAR = 6.0, 2.5
#: readings of a round lie this close [d]
_ROUND_D = 0.2


@dataclass(frozen=True, slots=True)
class Exchange:
    """A round that looks exchanged: its day, the two heaps, their readings, what was read and
    expected (means) of one and the other."""

    day: float
    one: str
    other: str
    reads: tuple[Read, ...]
    read_c: tuple[float, float]
    expected_c: tuple[float, float]

    def words(self) -> str:
        """The question to the keeper."""
        (a, b), (ea, eb) = self.read_c, self.expected_c
        return (
            f"Day {self.day:.0f}: {self.one} reads {a:.0f} where I expected about {ea:.0f}, "
            f"{self.other} {b:.0f} where I expected about {eb:.0f}. Exchanged? The round is left "
            "out until you say"
        )


def exchanges(reads: Sequence[Read], said: Floats, errors: ErrorModel) -> tuple[Exchange, ...]:
    """Rounds whose labels look exchanged; said (n, members) : what the members say to *reads*.

    The clearest is set aside first, then all others are judged anew without it. A heap needs
    readings in another round, too: with a single round nothing can be told.
    """
    rounds = _rounds(reads, [n for n, r in enumerate(reads) if r.quantity == "temp_c"])
    found: list[Exchange] = []
    while rounds:
        best: tuple[float, int, Exchange] | None = None
        for k, group in enumerate(rounds):
            rest = [n for other in rounds if other is not group for n in other]
            for one, two in combinations(sorted({reads[n].heap for n in group}), 2):
                pairs = _paired(reads, group, one, two)
                if not pairs or {one, two} - {reads[n].heap for n in rest}:
                    continue
                gain, judged = _judged(reads, said, errors, pairs, rest)
                if judged is not None and (best is None or gain > best[0]):
                    best = gain, k, Exchange(reads[group[0]].day, one, two, *judged)
        if best is None:
            break
        found.append(best[2])
        del rounds[best[1]]
    return tuple(sorted(found, key=lambda e: e.day))


def _rounds(reads: Sequence[Read], warm: list[int]) -> list[list[int]]:
    """Readings grouped into rounds by their time."""
    made: list[list[int]] = []
    for n in sorted(warm, key=lambda k: reads[k].day):
        if made and reads[n].day - reads[made[-1][0]].day <= _ROUND_D:
            made[-1].append(n)
        else:
            made.append([n])
    return made


def _paired(reads: Sequence[Read], group: list[int], one: str, other: str) -> list[tuple[int, int]]:
    """Readings of the same spot of both heaps."""
    by = {(reads[n].heap, reads[n].spot): n for n in group}
    spots = sorted({s for h, s in by if h == one} & {s for h, s in by if h == other})
    return [(by[one, s], by[other, s]) for s in spots]


def _judged(
    reads: Sequence[Read],
    said: Floats,
    errors: ErrorModel,
    pairs: list[tuple[int, int]],
    rest: list[int],
) -> tuple[float, tuple[tuple[Read, ...], tuple[float, float], tuple[float, float]] | None]:
    """How much likelier a round is with its labels exchanged, and if so clearly, what was read and
    expected."""
    first, second = [a for a, _ in pairs], [b for _, b in pairs]
    both = first + second
    mine = [reads[n] for n in both]
    others = [reads[n] for n in rest]
    mean, cov = given(mine, said[both], others, said[rest], errors)
    as_is = np.array([told(r) for r in mine]) - mean
    swapped = np.array([told(reads[n]) for n in second + first]) - mean
    # only the difference between the heaps tells: what both are off together does not
    half = len(pairs)
    apart = np.hstack([np.eye(half), -np.eye(half)])
    spread = apart @ cov @ apart.T
    cost = [float(x @ np.linalg.solve(spread, x)) for x in (apart @ as_is, apart @ swapped)]
    gain = 0.5 * (cost[0] - cost[1])
    if gain < _LIKELIER or cost[0] < _FAR**2:
        return gain, None
    values = np.array([told(r) for r in mine])
    return gain, (
        tuple(mine),
        (float(values[:half].mean()), float(values[half:].mean())),
        (float(mean[:half].mean()), float(mean[half:].mean())),
    )


def given(
    wanted: Sequence[Read],
    said: Floats,
    known: Sequence[Read],
    said_known: Floats,
    errors: ErrorModel,
) -> tuple[Floats, Floats]:
    """Mean and covariance of readings *wanted*, errors of reading included, given those *known*:
    members and what they are off taken as normal together."""
    every = np.vstack([said, said_known])
    apart = every - every.mean(axis=1, keepdims=True)
    spread = apart @ apart.T / max(every.shape[1] - 1, 1)
    spread += errors.covariance([*wanted, *known])
    n = len(wanted)
    gain = np.linalg.solve(spread[n:, n:], spread[n:, :n]).T
    left = np.array([told(r) for r in known]) - said_known.mean(axis=1)
    mean = said.mean(axis=1) + gain @ left
    cov = spread[:n, :n] - gain @ spread[n:, :n]
    return np.asarray(mean), np.asarray(cov)
