"""What a heap may be like before it is read: numbers with their spread, by material, heap and spot.

Units: a number is a factor on the median of the simulator (``times``) or is added to it (``plus``),
as its table in ``learning.toml`` says. Conventions: an ensemble is a table of independent standard
normal numbers, (rows, members); `Space` knows which row is which. A number of the material counts
for all heaps of a trial, with a deviation of each heap around it where heaps may differ. What is
drawn and never fitted keeps its rows: it widens ranges.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import InputError
from heapwright.inference.readings import Read
from heapwright.science.values import raw, value

__all__ = ["Knob", "Learned", "Space", "knobs", "learned"]

Floats = NDArray[np.float64]
#: SD after over SD before: below the first it is learned, up to the second partly
_LEARNED, _PARTLY = 0.5, 0.9
#: standard normal numbers beyond this are not drawn: nothing is known of such heaps
_FURTHEST = 3.0
_STREAM = 17


@dataclass(frozen=True, slots=True)
class Knob:
    """A number of the simulator that is not known.

    level : material, yard or spot; fitted : else only drawn; times : a factor, else added; sd : of
    the material or spot; between : of a heap around it; cause : which cause of a gap it belongs to;
    words : what it is; source, seen.
    """

    name: str
    level: str
    fitted: bool
    times: bool
    sd: float
    between: float
    cause: str
    words: str
    source: str
    seen: str


@functools.cache
def knobs() -> tuple[Knob, ...]:
    """All numbers that are fitted or drawn, in the order of ``learning.toml``.

    >>> [k.name for k in knobs()][:3]
    ['rate', 'start', 'food']
    """
    made = []
    for name, row in raw("learning").items():
        if "level" in row:
            v = value("learning", name)
            made.append(
                Knob(
                    name, row["level"], row["fitted"], row["how"] == "times", v.value,
                    float(row["between"]), row["cause"], v.where, v.source, v.seen,
                )
            )  # fmt: skip
    return tuple(made)


@dataclass(frozen=True, slots=True)
class _Row:
    """A row of the ensemble: whose number, and of which heap and spot ("" where of all)."""

    knob: Knob
    sd: float
    heap: str = ""
    spot: str = ""


@dataclass(frozen=True, slots=True)
class Space:
    """The rows of an ensemble for some heaps and their spots.

    heaps : names; spots : (heap, spot) pairs; only : names of the knobs that are free, all unless
    given (for tests); tight : factors on the SD of a knob where more is known of it than usual.
    """

    heaps: tuple[str, ...]
    spots: tuple[tuple[str, str], ...]
    only: tuple[str, ...] | None = None
    tight: Mapping[str, float] = field(default_factory=dict)
    rows: tuple[_Row, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        rows: list[_Row] = []
        for knob in knobs():
            if self.only is not None and knob.name not in self.only:
                continue
            scale = self.tight.get(knob.name, 1.0)
            if knob.level == "spot":
                rows += [_Row(knob, knob.sd * scale, h, s) for h, s in self.spots]
                continue
            rows.append(_Row(knob, knob.sd * scale))
            if knob.between and len(self.heaps) > 1:
                rows += [_Row(knob, knob.between * scale, h) for h in self.heaps]
            elif knob.between:
                rows[-1] = _Row(knob, float(np.hypot(knob.sd, knob.between)) * scale)
        object.__setattr__(self, "rows", tuple(rows))

    @property
    def fitted(self) -> NDArray[np.bool_]:
        """Which rows readings may move."""
        return np.array([r.knob.fitted for r in self.rows])

    def draw(self, members: int, seed: int) -> Floats:
        """An ensemble (rows, members) before anything is read.

        Each row is brought to mean 0 and SD 1: of few members the spread is then right. Raises
        `InputError` for fewer than 4 members.
        """
        if members < 4:
            raise InputError("an ensemble has at least 4 members", field="members", value=members)
        rng = np.random.default_rng([_STREAM, seed])
        made = rng.normal(size=(len(self.rows), members))
        made = np.clip(made, -_FURTHEST, _FURTHEST)
        made -= made.mean(axis=1, keepdims=True)
        return np.asarray(made / made.std(axis=1, ddof=1, keepdims=True), dtype=np.float64)

    def numbers(self, column: Floats, heap: str) -> dict[str, float]:
        """What a member says of a heap: by knob, a factor or what is added; ``depth:SPOT`` [m].

        >>> space = Space(("A", "B"), (("A", "core"), ("B", "core")))
        >>> space.numbers(np.zeros(len(space.rows)), "A")["rate"]
        1.0
        """
        sums: dict[str, float] = {}
        times: dict[str, bool] = {}
        for row, z in zip(self.rows, column.tolist(), strict=True):
            if row.heap in ("", heap):
                name = f"{row.knob.name}:{row.spot}" if row.spot else row.knob.name
                sums[name] = sums.get(name, 0.0) + row.sd * z
                times[name] = row.knob.times
        return {n: float(np.exp(s)) if times[n] else s for n, s in sums.items()}

    def reach(self, reads: Sequence[Read]) -> Floats:
        """How far each row may follow each reading, (rows, readings): what belongs to a heap or a
        spot follows the readings of that heap or spot only."""
        made = np.ones((len(self.rows), len(reads)))
        for i, row in enumerate(self.rows):
            for j, read in enumerate(reads):
                if (row.heap and row.heap != read.heap) or (row.spot and row.spot != read.spot):
                    made[i, j] = 0.0
        return made


@dataclass(frozen=True, slots=True)
class Learned:
    """What readings taught about one number of one heap.

    name, words; heap; spot; before, after : (10 %, middle, 90 %), as factors or what is added;
    ratio : SD after over before; verdict : learned, partly or only prior.
    """

    name: str
    words: str
    heap: str
    spot: str
    before: tuple[float, float, float]
    after: tuple[float, float, float]
    ratio: float
    verdict: str


def learned(space: Space, before: Floats, after: Floats) -> tuple[Learned, ...]:
    """What readings taught, for every number of every heap: that of its material and its own
    deviation together."""
    made = []
    for heap in space.heaps:
        for knob in knobs():
            rows = [
                i for i, r in enumerate(space.rows)
                if r.knob is knob and r.heap in ("", heap)
            ]  # fmt: skip
            spots = sorted({space.rows[i].spot for i in rows})
            for spot in spots:
                mine = [i for i in rows if space.rows[i].spot == spot]
                sd = np.array([space.rows[i].sd for i in mine])
                told = [sd @ z[mine] for z in (before, after)]
                ratio = float(told[1].std() / max(told[0].std(), 1e-12)) if knob.fitted else 1.0
                three = [np.quantile(t, (0.1, 0.5, 0.9)) for t in told]
                if knob.times:
                    three = [np.exp(t) for t in three]
                first, last = (tuple(float(x) for x in t) for t in three)
                made.append(
                    Learned(
                        knob.name, knob.words, heap, spot, first, last, ratio, _verdict(ratio),  # type: ignore[arg-type]
                    )
                )  # fmt: skip
    return tuple(made)


def _verdict(ratio: float) -> str:
    if ratio < _LEARNED:
        return "learned"
    return "partly" if ratio <= _PARTLY else "only prior"
