"""The difference of two ways over heap age, with a 95 % band that holds for all ages at once.

Units: ages in days since the heap was built, temperatures and differences in degrees C (above
air); a difference is way minus control.
Conventions: the heap is the unit, and one heap of a way gets no band. Straight lines between
rounds, and only ages that every heap covers. One spread serves all ages and all ways (it is pooled
over both), so the band is equally wide everywhere. Before the end date there is a curve and no
band. The same input gives the same band, bit for bit: the stream of chance inside is fixed.
When they differed, in words: `stats.bandwords`.
Accuracy: coverage and half-widths in benchmarks/band.py and tests/reference/test_band.py.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, ndtri

from heapwright.errors import InputError, NotEnoughError, UnknownNameError
from heapwright.stats import dunnett
from heapwright.stats.air import ROUND_SLACK_D
from heapwright.stats.prior import SpreadPrior
from heapwright.stats.series import HeapExcess, heap_value, shared_window

__all__ = ["Band", "band_critical", "pooled_spread", "time_bands"]

Floats = NDArray[np.float64]
Heaps = Mapping[str, Mapping[str, HeapExcess]]
_LEVEL = 0.95
#: How a heap wanders about its way: own numbers, those of `heapwright.stats.naive.Study`, with
#: three spots averaged. Nothing published stands behind them.
_FIXED_SHARE, _SLOW_D, _QUICK_D = 0.7, 30.0, 3.0
_QUICK_VAR, _READING_VAR = 1.5**2, (2.0**2 + 0.5**2) / 3
_PATHS, _SEED = 16_384, 20_260_501
_FINEST_D, _MOST_AGES = 0.1, 600


@dataclass(frozen=True, slots=True)
class Band:
    """One way against the control over heap age.

    way, control, way_heaps, control_heaps : names; age_d, difference_c : arrays, shape (ages,),
    straight lines between; half_width_c : of the band, at every age [C]; spread_c : standard
    deviation of one heap at one age [C]; df : its degrees of freedom; critical : largest
    standardised difference that chance gives (these four None before the end date); end_date :
    set if it has not come; ways : how many hold together; assumptions : stand beside.
    """

    way: str
    control: str
    way_heaps: tuple[str, ...]
    control_heaps: tuple[str, ...]
    age_d: Floats
    difference_c: Floats
    half_width_c: float | None
    spread_c: float | None
    df: float | None
    critical: float | None
    end_date: str | None
    ways: int
    assumptions: tuple[str, ...]

    @property
    def low_c(self) -> Floats | None:
        """Lower edge [C], shape (ages,); None before the end date."""
        return None if self.half_width_c is None else self.difference_c - self.half_width_c

    @property
    def high_c(self) -> Floats | None:
        """Upper edge [C], shape (ages,); None before the end date."""
        return None if self.half_width_c is None else self.difference_c + self.half_width_c


def time_bands(
    heaps_by_way: Heaps,
    control: str,
    *,
    ended: bool,
    end_date: date | str | None = None,
    window: tuple[float, float] | None = None,
    prior: SpreadPrior | None = None,
) -> list[Band]:
    """Every way against the control over heap age, all ages and all ways holding together.

    Parameters
    ----------
    heaps_by_way : mapping of way to mapping of heap to HeapExcess
        Degrees above air, from `heapwright.stats.series.excess_series`; two heaps a way at least.
    control : str
        The way that the others are compared with.
    ended : bool
        Whether the locked end date has come; before it there is a curve and no band.
    end_date : date or str, optional
        Needed where it has not.
    window : (float, float), optional
        First and last age [day]; all that every heap covers unless given.
    prior : SpreadPrior, optional
        The assumed spread between heaps; that of science/values/spread.toml unless given.

    Returns
    -------
    list of Band
        One for each way but the control.

    Raises
    ------
    NotEnoughError
        If there is one way only, a way has fewer than two heaps, or the window is not covered.
    UnknownNameError
        If the control is not among the ways.
    InputError
        If a heap stands under two ways, or the end date is neither come nor named.

    Notes
    -----
    s^2 = (nu0 v + m W) / df with df = nu0 + m (H - K): v the assumed variance of one heap at one
    age, W the sum of squares within ways averaged over time, m the degrees of freedom that the
    course of one heap is worth (1.8 for 20 rounds over 57 days). The band reaches
    s sqrt(1/n1 + 1/n2) times `band_critical`. Own construction; simulated coverage 0.95 to 0.97
    where heaps differ by 3 to 6 C, too narrow where they differ by 8 C (benchmarks/band.py).

    Examples
    --------
    >>> def heap(name, c):
    ...     return HeapExcess(name, np.array([3, 30, 60.0]), np.full(3, c), c, c, ())
    >>> ways = {"left": {"A": heap("A", 20.0), "B": heap("B", 24.0)},
    ...         "turned": {"C": heap("C", 44.0), "D": heap("D", 47.0)}}
    >>> band = time_bands(ways, "left", ended=True)[0]
    >>> band.difference_c.tolist(), round(band.half_width_c)
    ([23.5, 23.5, 23.5], 11)
    """
    prior = prior or SpreadPrior.published()
    when = _checked(heaps_by_way, control, ended, end_date)
    age = _ages(heaps_by_way, window)
    curves = {
        way: np.array([np.interp(age, e.age_d, e.excess_c) for e in heaps.values()])
        for way, heaps in heaps_by_way.items()
    }
    counts = {way: len(c) for way, c in curves.items() if way != control}
    s = df = critical = None
    if when is None:
        seen = _thinned(age, heaps_by_way)
        within = np.sum([((c - c.mean(axis=0)) ** 2).sum(axis=0) for c in curves.values()], axis=0)
        free = sum(map(len, curves.values())) - len(curves)
        spread, df = pooled_spread(within[seen], age[seen], free, prior)
        s = float(spread)
        critical = band_critical(
            age[seen], len(curves[control]), [*counts.values()], df, prior=prior
        )
    made = []
    for way, n in counts.items():
        reach = None
        if s is not None and critical is not None:
            reach = critical * s * math.sqrt(1 / n + 1 / len(curves[control]))
        difference = curves[way].mean(axis=0) - curves[control].mean(axis=0)
        names = tuple(heaps_by_way[way]), tuple(heaps_by_way[control])
        notes = () if when else _assumptions(prior)
        made.append(
            Band(
                way, control, *names, age, difference, reach, s, df, critical, when, len(counts),
                notes,
            )
        )  # fmt: skip
    return made


def pooled_spread(
    within: ArrayLike, age_d: ArrayLike, free: float, prior: SpreadPrior
) -> tuple[Floats, float]:
    """Standard deviation of one heap at one age, pooled over time and with the prior, and its df.

    within : sum of squares within ways at each age [C squared], shape (..., ages); age_d : ages in
    order [day], shape (ages,); free : heaps less ways. Returns shape (...) [C] and the degrees of
    freedom; the formula stands in `time_bands`. `InputError` for fewer than two ages.

    >>> s, df = pooled_spread([0.0, 0.0], [3, 60], 2, SpreadPrior())
    >>> round(float(s), 2), round(df, 1)
    (3.88, 10.9)
    """
    age = np.asarray(age_d, dtype=np.float64)
    weight, worth = _weights(age), _worth(age, prior)
    df = prior.nu0 + worth * free
    assumed = prior.nu0 * float(_variances(prior).sum())
    s2 = (assumed + worth * (np.asarray(within, dtype=np.float64) @ weight)) / df
    return np.sqrt(s2), df


def band_critical(
    age_d: ArrayLike, n_control: int, n_ways: Sequence[int], df: float, *, prior: SpreadPrior
) -> float:
    """How many standard errors a band must reach to hold at all ages, for all ways together.

    age_d : ages of the rounds in order [day]; n_control, n_ways : heaps, each >= 1; df : of the
    spread, >= 1. From 16,384 courses of a fixed stream with the spread integrated exactly, good to
    0.02. `InputError` as in `heapwright.stats.dunnett.critical_value`, its value for one age.

    >>> round(band_critical(np.linspace(3, 60, 20), 3, [3], 15.2, prior=SpreadPrior()), 1)
    3.1
    """
    one_age = dunnett.critical_value(n_control, n_ways, df, level=_LEVEL)
    age = tuple(np.asarray(age_d, dtype=np.float64).tolist())
    return _critical(age, tuple(sorted(dunnett.loadings(n_control, n_ways))), df, prior, one_age)


# --- parts ---------------------------------------------------------------------------------------


def _variances(prior: SpreadPrior) -> Floats:
    """Assumed variance of one heap at one age [C squared]: lasting, slow, quick, reading."""
    s2 = prior.s0_c**2
    lasting = _FIXED_SHARE * s2 + prior.va
    return np.array([lasting, (1 - _FIXED_SHARE) * s2, _QUICK_VAR, _READING_VAR])


def _weights(age: Floats) -> Floats:
    """Shares of time, adding to one: straight lines between the ages."""
    if age.ndim != 1 or age.size < 2 or not (np.diff(age) > 0).all():
        raise InputError("a band needs two ages or more, in order", field="age_d", value=age.size)
    half = np.diff(age) / 2
    weight = np.concatenate((half, [0.0])) + np.concatenate(([0.0], half))
    return np.asarray(weight / weight.sum())


def _worth(age: Floats, prior: SpreadPrior) -> float:
    """Degrees of freedom of one heap's course: 1 / mean squared correlation over pairs of ages.

    The usual matching of two moments to a chi-square (Satterthwaite 1946, Biometrics Bulletin 2,
    110-114, from memory); a heap that never wandered would be worth 1.
    """
    weight = _weights(age)
    lasting, slow, quick, reading = _variances(prior) / _variances(prior).sum()
    lag = np.abs(age[:, None] - age)
    moved = slow * np.exp(-lag / _SLOW_D) + quick * np.exp(-lag / _QUICK_D)
    return float(1 / (weight @ (lasting + moved + reading * np.eye(age.size)) ** 2 @ weight))


@functools.lru_cache(maxsize=256)
def _critical(
    age: tuple[float, ...], loading: tuple[float, ...], df: float, prior: SpreadPrior, low: float
) -> float:
    from scipy.optimize import brentq

    largest = _largest(age, loading, prior)

    def miss(c: float) -> float:
        return float(chdtrc(df, df * (largest / c) ** 2).mean()) - _LEVEL

    return float(brentq(miss, 0.9 * low, 20 * low, xtol=1e-9))


@functools.lru_cache(maxsize=32)
def _largest(age: tuple[float, ...], loading: tuple[float, ...], prior: SpreadPrior) -> Floats:
    """Largest standardised difference over ages and ways, shape (paths,), from a fixed stream."""
    stream = np.random.PCG64(_SEED)

    def normal(count: int) -> Floats:
        raw = stream.random_raw(count * _PATHS).reshape(count, _PATHS)
        return np.asarray(ndtri(((raw >> np.uint64(11)) + 0.5) * 2.0**-53))

    # one way: its difference moves like one heap; more: the first course is the control's
    count = 1 if len(loading) == 1 else len(loading) + 1
    part = np.sqrt(_variances(prior) / _variances(prior).sum())
    even = ndtri((np.arange(_PATHS) + 0.5) / _PATHS)
    lasting = np.array([even[np.argsort(row, kind="stable")] for row in normal(count)])
    slow, quick, largest = normal(count), normal(count), np.zeros(_PATHS)
    load = np.array(loading)[:, None]
    for i in range(len(age)):
        if i:
            gap = age[i] - age[i - 1]
            keep, kept = math.exp(-gap / _SLOW_D), math.exp(-gap / _QUICK_D)
            slow = keep * slow + math.sqrt(1 - keep**2) * normal(count)
            quick = kept * quick + math.sqrt(1 - kept**2) * normal(count)
        heap = part[0] * lasting + part[1] * slow + part[2] * quick + part[3] * normal(count)
        if count > 1:
            heap = np.sqrt(1 - load**2) * heap[1:] - load * heap[:1]
        np.maximum(largest, np.abs(heap).max(axis=0), out=largest)
    largest.flags.writeable = False
    return largest


def _ages(heaps_by_way: Heaps, window: tuple[float, float] | None) -> Floats:
    """All ages at which some heap was read, inside what every heap covers."""
    heaps = {name: e for by_heap in heaps_by_way.values() for name, e in by_heap.items()}
    if window is not None:
        for excess in heaps.values():
            heap_value(excess, window)  # refuses a heap that does not cover it
    low, high = shared_window(heaps)
    if window is not None:
        low, high = max(low, float(window[0])), min(high, float(window[1]))
    every = np.concatenate([e.age_d for e in heaps.values()])
    inside = every[(every > low + 1e-6) & (every < high - 1e-6)]
    return np.concatenate(([low], np.unique(np.round(inside, 6)), [high]))


def _thinned(age: Floats, heaps_by_way: Heaps) -> NDArray[np.intp]:
    """Which ages to keep so that heaps read within hours of each other count as one round."""
    gaps = [np.diff(e.age_d) for heaps in heaps_by_way.values() for e in heaps.values()]
    closest = min(float(g.min(initial=math.inf)) for g in gaps)
    apart = min(max(closest / 2, _FINEST_D), ROUND_SLACK_D)
    apart = max(apart, float(age[-1] - age[0]) / _MOST_AGES)
    kept = [0]
    for i in range(1, age.size - 1):
        if age[i] - age[kept[-1]] >= apart:
            kept.append(i)
    return np.array([*kept, age.size - 1], dtype=np.intp)


def _assumptions(prior: SpreadPrior) -> tuple[str, ...]:
    return (
        "The heap is the unit: spots were averaged first",
        prior.sentence(),
        f"{100 * _FIXED_SHARE:g} % of that variance lasts, the rest wanders over {_SLOW_D:g} days; "
        f"quick swings (1.5 C over {_QUICK_D:g} days) and reading errors come on top",
        "All ways spread alike at all ages, and heaps do not influence each other",
        "Between rounds every heap went straight from one to the next",
    )


def _checked(
    heaps_by_way: Heaps, control: str, ended: bool, end_date: date | str | None
) -> str | None:
    """The end date as text if it has not come, else None; refuses what carries no band."""
    if control not in heaps_by_way:
        raise UnknownNameError(
            "there is no way of that name in this comparison",
            field="control",
            value=control,
            way_out=f"Choose one of {', '.join(heaps_by_way)}",
        )
    if len(heaps_by_way) < 2:
        raise NotEnoughError(
            "there is only one way, and nothing to compare it with",
            field="ways",
            way_out="Treat at least one heap differently, or ask how the heaps are doing",
        )
    for way, heaps in heaps_by_way.items():
        if len(heaps) < 2:
            raise NotEnoughError(
                f"with {'one heap' if heaps else 'no heap'} of way {way} its course cannot be told "
                "from the whims of that heap, which may be others at every age: there is no band",
                field="heaps",
                value=f"{way}: {len(heaps)}",
                way_out="Build a second heap of it, or compare one value a heap",
            )
    names = [name for heaps in heaps_by_way.values() for name in heaps]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(
            "a heap stands under two ways",
            field="heaps",
            value=", ".join(twice),
            way_out="Give every heap the one way it was treated by",
        )
    if ended:
        return None
    if end_date is None or str(end_date).strip() == "":
        raise InputError(
            "before the end the end date must be named",
            field="end_date",
            way_out="Give the date that was locked in the plan",
        )
    return f"{end_date.day} {end_date:%B %Y}" if isinstance(end_date, date) else str(end_date)
