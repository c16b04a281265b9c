"""Sharing out loads fairly, and drawing lots for the ways.

Units: a score is any measure of leafiness, the same for all loads (0 to 1, or per cent); heaps are
numbered from 0 in the order of their names. Conventions: dealing uses no chance, so that a sheet
can be followed by hand; lots use the random numbers given to them, so that a seed repeats the draw.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from heapwright.errors import ImpossibleError, InputError, QuantityError

__all__ = ["Balance", "balance", "deal_buffered", "deal_one_at_a_time", "draw_lots", "next_heap"]


@dataclass(frozen=True, slots=True)
class Balance:
    """How even the shares came out.

    loads : loads by heap; mean_score : mean score by heap (nan for a heap without a load);
    load_gap : largest difference in loads; score_gap, score_sd : largest difference and standard
    deviation of the heap means.
    """

    loads: Mapping[str, int]
    mean_score: Mapping[str, float]
    load_gap: int
    score_gap: float
    score_sd: float

    @property
    def even(self) -> bool:
        """True if no heap has more than one load more than another."""
        return self.load_gap <= 1


def next_heap(counts: Sequence[int], sums: Sequence[float], score: float) -> int:
    """The heap for one load when no other stands by: fewest loads, ties by the running sum.

    A load leafier than those dealt so far goes to the lowest running sum, another to the highest.

    Parameters
    ----------
    counts, sums : sequences, one entry a heap
        Loads dealt so far, and the sum of their scores.
    score : float
        Score of the load in hand.

    Returns
    -------
    int
        Number of the heap.

    Examples
    --------
    >>> next_heap([1, 1], [0.2, 0.6], 0.9), next_heap([1, 0], [0.2, 0.0], 0.9)
    (0, 1)
    """
    _score(score)
    if not counts or len(counts) != len(sums):
        raise InputError("every heap needs a count and a sum", field="heaps", value=len(counts))
    fewest = min(counts)
    tied = [i for i, n in enumerate(counts) if n == fewest]
    dealt = sum(counts)
    leafy = dealt == 0 or score >= sum(sums) / dealt
    return min(tied, key=lambda i: sums[i] if leafy else -sums[i])


def deal_one_at_a_time(scores: Sequence[float], heaps: int) -> list[int]:
    """The heap of every load, each dealt before the next is seen (`next_heap`).

    >>> deal_one_at_a_time([0.9, 0.1, 0.8, 0.2], 2)
    [0, 1, 1, 0]
    """
    _enough(heaps)
    counts, sums = [0] * heaps, [0.0] * heaps
    dealt = []
    for score in scores:
        heap = next_heap(counts, sums, score)
        counts[heap] += 1
        sums[heap] += score
        dealt.append(heap)
    return dealt


def deal_buffered(scores: Sequence[float], heaps: int) -> list[int]:
    """The heap of every load when as many loads as heaps can stand by.

    Of each H loads in the order they come, the leafiest goes to the heap with the lowest running
    sum, the next to the next, so that every heap gets one. A last incomplete lot is dealt alike.

    Parameters
    ----------
    scores : sequence of float
        Leafiness of the loads, in the order they come.
    heaps : int
        Number of heaps, >= 1.

    Returns
    -------
    list of int
        Number of the heap of every load. Raises QuantityError for no heap or a score that is not
        a number.

    Examples
    --------
    >>> deal_buffered([0.9, 0.1, 0.8, 0.2], 2)
    [0, 1, 1, 0]
    """
    _enough(heaps)
    sums = [0.0] * heaps
    dealt = [0] * len(scores)
    for start in range(0, len(scores), heaps):
        lot = range(start, min(start + heaps, len(scores)))
        loads = sorted(lot, key=lambda k: (-_score(scores[k]), k))
        takers = sorted(range(heaps), key=lambda i: (sums[i], i))
        for load, heap in zip(loads, takers, strict=False):
            dealt[load] = heap
        for load in lot:
            sums[dealt[load]] += scores[load]
    return dealt


def draw_lots(
    heaps: Sequence[str], ways: Mapping[str, int], rng: np.random.Generator
) -> dict[str, str]:
    """Which heap gets which way, every assignment with these counts as likely as any other.

    Parameters
    ----------
    heaps : sequence of str
        Names, in the order they stand in the plan; no two alike.
    ways : mapping of str to int
        How many heaps each way gets; must add up to the number of heaps.
    rng : numpy.random.Generator
        Its seed is written down with the draw, and repeats it.

    Returns
    -------
    dict of str to str
        Way by heap.

    Raises
    ------
    InputError
        Two heaps of one name, or a negative count.
    ImpossibleError
        The counts do not add up to the heaps.

    Examples
    --------
    >>> lots = draw_lots(["A", "B"], {"turned": 1, "left": 1}, np.random.default_rng(7))
    >>> sorted(lots.values())
    ['left', 'turned']
    """
    if len(set(heaps)) != len(heaps):
        raise InputError("two heaps have the same name", field="heaps", value=", ".join(heaps))
    if any(count < 0 for count in ways.values()):
        raise InputError("a way cannot have fewer than no heaps", field="ways", value=dict(ways))
    wanted = sum(ways.values())
    if wanted != len(heaps):
        raise ImpossibleError(
            f"the ways ask for {wanted} heaps and there are {len(heaps)}",
            field="ways",
            value=", ".join(f"{way} {count}" for way, count in ways.items()),
            way_out="Change the number of heaps of a way, or build another heap",
        )
    slots = [way for way, count in ways.items() for _ in range(count)]
    order = rng.permutation(len(slots))
    return {heap: slots[int(k)] for heap, k in zip(heaps, order, strict=True)}


def balance(scores: Sequence[float], dealt: Sequence[int], heaps: Sequence[str]) -> Balance:
    """How even the shares are: loads and mean leafiness by heap.

    >>> balance([0.9, 0.1, 0.8, 0.2], [0, 1, 1, 0], ["A", "B"]).load_gap
    0
    """
    _enough(len(heaps))
    if len(scores) != len(dealt):
        raise InputError(
            "every load needs a score and a heap",
            field="loads",
            value=f"{len(scores)} scores, {len(dealt)} heaps",
        )
    loads, means = {}, {}
    for i, heap in enumerate(heaps):
        mine = [_score(s) for s, d in zip(scores, dealt, strict=True) if d == i]
        loads[heap] = len(mine)
        means[heap] = sum(mine) / len(mine) if mine else math.nan
    known = [m for m in means.values() if not math.isnan(m)]
    return Balance(
        loads=loads,
        mean_score=means,
        load_gap=max(loads.values()) - min(loads.values()),
        score_gap=max(known) - min(known) if known else 0.0,
        score_sd=float(np.std(known, ddof=1)) if len(known) > 1 else 0.0,
    )


def _enough(heaps: int) -> None:
    if heaps < 1:
        raise QuantityError("there must be at least one heap", field="heaps", value=heaps)


def _score(score: float) -> float:
    if not math.isfinite(score):
        raise QuantityError(
            "the score of a load must be a number",
            field="leafiness",
            value=score,
            way_out="Look at the load again, or give all loads the same score",
        )
    return score
