"""Trials without any effect, and the plain analyses that find one all the same.

For the documentation, the benchmarks and the tests only: nothing here is used in findings.
Units: degrees C, days. Conventions: heaps treated alike by construction, so every difference
found is a false one; randomness comes in as a generator or a seed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc, stdtr

from heapwright.errors import InputError

__all__ = [
    "NullTrial",
    "Study",
    "heap_means",
    "null_readings",
    "null_trial",
    "round_anova_p",
    "t_test_p",
]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Study:
    """The generator of the project's own simulation study.

    rounds, first_d, last_d : probe rounds, evenly from first to last day; spots : a round;
    rise_c, rise_d, decay_d : the curve 42 (1 - exp(-t/2)) exp(-t/45); sigma_low_c, sigma_high_c :
    heap-to-heap standard deviation, drawn evenly between; fixed_share : part of its variance that
    stays, the rest wanders with slow_d; quick_sd_c, quick_d : quick swings of a heap; spot_sd_c,
    reading_sd_c, probe_sd_c : spots, readings, probe; air_c : constant air.
    """

    rounds: int = 20
    first_d: float = 3.0
    last_d: float = 60.0
    spots: int = 3
    rise_c: float = 42.0
    rise_d: float = 2.0
    decay_d: float = 45.0
    sigma_low_c: float = 3.0
    sigma_high_c: float = 6.0
    fixed_share: float = 0.7
    slow_d: float = 30.0
    quick_sd_c: float = 1.5
    quick_d: float = 3.0
    spot_sd_c: float = 1.5
    reading_sd_c: float = 2.0
    probe_sd_c: float = 0.5
    air_c: float = 10.0

    @property
    def days(self) -> Floats:
        """Ages of the rounds [day], shape (rounds,)."""
        return np.linspace(self.first_d, self.last_d, self.rounds)

    @property
    def curve(self) -> Floats:
        """Degrees above air of the average heap at the rounds [C], shape (rounds,)."""
        t = self.days
        curve = self.rise_c * (1 - np.exp(-t / self.rise_d)) * np.exp(-t / self.decay_d)
        return np.asarray(curve)


@dataclass(frozen=True, slots=True)
class NullTrial:
    """One trial without effect, as reading logs.

    readings : rows (heap, spot, day, temp_c, air_temp_c); ways : way by heap; truth : the heap's
    own lasting departure from the average heap [C]; sigma_c : heap-to-heap standard deviation;
    heap_mean_c : mean degrees above air by heap over all rounds [C].
    """

    readings: tuple[tuple[str, str, float, float, float], ...]
    ways: dict[str, str]
    truth: dict[str, float]
    sigma_c: float
    heap_mean_c: dict[str, float]


def null_readings(
    rng: np.random.Generator,
    trials: int,
    *,
    heaps: int = 2,
    study: Study | None = None,
    sigma_c: float | None = None,
) -> tuple[Floats, Floats, Floats]:
    """Degrees above air of many trials in which all heaps are treated alike.

    Parameters
    ----------
    rng : numpy.random.Generator
    trials : int
        Number of trials, >= 1.
    heaps : int, default 2
        Heaps in a trial, all ways together.
    study : Study, optional
        The generator's numbers.
    sigma_c : float, optional
        Heap-to-heap standard deviation [C]; drawn for every trial unless given.

    Returns
    -------
    excess_c : array, shape (trials, heaps, rounds, spots)
    fixed_c : array, shape (trials, heaps)
        The lasting departure of each heap [C].
    sigma_c : array, shape (trials,)

    Examples
    --------
    >>> null_readings(np.random.default_rng(1), 5)[0].shape
    (5, 2, 20, 3)
    """
    if trials < 1 or heaps < 1:
        raise InputError("there must be at least one trial and one heap", field="trials")
    s = study or Study()
    drawn = rng.uniform(s.sigma_low_c, s.sigma_high_c, trials)
    sigma = drawn if sigma_c is None else np.full(trials, float(sigma_c))
    shape = (trials, heaps)
    fixed = rng.normal(size=shape) * sigma[:, None] * math.sqrt(s.fixed_share)
    slow = _wander(rng, shape, s.days, s.slow_d) * math.sqrt(1 - s.fixed_share)
    quick = _wander(rng, shape, s.days, s.quick_d) * s.quick_sd_c
    heap = s.curve + fixed[..., None] + slow * sigma[:, None, None] + quick
    spot = rng.normal(size=(*shape, 1, s.spots)) * s.spot_sd_c
    noise = rng.normal(size=(*shape, s.rounds, s.spots)) * math.hypot(s.reading_sd_c, s.probe_sd_c)
    return heap[..., None] + spot + noise, fixed, sigma


def null_trial(seed: int, *, heaps_per_way: int = 1, study: Study | None = None) -> NullTrial:
    """The reading log of one trial without effect, ready to be typed in or imported.

    Heaps are A, B, ...; the first *heaps_per_way* are "left alone", the others "turned". Readings
    are rounded to a tenth of a degree; the air is constant.

    >>> log = null_trial(3)
    >>> len(log.readings), log.ways
    (120, {'A': 'left alone', 'B': 'turned'})
    """
    if not 1 <= heaps_per_way <= 13:
        raise InputError("1 to 13 heaps a way", field="heaps_per_way", value=heaps_per_way)
    s = study or Study()
    count = 2 * heaps_per_way
    excess, fixed, sigma = null_readings(np.random.default_rng(seed), 1, heaps=count, study=s)
    temps = np.round(excess[0] + s.air_c, 1)
    names = [chr(ord("A") + i) for i in range(count)]
    rows = tuple(
        (name, f"spot {k + 1}", float(day), float(temps[i, j, k]), s.air_c)
        for j, day in enumerate(s.days)
        for i, name in enumerate(names)
        for k in range(s.spots)
    )
    means = heap_means(temps[None] - s.air_c, study=s)[0]
    return NullTrial(
        readings=rows,
        ways={n: "left alone" if i < heaps_per_way else "turned" for i, n in enumerate(names)},
        truth={n: float(fixed[0, i]) for i, n in enumerate(names)},
        sigma_c=float(sigma[0]),
        heap_mean_c={n: float(means[i]) for i, n in enumerate(names)},
    )


def heap_means(excess_c: Floats, *, study: Study | None = None) -> Floats:
    """One number a heap: spots averaged, then the time-weighted mean; shape (trials, heaps)."""
    t = (study or Study()).days
    y = excess_c.mean(axis=-1)
    area = ((y[..., 1:] + y[..., :-1]) * np.diff(t)).sum(axis=-1) / 2
    return np.asarray(area / (t[-1] - t[0]))


def t_test_p(excess_c: Floats) -> Floats:
    """Chance figure of a t test that takes every reading as a heap; shape (trials,).

    excess_c : shape (trials, heaps, rounds, spots); the first half of the heaps against the other.
    Wrong on purpose: readings of one heap are not independent of each other.
    """
    a, b = _halves(excess_c)
    n, m = a.shape[1], b.shape[1]
    s2 = (a.var(axis=1, ddof=1) * (n - 1) + b.var(axis=1, ddof=1) * (m - 1)) / (n + m - 2)
    t = (b.mean(axis=1) - a.mean(axis=1)) / np.sqrt(s2 * (1 / n + 1 / m))
    return np.asarray(2 * stdtr(n + m - 2, -np.abs(t)))


def round_anova_p(excess_c: Floats) -> Floats:
    """Chance figure of the way in an analysis of variance with round and way; shape (trials,).

    Wrong on purpose, as `t_test_p`: taking the rounds out makes the same mistake sharper.
    """
    trials, heaps, rounds, spots = excess_c.shape
    half = heaps // 2
    by = np.stack([excess_c[:, :half], excess_c[:, half:]], axis=1)
    total = by - by.mean(axis=(1, 2, 3, 4), keepdims=True)
    round_effect = total.mean(axis=(1, 2, 4), keepdims=True)
    way_effect = total.mean(axis=(2, 3, 4), keepdims=True)
    rest = ((total - round_effect - way_effect) ** 2).sum(axis=(1, 2, 3, 4))
    df = heaps * rounds * spots - rounds - 1
    way = (way_effect[:, :, 0, 0, 0] ** 2).sum(axis=1) * half * rounds * spots
    assert way.shape == (trials,)
    return np.asarray(fdtrc(1, df, way / (rest / df)))


def _halves(excess_c: Floats) -> tuple[Floats, Floats]:
    trials, heaps = excess_c.shape[:2]
    if heaps % 2:
        raise InputError("two ways with as many heaps each are needed", field="heaps", value=heaps)
    half = heaps // 2
    return (
        excess_c[:, :half].reshape(trials, -1),
        excess_c[:, half:].reshape(trials, -1),
    )


def _wander(rng: np.random.Generator, shape: tuple[int, ...], t: Floats, memory_d: float) -> Floats:
    """A stationary Ornstein-Uhlenbeck path of unit variance at ages *t*; shape (*shape, len(t))."""
    path = rng.normal(size=(*shape, t.size))
    for i in range(1, t.size):
        keep = math.exp(-(t[i] - t[i - 1]) / memory_d)
        path[..., i] = keep * path[..., i - 1] + math.sqrt(1 - keep**2) * path[..., i]
    return path
