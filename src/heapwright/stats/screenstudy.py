"""The simulation study of the screening: invented logs, slips put into them, and what was asked.

Units: degrees C, days. Conventions: everything here is INVENTED; many logs are made and screened
side by side. A slip is put into one round at a time and never into the history: a question is
answered before the next round.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import InputError
from heapwright.stats.air import trailing_air
from heapwright.stats.prior import air_memory_d
from heapwright.stats.screenfilter import Expected, HeapFilter
from heapwright.stats.screening import Limits, doubtful, exchanges, round_shift, whole_round
from heapwright.units import quantity

__all__ = ["SLIPS", "Logs", "ScreenStudy", "made_logs", "screening_rates"]

Floats = NDArray[np.float64]
#: The slips put into one reading among right sisters.
SLIPS = ("F or C", "ten times", "a tenth", "20 C", "digits", "10 C")
_ROUND_SLIPS = ("round in F", "round ten times", "round shifted 10 C")


@dataclass(frozen=True, slots=True)
class ScreenStudy:
    """The generator of the study.

    heaps, spots, last_d : size of a log; peak_c, peak_sd_c, rise_d, decay_d, log_sd : the curve
    above air of a heap; stagger_d : heaps are built over so many days; turn_every_d, drop_c,
    back_d : half the heaps are turned, drop and come back; quick_sd_c, quick_d : swings of a heap;
    air_c, air_swing_c, air_sd_c, air_d : the air; common_sd_c, common_d : what heaps of a round
    share; spot_sd_c, reading_sd_c, probe_sd_c : spots and readings; follows_d : days over which
    the heaps follow the air (0: at once).
    """

    heaps: int = 4
    spots: int = 3
    last_d: float = 60.0
    peak_c: float = 45.0
    peak_sd_c: float = 4.5
    rise_d: float = 2.0
    decay_d: float = 45.0
    log_sd: float = 0.3
    stagger_d: float = 2.0
    turn_every_d: float = 14.0
    drop_c: float = 8.0
    back_d: float = 1.5
    quick_sd_c: float = 1.5
    quick_d: float = 4.0
    air_c: float = 10.0
    air_swing_c: float = 5.0
    air_sd_c: float = 3.0
    air_d: float = 2.0
    common_sd_c: float = 1.0
    common_d: float = 1.0
    spot_sd_c: float = 1.5
    reading_sd_c: float = 2.0
    probe_sd_c: float = 0.5
    follows_d: float = 0.0


@dataclass(frozen=True, slots=True)
class Logs:
    """Invented logs side by side: days (R,), temp_c (L, R, H, S), air_c (L, R), turned (R, H)."""

    days: Floats
    temp_c: Floats
    air_c: Floats
    turned: NDArray[np.bool_]


def made_logs(
    rng: np.random.Generator, logs: int, every_d: float, *, study: ScreenStudy | None = None
) -> Logs:
    """Invented logs read every *every_d* days; raises `InputError` for no log or no days.

    >>> made_logs(np.random.default_rng(1), 3, 7.0).temp_c.shape
    (3, 9, 4, 3)
    """
    if logs < 1 or not every_d > 0:
        raise InputError("at least one log, and days between rounds", field="logs", value=logs)
    s = study or ScreenStudy()
    days = np.arange(2.0, s.last_d + 1e-9, every_d)
    shape = (logs, s.heaps)
    age = days - rng.uniform(0, s.stagger_d, (*shape, 1))
    peak = rng.normal(s.peak_c, s.peak_sd_c, (*shape, 1))
    rise = s.rise_d * np.exp(rng.normal(0, s.log_sd, (*shape, 1)))
    decay = s.decay_d * np.exp(rng.normal(0, s.log_sd, (*shape, 1)))
    above = peak * (1 - np.exp(-np.maximum(age, 0) / rise)) * np.exp(-np.maximum(age, 0) / decay)
    above = above + _wander(rng, shape, days, s.quick_d) * s.quick_sd_c
    turned = np.zeros((days.size, s.heaps), dtype=bool)
    for turn in np.arange(s.turn_every_d, s.last_d, s.turn_every_d):
        since = days - turn
        above[:, ::2] -= s.drop_c * np.where(since > 0, np.exp(-np.maximum(since, 0) / s.back_d), 0)
        turned[np.searchsorted(days, turn, side="right"), ::2] = True
    air, felt = _air(rng, logs, days, s)
    common = _wander(rng, (logs,), days, s.common_d) * s.common_sd_c
    heap = above.transpose(0, 2, 1) + (felt + common)[:, :, None]
    spot = rng.normal(0, s.spot_sd_c, (logs, 1, s.heaps, s.spots))
    noise = rng.normal(0, math.hypot(s.reading_sd_c, s.probe_sd_c), (*heap.shape, s.spots))
    return Logs(days, heap[..., None] + spot + noise, air, turned)


def _air(
    rng: np.random.Generator, logs: int, days: Floats, s: ScreenStudy
) -> tuple[Floats, Floats]:
    """The air as read on the rounds, and as the heaps feel it; shape (L, R) each."""
    step = 0.25
    fine = np.arange(-20.0, s.last_d + step, step)
    phase = rng.uniform(0, 2 * np.pi, (logs, 1))
    air = s.air_c + s.air_swing_c * np.sin(2 * np.pi * fine / 60 + phase)
    air = air + _wander(rng, (logs,), fine, s.air_d) * s.air_sd_c
    at = np.searchsorted(fine, days - 1e-9)
    if s.follows_d <= 0:
        return air[:, at], air[:, at]
    total = np.cumsum(air, axis=1)
    back = round(s.follows_d / step)
    return air[:, at], (total[:, at] - total[:, at - back]) / back


def _wander(rng: np.random.Generator, shape: tuple[int, ...], t: Floats, memory_d: float) -> Floats:
    """A stationary Ornstein-Uhlenbeck path of unit variance at *t*; shape (*shape, len(t))."""
    path = rng.normal(size=(*shape, t.size))
    for i in range(1, t.size):
        keep = math.exp(-(t[i] - t[i - 1]) / memory_d)
        path[..., i] = keep * path[..., i - 1] + math.sqrt(1 - keep**2) * path[..., i]
    return path


@dataclass(slots=True)
class _Tally:
    """Counts by name: how often, out of how many."""

    hits: dict[str, int] = field(default_factory=dict)
    tries: dict[str, int] = field(default_factory=dict)

    def add(self, name: str, hit: NDArray[np.bool_]) -> None:
        self.hits[name] = self.hits.get(name, 0) + int(hit.sum())
        self.tries[name] = self.tries.get(name, 0) + int(hit.size)

    def rates(self) -> dict[str, Any]:
        return {
            name: {"rate": self.hits[name] / tries, "tries": tries}
            for name, tries in self.tries.items() if tries
        }  # fmt: skip


def screening_rates(
    rng: np.random.Generator,
    logs: int,
    every_d: float,
    *,
    study: ScreenStudy | None = None,
    air: bool = True,
    slips_each: int = 1,
) -> dict[str, Any]:
    """What is asked falsely, and what is found, over all rounds of *logs* invented logs.

    Parameters
    ----------
    rng : numpy.random.Generator
    logs : int
        >= 1.
    every_d : float
        Days between rounds, > 0.
    study : ScreenStudy, optional
        The generator's numbers.
    air : bool, default True
        Whether the air was read; without it plain degrees are screened.
    slips_each : int, default 1
        Slips are put into every so-manieth round; false questions are counted in all of them.

    Returns
    -------
    dict
        By name a ``rate`` (0 to 1) and the number of ``tries``: "false, a reading" and the names
        of `SLIPS` a reading; "false exchange, a pair" and "exchanged, gap ..." a pair of heaps in a
        round; "false round" and the slips of whole rounds a round.
    """
    study = study or ScreenStudy()
    made = made_logs(rng, logs, every_d, study=study)
    kept = HeapFilter(study.heaps, study.spots, logs)
    limits, tally = Limits.published(), _Tally()
    felt = np.zeros_like(made.air_c)
    for log in range(logs if air else 0):
        read = made.days, made.air_c[log]
        felt[log], _ = trailing_air(made.days, read, heap="", memory_d=air_memory_d())
    for r, day in enumerate(made.days):
        kept.advance(float(day), made.turned[r])
        taken = felt[:, r, None, None]
        temp = made.temp_c[:, r]
        seen = kept.expect(air=air)
        if seen.ready.all():
            tally.add("false, a reading", doubtful(seen, temp - taken, limits).asked)
            tally.add("false exchange, a pair", exchanges(seen, temp - taken, limits).asked)
            _whole(tally, ("false round",), seen, temp, taken, limits)
            if r % slips_each == 0:
                for name in SLIPS:
                    _slip(rng, tally, name, seen, temp, taken, limits)
                _exchange(tally, seen, temp - taken, limits)
                _whole(tally, _ROUND_SLIPS, seen, temp, taken, limits)
        kept.take(temp - taken, air=air)
    return tally.rates()


def _slip(
    rng: np.random.Generator, tally: _Tally, name: str, seen: Expected, temp: Floats,
    taken: Floats, limits: Limits,
) -> None:  # fmt: skip
    """One slip in one reading of every log."""
    logs, heaps, spots = temp.shape
    rows = np.arange(logs)
    heap, spot = rng.integers(0, heaps, logs), rng.integers(0, spots, logs)
    right = temp[rows, heap, spot]
    wrong = _wrong(rng, name, right)
    slipped = temp.copy()
    slipped[rows, heap, spot] = wrong
    asked = doubtful(seen, slipped - taken, limits).asked[rows, heap, spot]
    limit = quantity("temp_c")
    asked = asked | (wrong < limit.low) | (wrong > limit.high)
    if name == "digits":
        asked = asked[np.abs(wrong - np.round(right)) >= 9]
    tally.add(name, asked)


def _wrong(rng: np.random.Generator, name: str, right: Floats) -> Floats:
    coin = rng.random(right.size) < 0.5
    if name == "F or C":
        return np.where(coin, right * 1.8 + 32, (right - 32) / 1.8)
    if name == "ten times":
        return right * 10
    if name == "a tenth":
        return right / 10
    if name == "digits":
        whole = np.clip(np.round(right), 0, 99)
        return np.asarray((whole % 10) * 10 + whole // 10)
    size = float(name.split()[0])
    return right + np.where(coin, size, -size)


def _exchange(tally: _Tally, seen: Expected, above: Floats, limits: Limits) -> None:
    """Each pair of heaps exchanged in turn."""
    for a in range(above.shape[1]):
        for b in range(a):
            swapped = above.copy()
            swapped[:, [a, b]] = above[:, [b, a]]
            found = exchanges(seen, swapped, limits)
            n = found.pairs.index((b, a))
            gap = found.gap_c[:, n]
            tally.add("exchanged, gap 6-10 C", found.asked[(gap >= 6) & (gap <= 10), n])
            tally.add("exchanged, gap above 15 C", found.asked[gap > 15, n])


def _whole(
    tally: _Tally, names: tuple[str, ...], seen: Expected, temp: Floats, taken: Floats,
    limits: Limits,
) -> None:  # fmt: skip
    """Slips of whole rounds, or none ("false round")."""
    limit = quantity("temp_c")
    for name in names:
        read = {
            "round in F": temp * 1.8 + 32, "round ten times": temp * 10,
            "round shifted 10 C": temp - 10,
        }.get(name, temp)  # fmt: skip
        kind = whole_round(seen, read, taken, limits)
        odd = doubtful(seen, read - taken, limits).asked
        kept = np.where(odd, np.nan, read)
        asked = (kind != "") | (np.abs(round_shift(seen, kept - taken)[1]) > limits.round_beyond)
        tally.add(name, asked | ((read < limit.low) | (read > limit.high)).all(axis=(1, 2)))
