"""What a forecast has to beat: no change, and a plain cooling curve; and how far off each was.

Units: degrees C, days. Conventions: one spot at a time; what is handed over was read up to the
moment the forecast is made. Air is known at every moment, as in a forecast under a stated weather.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from heapwright.errors import NotEnoughError

__all__ = ["Score", "cooling", "coverage", "no_change", "score"]

Floats = NDArray[np.float64]
#: Fastest cooling looked at [1/d]: half of it gone within a day.
_FASTEST = 0.7
#: Rates between which the best one is looked for [1/d].
_RATES = np.concatenate([[0.0], np.geomspace(1e-3, _FASTEST, 40)])


@dataclass(frozen=True, slots=True)
class Score:
    """Root mean square errors [degrees C] of forecast, no change and cooling curve, the share of
    readings within the 80 % range, and how many readings."""

    rmse_c: float
    no_change_rmse_c: float
    cooling_rmse_c: float
    coverage80: float
    n: int


def no_change(read_c: Floats, later: int) -> Floats:
    """The last of *read_c*, *later* times. Raises `NotEnoughError` where nothing was read."""
    if read_c.size == 0:
        raise NotEnoughError(
            "nothing was read at this spot yet", field="read_c", value="0 readings"
        )
    return np.full(later, float(read_c[-1]))


def cooling(
    day: Floats, read_c: Floats, air_c: Floats, later_day: Floats, later_air_c: Floats
) -> Floats:
    """a exp(-k (t - peak)) above air, least squares over the readings from the warmest one on.

    k runs over 0 to 0.7 a day; with the peak as the last reading the heap stays as far above air as
    it is. Raises `NotEnoughError` where nothing was read.

    >>> t = np.arange(6.0)
    >>> made = cooling(t, 10 + 40 * np.exp(-0.1 * t), np.full(6, 10.0), np.array([10.0]),
    ...                np.array([10.0]))
    >>> bool(abs(made[0] - (10 + 40 * np.exp(-1.0))) < 1e-4)
    True
    """
    if read_c.size == 0:
        raise NotEnoughError(
            "nothing was read at this spot yet", field="read_c", value="0 readings"
        )
    above = read_c - air_c
    peak = int(np.argmax(above))
    t, y = day[peak:] - day[peak], above[peak:]

    def height(rate: float) -> float:
        shape = np.exp(-rate * t)
        return float(shape @ y / (shape @ shape))

    def left(rate: float) -> float:
        return float(((y - height(rate) * np.exp(-rate * t)) ** 2).sum())

    rate = 0.0  # a single reading fits any
    if t.size > 1:
        best = int(np.argmin([left(r) for r in _RATES]))
        span = _RATES[max(best - 1, 0)], _RATES[min(best + 1, _RATES.size - 1)]
        found = minimize_scalar(left, bounds=span, method="bounded", options={"xatol": 1e-7})
        rate = min(float(_RATES[best]), float(found.x), key=left)
    above_later: Floats = height(rate) * np.exp(-rate * (later_day - day[peak]))
    return later_air_c + above_later


def coverage(read_c: Floats, low_c: Floats, high_c: Floats) -> float:
    """Share of the readings within low to high."""
    return float(np.mean((read_c >= low_c) & (read_c <= high_c)))


def score(read_c: Floats, members_c: Floats, no_change_c: Floats, cooling_c: Floats) -> Score:
    """How far off the forecast was: members_c (N, n), errors of reading included; its middle is the
    mean, its range from the 10th to the 90th per cent."""
    low, high = np.quantile(members_c, (0.1, 0.9), axis=0)

    def off(said: Floats) -> float:
        return float(np.sqrt(np.mean((said - read_c) ** 2)))

    return Score(
        off(members_c.mean(axis=0)), off(no_change_c), off(cooling_c), coverage(read_c, low, high),
        int(read_c.size),
    )  # fmt: skip
