"""Ratios, shares and numbers in a field: ranges reckoned on a log scale, told as differences.

Units: as the outcome. Conventions: an interval on the log (or logit) scale is turned into the
difference it makes at the level of the control, so that it can be held against the locked
difference and read like any other; a range that excludes 0 does so on both scales.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import InputError, QuantityError
from heapwright.stats.contrast import Interval, pooled_t, welch
from heapwright.stats.counted import ratio_of_counts
from heapwright.stats.outcomes import Model

__all__ = ["as_difference", "as_ratio", "log_welch", "logs", "on_log"]

Groups = Mapping[str, Sequence[float]]


def on_log(
    model: Model, groups: Groups, exposures: Groups, way: str, control: str, *, level: float
) -> Interval:
    """The interval of a ratio (``ratio``), a share or a number in a field, on the log scale.

    groups : one value a heap by way, > 0 for a ratio, a fraction for a share, a mean number a
    field for a rate; exposures : what they were counted in, empty for a ratio.
    Raises `QuantityError` for a ratio that is not above 0; else as the methods themselves.

    >>> r = on_log("ratio", {"a": [20, 22], "b": [30, 27]}, {}, "b", "a", level=0.95)
    >>> round(math.exp(r.estimate), 3), r.df
    (1.357, 2.0)
    """
    if model == "ratio":
        return pooled_t(_logs(groups), way, control, level=level)
    if model == "difference":
        raise InputError("a plain difference needs no log scale", field="model", value=model)
    counts = {
        w: np.asarray(v, dtype=np.float64) * np.asarray(_fitting(exposures, w, v))
        for w, v in groups.items()
    }
    return ratio_of_counts(counts, exposures, way, control, family=model, level=level)


def log_welch(groups: Groups, way: str, control: str) -> Interval:
    """Welch's interval of a ratio, on the log scale."""
    return welch(_logs(groups), way, control)


def as_difference(interval: Interval, model: Model, groups: Groups, exposures: Groups, control: str
                  ) -> Interval:  # fmt: skip
    """The difference that a ratio makes at the level of the control."""
    base = _level(model, groups[control], exposures.get(control, ()))

    def back(x: float) -> float:
        if model == "share":
            return _share(_odds(base) * math.exp(x)) - base
        return base * (math.exp(x) - 1)

    slope = base * (1 - base) if model == "share" else base
    return replace(
        interval, estimate=back(interval.estimate), low=back(interval.low),
        high=back(interval.high), se=interval.se * slope,
    )  # fmt: skip


def as_ratio(interval: Interval) -> Interval:
    """The ratio itself: way over control."""
    low, mid, high = (math.exp(x) for x in (interval.low, interval.estimate, interval.high))
    return replace(interval, estimate=mid, low=low, high=high, se=interval.se * mid)


def _level(model: Model, values: Sequence[float], exposures: Sequence[float]) -> float:
    """What the control stands at: geometric mean, or all counted over all it was counted in."""
    v = np.asarray(values, dtype=np.float64)
    if model == "ratio":
        return float(np.exp(np.log(v).mean()))
    e = np.asarray(exposures, dtype=np.float64)
    level, out_of = float((v * e).sum()), float(e.sum())
    if model == "share" and level in (0.0, out_of):
        return (level + 0.5) / (out_of + 1)
    return (level or 0.5) / out_of


def _odds(share: float) -> float:
    return share / (1 - share)


def _share(odds: float) -> float:
    return odds / (1 + odds)


def logs(way: str, values: Sequence[float]) -> NDArray[np.float64]:
    """Logarithms of the ratios of a way; `QuantityError` for one that is not above 0."""
    array = np.asarray(values, dtype=np.float64)
    if (array <= 0).any():
        raise QuantityError(
            f"a ratio is above 0, but way {way} has one that is not",
            field=way,
            value=float(array.min()),
            way_out="Correct that value, or leave the heap out",
        )
    return np.asarray(np.log(array))


def _logs(groups: Groups) -> dict[str, NDArray[np.float64]]:
    return {way: logs(way, values) for way, values in groups.items()}


def _fitting(exposures: Groups, way: str, values: Sequence[float]) -> Sequence[float]:
    mine = exposures.get(way, ())
    if len(mine) != len(values):
        raise InputError(
            f"every heap of way {way} needs what it was counted in",
            field=way,
            value=f"{len(values)} values, {len(mine)} exposures",
            way_out="Log how many seeds were sown, or each field looked at",
        )
    return mine
