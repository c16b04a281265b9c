"""Following the heaps of a trial from round to round, so that a new reading can be expected.

Units: degrees above air [C] (or plain degrees C where nobody read the air), times in days.
Conventions: a Kalman filter over all heaps of a trial at once, many trials side by side: arrays
start with the trial (L), then heap (H) and spot (S); NaN is a spot not read. A heap has a level,
a slope that dies away, and one lasting departure for each spot; a shift that all heaps of a round
share belongs to the round. One scale for the whole trial is learned on the way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.errors import InputError
from heapwright.science.values import values

__all__ = ["Expected", "HeapFilter", "Spreads"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
_MOST_CLIPPED = 8


@dataclass(frozen=True, slots=True)
class Spreads:
    """How heaps, spots and readings are taken to vary; fields as in science/values/screening.toml.

    quick_sd_c, quick_d, wander_c2_d : the level; slope_d, slope_q : the slope; turn_level_sd_c,
    turn_slope_sd_c_d : what a turn may do; spot_sd_c, spot_d, reading_sd_c, heap_round_c2 : spots
    and readings; common_sd_c, common_no_air_sd_c : what all heaps of a round share; start_* : a
    heap before its first reading; huber, scale_nu0, scale_low, first_rounds : see there.
    """

    quick_sd_c: float
    quick_d: float
    wander_c2_d: float
    slope_d: float
    slope_q: float
    turn_level_sd_c: float
    turn_slope_sd_c_d: float
    spot_sd_c: float
    spot_d: float
    reading_sd_c: float
    heap_round_c2: float
    common_sd_c: float
    common_no_air_sd_c: float
    start_level_c: float
    start_level_sd_c: float
    start_slope_sd_c_d: float
    huber: float
    scale_nu0: float
    scale_low: float
    first_rounds: float

    @classmethod
    def published(cls) -> Spreads:
        """The numbers of science/values/screening.toml.

        >>> Spreads.published().quick_sd_c
        1.5
        """
        known = values("screening")
        return cls(**{name: known[name].value for name in cls.__slots__})


@dataclass(frozen=True, slots=True)
class Expected:
    """What the filter expects of a round before it is read.

    mean : shape (L, H, S) [C]; covariance : of all readings of the round together, (L, N, N) with
    N = H S [C squared], scale left out; scale : (L,); ready : (L, H), whether a heap was read often
    enough to be judged.
    """

    mean: Floats
    covariance: Floats
    scale: Floats
    ready: Flags

    def inverse(self, read: Flags) -> Floats:
        """Inverse covariance of the readings that were made, zeros for the others; (L, N, N)."""
        flat = read.reshape(read.shape[0], -1)
        some = np.nonzero(flat.any(axis=0))[0]
        part = flat[:, some]
        both = part[:, :, None] & part[:, None, :]
        lone = np.eye(some.size) * ~part[:, :, None]
        covariance = self.covariance[:, some[:, None], some]
        out = np.zeros_like(self.covariance)
        out[:, some[:, None], some] = np.linalg.inv(np.where(both, covariance, 0.0) + lone) * both
        return out


class HeapFilter:
    """Follows *heaps* with *spots* each in *trials* trials side by side.

    Parameters
    ----------
    heaps, spots, trials : int
        >= 1 each.
    spreads : Spreads, optional
        Those of science/values/screening.toml unless given.

    Raises
    ------
    InputError
        If there is no heap or spot, or time runs backwards.

    Notes
    -----
    Over dt days the level gains 2 quick_sd^2 (1 - exp(-dt/quick_d)) + wander dt and what its
    slope, an Ornstein-Uhlenbeck process, adds (integrated exactly); a turn adds its variances to
    both. Textbook Kalman recursions; the level alone is checked against printed values in
    tests/reference/test_screening.py.

    Examples
    --------
    >>> f = HeapFilter(1, 1)
    >>> for day in range(8):
    ...     f.advance(day)
    ...     f.take([[[30.0]]])
    >>> f.advance(8)
    >>> round(f.expect().mean[0, 0, 0])
    30
    """

    def __init__(
        self, heaps: int, spots: int, trials: int = 1, *, spreads: Spreads | None = None
    ) -> None:
        if min(heaps, spots, trials) < 1:
            raise InputError("there must be at least one heap, spot and trial", field="heaps")
        self.shape = (trials, heaps, spots)
        self.spreads = s = spreads or Spreads.published()
        self.width = 2 + spots
        self.day: float | None = None
        self.rounds = np.zeros((trials, heaps), dtype=np.intp)
        one = np.r_[s.start_level_c, 0.0, np.zeros(spots)]
        var = np.r_[s.start_level_sd_c**2, s.start_slope_sd_c_d**2, np.full(spots, s.spot_sd_c**2)]
        self.state = np.tile(one, (trials, heaps))
        self.variance = np.tile(np.diag(np.tile(var, heaps)), (trials, 1, 1))
        self._start = (one, np.diag(var))
        heap, spot = np.divmod(np.arange(heaps * spots), spots)
        self._level, self._spot = heap * self.width, heap * self.width + 2 + spot
        self._squares = np.full(trials, s.scale_nu0)
        self._counts = np.full(trials, s.scale_nu0)

    @property
    def scale(self) -> Floats:
        """The trial's own variance over the assumed one, shape (L,)."""
        low = self.spreads.scale_low
        return np.asarray(np.maximum(self._squares / self._counts, low))

    def advance(self, day: float, turned: ArrayLike | None = None) -> None:
        """Go on to *day*; turned : shape (L, H) or (H,), heaps turned since the last round."""
        step = 0.0 if self.day is None else day - self.day
        if not step >= 0:
            raise InputError("time must not run backwards", field="day", value=day)
        self.day = day
        heaps, width = self.shape[1], self.width
        stay, rest, gain = _passed(step, self.spreads, self.shape[2])
        at = np.arange(heaps) * width
        factor = np.tile(stay, heaps)
        self.state[:, at] += rest * self.state[:, at + 1]
        self.state *= factor
        self.variance[:, at, :] += rest * self.variance[:, at + 1, :]
        self.variance[:, :, at] += rest * self.variance[:, :, at + 1]
        self.variance *= factor[:, None] * factor
        blocks = self.variance.reshape(-1, heaps, width, heaps, width)
        blocks[:, np.arange(heaps), :, np.arange(heaps), :] += gain
        if turned is not None:
            now = np.broadcast_to(np.asarray(turned, dtype=np.float64), self.shape[:2])
            self.variance[:, at, at] += now * self.spreads.turn_level_sd_c**2
            self.variance[:, at + 1, at + 1] += now * self.spreads.turn_slope_sd_c_d**2
        self._keep_unread()

    def _keep_unread(self) -> None:
        """A heap without a reading stays as uncertain as at the start, and no more."""
        width = self.width
        for trial, heap in zip(*np.nonzero(self.rounds == 0), strict=True):
            part = slice(heap * width, (heap + 1) * width)
            self.state[trial, part] = self._start[0]
            self.variance[trial, part, :] = 0.0
            self.variance[trial, :, part] = 0.0
            self.variance[trial, part, part] = self._start[1]

    def _gain(self) -> Floats:
        """Covariance of the state with what would be read, shape (L, state, N)."""
        return np.asarray(self.variance[:, :, self._level] + self.variance[:, :, self._spot])

    def expect(self, *, air: bool = True) -> Expected:
        """What the round of this day should read; air : whether the air was taken off."""
        s = self.spreads
        _, heaps, spots = self.shape
        common = s.common_sd_c if air else s.common_no_air_sd_c
        noise = (
            np.eye(heaps * spots) * s.reading_sd_c**2
            + np.kron(np.eye(heaps), np.full((spots, spots), s.heap_round_c2))
            + common**2
        )
        mean = (self.state[:, self._level] + self.state[:, self._spot]).reshape(self.shape)
        gain = self._gain()
        covariance = gain[:, self._level, :] + gain[:, self._spot, :] + noise
        return Expected(mean, covariance, self.scale, self.rounds >= int(s.first_rounds))

    def take(self, readings: ArrayLike, *, air: bool = True) -> None:
        """Follow the round as read, (L, H, S), NaN where not read; far readings count less."""
        y = np.asarray(readings, dtype=np.float64).reshape(self.shape)
        read = np.isfinite(y)
        seen = self.expect(air=air)
        inverse = seen.inverse(read)
        off = np.where(read, y - seen.mean, 0.0).reshape(self.shape[0], -1)
        judged = (read & seen.ready[:, :, None]).reshape(off.shape)
        off = _clipped(off, inverse, seen.scale, judged, self.spreads.huber)
        weighed = np.einsum("lij,lj->li", inverse, off)
        some = np.nonzero(read.reshape(off.shape).any(axis=0))[0]
        gain = self._gain()[:, :, some]
        inverse = inverse[:, some[:, None], some]
        self.state = self.state + np.einsum("lij,lj->li", gain, weighed[:, some])
        variance = self.variance - gain @ inverse @ gain.transpose(0, 2, 1)
        self.variance = (variance + variance.transpose(0, 2, 1)) / 2
        settled = judged.any(axis=1) & (judged == read.reshape(off.shape)).all(axis=1)
        self._squares += np.where(settled, np.einsum("li,li->l", off, weighed), 0.0)
        self._counts += np.where(settled, judged.sum(axis=1), 0)
        self.rounds += read.any(axis=2)


