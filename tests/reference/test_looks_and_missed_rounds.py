"""Looking every week, and rounds that were missed: neither may make a finding out of nothing.

Invented trials from the generator of `heapwright.stats.naive`. The bound on false claims is the
5 % of a 95 % interval with the simulation's own error on top: 5.5 %. The bound on the bias of
missed rounds is 0.2 C, a fortieth of what two heaps a way can tell.
"""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest

from heapwright.errors import NotEnoughError
from heapwright.stats.claims import CLAIMS, ENOUGH, LEANS, REAL
from heapwright.stats.compare import Comparison, compare
from heapwright.stats.contrast import t_quantile
from heapwright.stats.naive import Study, heap_means, null_readings
from heapwright.stats.prior import SpreadPrior
from heapwright.stats.series import (
    HeapExcess,
    HeapSeries,
    excess_series,
    heap_value,
    shared_window,
)

TRIALS, WEEKS, MATTERS_C, END = 10_000, 10, 5.0, "1 September 2026"
WEEKLY = Study(rounds=24, first_d=1.0, last_d=70.0)
PRIOR = SpreadPrior.published()
Array = np.ndarray


# --- ten weekly looks ----------------------------------------------------------------------------


@functools.cache
def looks(n: int) -> Array:
    """Heap means up to each weekly look, shape (weeks, trials, heaps)."""
    excess, _, _ = null_readings(np.random.default_rng(60 + n), TRIALS, heaps=2 * n, study=WEEKLY)
    y, days = excess.mean(axis=-1), WEEKLY.days
    means = []
    for week in range(1, WEEKS + 1):
        upto = days <= 7 * week
        d, part = days[upto], y[..., upto]
        means.append(((part[..., 1:] + part[..., :-1]) * np.diff(d)).sum(-1) / 2 / (d[-1] - d[0]))
    return np.array(means)


def excludes_zero(means: Array) -> Array:
    """Whether the informed 95 % interval excludes 0; means : shape (..., heaps)."""
    n = means.shape[-1] // 2
    a, b = means[..., :n], means[..., n:]
    df = PRIOR.nu0 + 2 * n - 2
    within = n * (a.var(axis=-1) + b.var(axis=-1))
    s2 = (PRIOR.nu0 * (PRIOR.s0_c**2 + PRIOR.va) + within) / df
    gap = np.abs(b.mean(axis=-1) - a.mean(axis=-1))
    return np.asarray(gap > t_quantile(0.95, df) * np.sqrt(s2 * 2 / n))


def found(means: Array, *, ended: bool) -> Comparison:
    """What the program itself says of one trial; means : shape (heaps,)."""
    n = means.size // 2
    names = [f"heap {i}" for i in range(2 * n)]
    values = dict(zip(names, map(float, means), strict=True))
    by_way = {
        "left alone": {k: values[k] for k in names[:n]},
        "turned": {k: values[k] for k in names[n:]},
    }
    (one,) = compare(
        "mean_excess_c", by_way, "left alone", matters=MATTERS_C, ended=ended, end_date=END
    )
    return one


@pytest.mark.parametrize("n", [1, 2, 3])
def test_nine_looks_before_the_end_never_claim(n: int) -> None:
    """By construction: an estimate and the date, no interval, whatever the heaps did."""
    means = looks(n)
    tempting = np.flatnonzero(excludes_zero(means)[:-1].any(axis=0))[:15]
    assert tempting.size == 15
    for trial in [*tempting, *range(5)]:
        for week in range(WEEKS - 1):
            said = found(means[week, trial], ended=False)
            assert said.claim == f"so far: no claim before {END}"
            assert said.claim not in CLAIMS
            assert (said.low, said.high, said.df) == (None, None, None)
            assert said.alternatives == ()
            assert said.sentence.startswith("So far: ")
    absurd = found(np.repeat([0.0, 1000.0], n), ended=False)
    assert absurd.claim == f"so far: no claim before {END}"
    assert absurd.low is None


@pytest.mark.reference(source="nominal level of a 95 % interval", where="one look at a fixed end")
@pytest.mark.parametrize("n", [1, 2, 3])
def test_the_one_look_at_the_end_holds_its_level(n: int) -> None:
    out = excludes_zero(looks(n))
    assert out.shape == (WEEKS, TRIALS)
    assert out[-1].mean() <= 0.055
    # what ten looks that may all claim would do: the reason for the end date
    assert out.any(axis=0).mean() > out[-1].mean() + 0.02
    assert out.any(axis=0).mean() > 0.06


@pytest.mark.parametrize("n", [1, 2, 3])
def test_the_short_way_is_the_way_of_the_findings(n: int) -> None:
    last = looks(n)[-1]
    out = excludes_zero(last)
    for trial in [*np.flatnonzero(out)[:20], *range(40)]:
        said = found(last[trial], ended=True).claim
        assert (said in ((LEANS,) if n == 1 else (ENOUGH, REAL))) == out[trial]


# --- rounds missed -------------------------------------------------------------------------------

STUDY = Study()
FIRST, LAST = STUDY.first_d, STUDY.last_d
AIR = (np.arange(-10.0, 71.0), np.full(81, STUDY.air_c))


