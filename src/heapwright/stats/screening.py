"""Which readings of a round do not fit the history of their heap and the spots beside them.

Units: degrees above air [C], or plain degrees where nobody read the air. Conventions: arrays start
with the trial (L), then heap (H) and spot (S), NaN is a spot not read; what fits is judged by
`heapwright.stats.screenfilter`. Nothing here changes a reading: a doubt is a question.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.science.values import value
from heapwright.stats.screenfilter import Expected

__all__ = [
    "WHOLE",
    "Doubts",
    "Exchange",
    "Limits",
    "doubtful",
    "exchanges",
    "round_shift",
    "whole_round",
]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
#: What all readings of a round may be instead: name, factor and shift to what was meant [C].
WHOLE = (
    ("F", 1 / 1.8, -32 / 1.8),
    ("C", 1.8, 32.0),
    ("tenth", 0.1, 0.0),
    ("tenfold", 10.0, 0.0),
)
#: How many of the readings may still look odd after such a change.
_STILL_ODD = 0.2
#: How often a whole sheet in which all is right may be asked about.
_SHEET = 0.01


@dataclass(frozen=True, slots=True)
class Limits:
    """Beyond what is asked; fields as in science/values/screening.toml."""

    ask_beyond: float
    exchange_ratio: float
    exchange_gap_c: float
    round_ratio: float
    round_beyond: float

    def for_sheet(self, readings: int, rounds: int, pairs: int) -> Limits:
        """The same, so high that a right sheet of this size is asked about once in a hundred.

        readings, rounds, pairs : how many are judged; pairs of heaps, over all rounds.

        >>> round(Limits.published().for_sheet(120, 20, 20).ask_beyond, 2)
        3.93
        """
        far = -NormalDist().inv_cdf(_SHEET / (2 * max(readings, 1)))
        shift = -NormalDist().inv_cdf(_SHEET / (2 * max(rounds, 1)))
        return replace(
            self,
            ask_beyond=max(self.ask_beyond, far),
            exchange_ratio=max(self.exchange_ratio, math.log(max(pairs, 1) / _SHEET)),
            round_ratio=max(self.round_ratio, math.log(max(rounds, 1) / _SHEET)),
            round_beyond=max(self.round_beyond, shift),
        )

    @classmethod
    def published(cls) -> Limits:
        """The numbers of science/values/screening.toml.

        >>> Limits.published().ask_beyond
        3.0
        """
        return cls(**{name: value("screening", name).value for name in cls.__slots__})


@dataclass(frozen=True, slots=True)
class Doubts:
    """The outcome for every reading of a round, arrays of shape (L, H, S).

    asked : whether it stands too far from what its heap and the other readings say; expected :
    what they say [C]; sd : how sure that is [C]; z : deviations away, 0 where not read.
    """

    asked: Flags
    expected: Floats
    sd: Floats
    z: Floats


@dataclass(frozen=True, slots=True)
class Exchange:
    """For every pair of heaps, arrays of shape (L, pairs).

    pairs : indices of the two heaps; ratio : log-likelihood of the readings with the two
    exchanged, less that as written; gap_c : how far apart the two were expected [C]; asked :
    whether it is worth a question.
    """

    pairs: tuple[tuple[int, int], ...]
    ratio: Floats
    gap_c: Floats
    asked: Flags


def doubtful(seen: Expected, readings: ArrayLike, limits: Limits | None = None) -> Doubts:
    """Test each reading given the history of its heap and all other readings of the round.

    The farthest one is set aside first and the others are judged without it, until none is
    farther than the limit; so a wrong reading does not put its sisters in doubt.

    Parameters
    ----------
    seen : Expected
        From `HeapFilter.expect` on the day of the round.
    readings : array, shape (L, H, S)
        [C], NaN where not read.
    limits : Limits, optional
        Those of science/values/screening.toml unless given.

    Returns
    -------
    Doubts
        Heaps read too seldom so far are never asked about.

    Examples
    --------
    >>> from heapwright.stats.screenfilter import HeapFilter
    >>> f = HeapFilter(1, 3)
    >>> for day in range(6):
    ...     f.advance(day)
    ...     f.take([[[40.0, 41.0, 39.0]]])
    >>> f.advance(6)
    >>> doubtful(f.expect(), [[[40.0, 14.0, 39.0]]]).asked.tolist()
    [[[False, True, False]]]
    """
    limits = limits or Limits.published()
    y = _shaped(readings, seen)
    trials = y.shape[0]
    read = np.isfinite(y)
    flat = read.reshape(trials, -1)
    off = np.where(read, y - seen.mean, 0.0).reshape(trials, -1)
    judged = (read & seen.ready[:, :, None]).reshape(trials, -1)
    aside, inverse = np.zeros_like(flat), seen.inverse(read)
    z, apart, sd = _alone(off, inverse, seen.scale)
    rows = np.nonzero((np.abs(z) * judged > limits.ask_beyond).any(axis=1))[0]
    while rows.size:
        open_ = judged[rows] & ~aside[rows]
        worst = (np.abs(z[rows]) * open_).argmax(axis=1)
        far = np.abs(z[rows, worst]) * open_[np.arange(rows.size), worst] > limits.ask_beyond
        rows, worst = rows[far], worst[far]
        if not rows.size:
            break
        aside[rows, worst] = True
        part = _without(seen, rows, flat[rows] & ~aside[rows], off[rows], aside[rows])
        z[rows], apart[rows], sd[rows] = part
    expected = np.where(read, y - apart.reshape(y.shape), seen.mean)
    shape = y.shape
    return Doubts(aside.reshape(shape), expected, sd.reshape(shape), z.reshape(shape))


def exchanges(seen: Expected, readings: ArrayLike, limits: Limits | None = None) -> Exchange:
    """How much likelier the readings are with two heaps exchanged; arguments as `doubtful`.

    Only pairs that were both read often enough before and both in this round are asked about, and
    only where they were expected to differ. One wrong reading must not look like an exchange: both
    sides are compared again with the readings that fit neither counted no farther than the limit.
    """
    limits = limits or Limits.published()
    y = _shaped(readings, seen)
    trials, heaps = y.shape[:2]
    pairs = tuple(itertools.combinations(range(heaps), 2))
    ratio, gap = np.zeros((2, trials, len(pairs)))
    there = np.isfinite(y).any(axis=2) & seen.ready
    if not (there.sum(axis=1) > 1).any():
        return Exchange(pairs, ratio - np.inf, gap, np.zeros(gap.shape, dtype=bool))
    written = _log_likelihood(seen, y)
    inverse = seen.inverse(np.isfinite(y))
    for n, (a, b) in enumerate(pairs):
        both = there[:, a] & there[:, b]
        if not both.any():
            ratio[:, n] = -np.inf
            continue
        swapped = y.copy()
        swapped[:, [a, b]] = y[:, [b, a]]
        if (np.isfinite(y) == np.isfinite(swapped)).all():
            likelier = (_square(seen, y, inverse) - _square(seen, swapped, inverse)) / 2
        else:
            likelier = _log_likelihood(seen, swapped) - written
        ratio[:, n] = np.where(both, likelier, -np.inf)
        gap[:, n] = np.abs(seen.mean[:, a] - seen.mean[:, b]).mean(axis=1)
        found = np.nonzero((ratio[:, n] > limits.exchange_ratio) & (gap[:, n] > 0))[0]
        if found.size:
            part = _of_trials(seen, found)
            cut = _cut_likelihood(part, swapped[found], limits)
            cut -= _cut_likelihood(part, y[found], limits)
            ratio[found, n] = np.minimum(ratio[found, n], cut)
    asked = (ratio > limits.exchange_ratio) & (gap > limits.exchange_gap_c)
    return Exchange(pairs, ratio, gap, asked)


def round_shift(seen: Expected, readings: ArrayLike) -> tuple[Floats, Floats]:
    """How far the readings of a round are shifted together: [C] and in deviations, shape (L,).

    A shift that rounds usually share (the weather of the day) is within one deviation.
    """
    y = _shaped(readings, seen)
    read = np.isfinite(y) & seen.ready[:, :, None]
    inverse = seen.inverse(read)
    off = np.where(read, y - seen.mean, 0.0).reshape(y.shape[0], -1)
    weight = inverse.sum(axis=(1, 2))
    total = np.einsum("lij,lj->l", inverse, off)
    safe = np.where(weight > 0, weight, 1.0)
    return total / safe, total / np.sqrt(safe * seen.scale)


def whole_round(
    seen: Expected, temp_c: ArrayLike, air_c: ArrayLike, limits: Limits | None = None
) -> NDArray[np.str_]:
    """Whether all readings of a round are likelier in another unit; shape (L,).

    Parameters
    ----------
    seen : Expected
    temp_c : array, shape (L, H, S)
        As written, before the air is taken off [C].
    air_c : array, shape (L, 1, 1) or a number
        The air to take off [C].
    limits : Limits, optional

    Returns
    -------
    array of str
        "" where the round stands as it is; else a name of `WHOLE`: "F" (typed in degrees F),
        "C", "tenth" (each ten times too large) or "tenfold". Rounds of one reading are left alone.
    """
    limits = limits or Limits.published()
    air = np.asarray(air_c, dtype=np.float64)
    y = np.where(seen.ready[:, :, None], _shaped(temp_c, seen), np.nan)
    count = np.isfinite(y).sum(axis=(1, 2))
    written = _log_likelihood(seen, y - air)
    best = np.full(y.shape[0], limits.round_ratio)
    names = np.full(y.shape[0], "", dtype="<U7")
    for name, factor, shift in WHOLE:
        changed = np.asarray(y * factor + shift - air)
        ratio = _log_likelihood(seen, changed) - written + count * math.log(factor)
        better = (ratio > best) & (count > 1)
        rows = np.nonzero(better)[0]
        if rows.size:
            part = _of_trials(seen, rows)
            cut = _cut_likelihood(part, changed[rows], limits)
            cut += count[rows] * math.log(factor)
            cut -= _cut_likelihood(part, (y - air)[rows], limits)
            odd = doubtful(part, changed[rows], limits).asked
            kept = np.where(odd, np.nan, changed[rows])
            moved = np.abs(round_shift(part, kept)[1]) > limits.round_beyond
            sound = (odd.sum(axis=(1, 2)) <= _STILL_ODD * count[rows]) & ~moved
            rows = rows[sound & (cut > limits.round_ratio)]
            names[rows], best[rows] = name, ratio[rows]
    return names


def _alone(off: Floats, inverse: Floats, scale: Floats) -> tuple[Floats, Floats, Floats]:
    """Each reading against all others: deviations, degrees away, and the deviation [C]."""
    diagonal = np.einsum("lii->li", inverse)
    safe = np.where(diagonal > 0, diagonal, 1.0)
    apart = np.einsum("lij,lj->li", inverse, off) / safe
    sd = np.sqrt(scale[:, None] / safe)
    return apart / sd, apart, sd


def _without(
    seen: Expected, rows: NDArray[np.intp], kept: Flags, off: Floats, aside: Flags
) -> tuple[Floats, Floats, Floats]:
    """`_alone` for the trials *rows* with those set aside left out; these against the kept."""
    part = _of_trials(seen, rows)
    inverse = part.inverse(kept.reshape(part.mean.shape))
    z, apart, sd = _alone(np.where(kept, off, 0.0), inverse, part.scale)
    weighed = np.einsum("lij,lj->li", inverse, np.where(kept, off, 0.0))
    guess = np.einsum("lij,lj->li", part.covariance, weighed)
    explained = np.einsum("lij,ljk,lki->li", part.covariance, inverse, part.covariance)
    own = np.einsum("lii->li", part.covariance) - explained
    sd = np.where(aside, np.sqrt(np.maximum(own, 1e-12) * part.scale[:, None]), sd)
    apart = np.where(aside, off - guess, apart)
    return np.where(aside, apart / sd, z), apart, sd


def _log_likelihood(seen: Expected, y: Floats) -> Floats:
    """Log-likelihood of a round without its constant, shape (L,)."""
    read = np.isfinite(y)
    inverse = seen.inverse(read)
    flat = read.reshape(y.shape[0], -1)
    lone = np.eye(flat.shape[1]) * ~flat[:, :, None]
    _, logdet = np.linalg.slogdet(inverse + lone)
    spread = np.log(seen.scale) * flat.sum(axis=1)
    return np.asarray((logdet - spread - _square(seen, y, inverse)) / 2)


def _square(seen: Expected, y: Floats, inverse: Floats) -> Floats:
    """How far a round is from the expected, as a square in deviations, shape (L,)."""
    off = np.where(np.isfinite(y), y - seen.mean, 0.0).reshape(y.shape[0], -1)
    return np.asarray((np.einsum("lij,lj->li", inverse, off) * off).sum(axis=1) / seen.scale)


def _cut_likelihood(seen: Expected, y: Floats, limits: Limits) -> Floats:
    """Log-likelihood with readings in doubt taken as standing at the limit, shape (L,)."""
    found = doubtful(seen, y, limits)
    odd = (limits.ask_beyond**2 / 2 + np.log(found.sd)) * found.asked
    kept = _log_likelihood(seen, np.where(found.asked, np.nan, y))
    return np.asarray(kept - odd.sum(axis=(1, 2)))


def _shaped(readings: ArrayLike, seen: Expected) -> Floats:
    """Readings as an array of trials, heaps and spots."""
    flat = np.asarray(readings, dtype=np.float64)
    return np.asarray(flat.reshape(seen.mean.shape[0], *seen.mean.shape[1:]))


def _of_trials(seen: Expected, rows: NDArray[np.intp]) -> Expected:
    """What is expected of the trials *rows* only."""
    return Expected(seen.mean[rows], seen.covariance[rows], seen.scale[rows], seen.ready[rows])