def _passed(step: float, s: Spreads, spots: int) -> tuple[Floats, float, Floats]:
    """What a heap keeps of its state over *step* days, what a slope moves it, what it gains."""
    tau, q = s.slope_d, s.slope_q
    a = math.exp(-step / tau)
    rest = tau * (1 - a)
    spot = math.exp(-step / s.spot_d)
    stay = np.r_[1.0, a, np.full(spots, spot)]
    gain = np.diag(np.r_[0.0, 0.0, np.full(spots, s.spot_sd_c**2 * (1 - spot**2))])
    gain[0, 0] = (
        2 * s.quick_sd_c**2 * (1 - math.exp(-step / s.quick_d))
        + s.wander_c2_d * step
        + q * tau**2 * (step - 2 * rest + tau * (1 - a**2) / 2)
    )
    gain[1, 1] = q * tau * (1 - a**2) / 2
    gain[0, 1] = gain[1, 0] = q * rest**2 / 2
    return stay, rest, gain


def _clipped(off: Floats, inverse: Floats, scale: Floats, judged: Flags, most: float) -> Floats:
    """*off* with readings farther than *most* deviations from the others drawn in to that."""
    diagonal = np.einsum("lii->li", inverse)
    alone = np.sqrt(np.where(diagonal > 0, diagonal, 1.0) / scale[:, None])
    off = off.copy()
    rows = np.arange(off.shape[0])
    for _ in range(_MOST_CLIPPED):
        apart = np.einsum("lij,lj->li", inverse[rows], off[rows]) / np.where(
            diagonal[rows] > 0, diagonal[rows], 1.0
        )
        z = np.where(judged[rows], apart * alone[rows], 0.0)
        worst = np.abs(z).argmax(axis=1)
        at = np.arange(rows.size)
        far = np.abs(z[at, worst]) > most * (1 + 1e-9)
        if not far.any():
            break
        rows, worst, z, apart, at = rows[far], worst[far], z[far], apart[far], np.arange(far.sum())
        bound = np.sign(z[at, worst]) * most / alone[rows, worst]
        off[rows, worst] += bound - apart[at, worst]
    return off