def read(heap: str, excess: Array, kept: Array) -> HeapExcess:
    """Degrees above air of one heap from its kept rounds; excess : shape (rounds, spots)."""
    rows = {
        f"s{k}": (STUDY.days[kept], excess[kept, k] + STUDY.air_c) for k in range(excess.shape[1])
    }
    return excess_series(HeapSeries.of(heap, rows), AIR)


def some_lost(rng: np.random.Generator, lost: int, first: int = 1, last: int = -1) -> Array:
    """Rounds kept when *lost* of those from *first* to *last* are lost by lot."""
    inner = np.arange(STUDY.rounds)[first:last]
    kept = np.ones(STUDY.rounds, dtype=bool)
    kept[rng.choice(inner, lost, replace=False)] = False
    return kept


def curve_bias(rng: np.random.Generator, patterns: int, first: int, last: int) -> Array:
    """Turned minus left alone on the bare curve, which is the same for both; shape (patterns,).

    Of 20 rounds the turned heap lost seven, the other two. Noise adds nothing to the mean of this:
    the value of a heap is a weighted sum of its readings.
    """
    bare = STUDY.curve[:, None]
    return np.array(
        [
            heap_value(read("B", bare, some_lost(rng, 7, first, last)), (FIRST, LAST)).value
            - heap_value(read("A", bare, some_lost(rng, 2, first, last)), (FIRST, LAST)).value
            for _ in range(patterns)
        ]
    )


@pytest.mark.parametrize(("first", "last"), [(1, -1), (4, -4)], ids=["all but ends", "middle"])
def test_a_third_of_the_rounds_lost_hardly_moves_the_difference(first: int, last: int) -> None:
    bias = curve_bias(np.random.default_rng(70), 1500, first, last)
    assert abs(bias.mean()) < 0.2
    # one unlucky trial can be moved further where the rounds of the rise were lost, never far
    assert np.abs(bias).max() < (1.5 if first == 1 else 0.3)


def test_missed_rounds_in_noisy_trials() -> None:
    """With heaps, spots and errors: the difference with rounds lost less that with all rounds."""
    rng = np.random.default_rng(71)
    excess, _, _ = null_readings(rng, 1000, heaps=2)
    whole = heap_means(excess)
    moved = []
    for one, (a, b) in zip(excess, whole, strict=True):
        left = heap_value(read("A", one[0], some_lost(rng, 2)), (FIRST, LAST)).value
        turned = heap_value(read("B", one[1], some_lost(rng, 7)), (FIRST, LAST)).value
        moved.append((turned - left) - (b - a))
    error = float(np.std(moved)) / math.sqrt(len(moved))
    assert abs(np.mean(moved)) + 2 * error < 0.2
    assert error < 0.05
    # and a single trial is moved by less than heaps differ
    assert np.std(moved) < 1.5


@pytest.mark.parametrize("missed", [1, 2, 4])
def test_early_rounds_missed_are_refused_by_name_and_the_shared_window_is_offered(
    missed: int,
) -> None:
    """No silent bias: the start is the warmest part, and a heap without it would look cooler."""
    bare, kept = STUDY.curve[:, None], np.ones(STUDY.rounds, dtype=bool)
    late = kept.copy()
    late[:missed] = False
    heaps = {"A": read("A", bare, kept), "Mulberry": read("Mulberry", bare, late)}
    with pytest.raises(NotEnoughError, match="heap Mulberry does not cover") as caught:
        heap_value(heaps["Mulberry"], (FIRST, LAST))
    assert f"first read at {STUDY.days[missed]:.1f} days" in str(caught.value)
    assert caught.value.way_out
    window = shared_window(heaps)
    assert window == (STUDY.days[missed], LAST)
    values = {name: heap_value(e, window).value for name, e in heaps.items()}
    assert values["Mulberry"] == pytest.approx(values["A"], abs=1e-9)
    own = heap_value(heaps["Mulberry"], window).value - heap_value(heaps["A"], (FIRST, LAST)).value
    assert abs(own) > 0.5, "a window of its own would have biased the difference"


@pytest.mark.parametrize("late_d", [0.1, 0.3, 0.5])
def test_half_a_day_late_is_taken_and_moves_little(late_d: float) -> None:
    def curve(t: Array) -> Array:
        rise = 1 - np.exp(-t / STUDY.rise_d)
        return np.asarray(STUDY.rise_c * rise * np.exp(-t / STUDY.decay_d))

    days = STUDY.days.copy()
    days[0] += late_d
    rows = {"s": (days, curve(days) + STUDY.air_c)}
    late = excess_series(HeapSeries.of("B", rows), AIR)
    whole = read("A", STUDY.curve[:, None], np.ones(STUDY.rounds, dtype=bool))
    gap = heap_value(late, (FIRST, LAST)).value - heap_value(whole, (FIRST, LAST)).value
    assert abs(gap) < 0.2
    days[0] = FIRST + 0.51
    with pytest.raises(NotEnoughError, match="heap B does not cover"):
        heap_value(
            excess_series(HeapSeries.of("B", {"s": (days, curve(days) + 10)}), AIR), (FIRST, LAST)
        )
