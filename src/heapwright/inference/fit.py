"""Fit the heaps of a trial to what was read of them, all at once.

Units: days of heap age, degrees C. Conventions: an ensemble of possible heaps is drawn, run, and
moved towards the readings in a few passes (`heapwright.inference.smoother`); what is drawn and
never fitted keeps its rows. Passes that are done can be handed back, and the fit goes on from
there as if it had never stopped. A round whose labels look exchanged is left out and said.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import NotEnoughError
from heapwright.inference.crew import Crew
from heapwright.inference.exchanged import Exchange, exchanges
from heapwright.inference.members import Course
from heapwright.inference.priors import Learned, Space, learned
from heapwright.inference.readings import ErrorModel, Read, told
from heapwright.inference.smoother import Readings, update

__all__ = ["CAREFUL", "ROUGH", "Fitted", "Passed", "Settings", "cell_of", "fit", "responses"]

Floats = NDArray[np.float64]
#: a heap has about this many cells, roughly and carefully; and no cell is smaller [m]
_CELLS = {False: (400.0, 0.2), True: (3200.0, 0.1)}
#: scales of what the physics cannot do that are tried on the fit
_SCALES = (0.5, 0.7, 1.0, 1.4, 2.0, 2.8)
#: a course goes on this long after the last reading [d]
_BEYOND_D = 0.01


@dataclass(frozen=True, slots=True)
class Settings:
    """How carefully: cell_m : edge of a cell; members; passes; seed; errors; free : names of the
    knobs that are free, all by default; tight : see `Space`."""

    cell_m: float | None = 0.2
    members: int = 60
    passes: int = 5
    seed: int = 1
    errors: ErrorModel = field(default_factory=ErrorModel)
    free: tuple[str, ...] | None = None
    tight: tuple[tuple[str, float], ...] = ()


def cell_of(volume_m3: float, *, careful: bool = False) -> float:
    """Edge of a cell [m] for a heap: some hundreds or thousands of cells, 20 or 10 cm or larger.

    >>> cell_of(1.3), cell_of(1.3, careful=True), cell_of(173.0)
    (0.2, 0.1, 0.76)
    """
    cells, least = _CELLS[careful]
    return max(least, round(float((volume_m3 / cells) ** (1 / 3)), 2))


ROUGH = Settings()
CAREFUL = Settings(cell_m=0.1, members=100, passes=4)


@dataclass(frozen=True, slots=True)
class Passed:
    """What is kept after every pass: how many are done, the ensemble then and first (rows,
    members), the labels that looked exchanged, and the print of what was fitted to what."""

    done: int
    now: Floats
    first: Floats
    doubted: tuple[Exchange, ...]
    print_: str


@dataclass(frozen=True, slots=True)
class Fitted:
    """The outcome of a fit.

    subjects : anything with a name, names of its spots, a course and a mark (`Subject`,
    `VesselSubject`); space; first, last : ensemble before and after (rows, members); reads : what
    it was fitted to; doubted : rounds left out; errors : with what the physics cannot do as large
    as it turned out; courses : by heap, of the fitted members; days : how far they go; settings;
    print_ : of what was fitted to what.
    """

    subjects: tuple[Any, ...]
    space: Space
    first: Floats
    last: Floats
    reads: tuple[Read, ...]
    doubted: tuple[Exchange, ...]
    errors: ErrorModel
    courses: dict[str, list[Course]]
    days: float
    settings: Settings
    print_: str = ""

    @property
    def members(self) -> int:
        """Members of the ensemble."""
        return int(self.last.shape[1])

    def subject(self, heap: str) -> Any:
        """The heap of that name."""
        return next(s for s in self.subjects if s.name == heap)

    def numbers(self, heap: str) -> list[dict[str, float]]:
        """What every member says of a heap."""
        return [self.space.numbers(self.last[:, m], heap) for m in range(self.members)]

    def learned(self) -> tuple[Learned, ...]:
        """What the readings taught, number by number."""
        return learned(self.space, self.first, self.last)

    def said(self, reads: Sequence[Read]) -> Floats:
        """What the members say to readings, (n, members)."""
        return responses(self.courses, reads)


def responses(courses: dict[str, list[Course]], reads: Sequence[Read]) -> Floats:
    """What members say to readings, (n, members)."""
    return np.array([[c.says(r) for c in courses[r.heap]] for r in reads], dtype=np.float64)


def fit(
    subjects: Sequence[Any],
    reads: Sequence[Read],
    *,
    settings: Settings = ROUGH,
    crew: Crew | None = None,
    days: float | None = None,
    taken_up: Callable[[str], Passed | None] | None = None,
    trusted: bool = False,
    on_pass: Callable[[Passed], None] | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> Fitted:
    """Fit heaps of one trial, whose material is one, to readings.

    Parameters
    ----------
    reads : sequence of Read
        None at all leaves the ensemble as it was drawn, and it says so by its width.
    days : float, optional
        How far the fitted members are run; to the last reading by default.
    taken_up : callable, optional
        Gives what an interrupted fit had kept under a print, or None; one of other readings, heaps
        or settings has another print and is not used.
    trusted : bool
        Labels were looked at: none is doubted.
    on_pass, on_progress : callable, optional
        Called with what to keep after every pass; with members run and to run.

    Raises
    ------
    NotEnoughError
        No heap, or a reading of a heap that is not there.
    """
    if not subjects:
        raise NotEnoughError("there is no heap to fit", field="heap", value="0 heaps")
    names = tuple(s.name for s in subjects)
    reads = tuple(r for r in reads if r.day >= 0)
    strange = sorted({r.heap for r in reads} - set(names))
    if strange:
        raise NotEnoughError(
            "readings of heaps that are not fitted", field="heap", value=", ".join(strange),
            way_out="Give these heaps too, or leave their readings out",
        )  # fmt: skip
    team = crew or Crew(1)
    spots = tuple((s.name, spot) for s in subjects for spot in s.spots)
    space = Space(names, spots, settings.free, dict(settings.tight))
    until = max([r.day for r in reads], default=1.0) + _BEYOND_D
    far = max(until, days or 0.0)
    mark = _print(subjects, reads, settings, trusted, until)
    before = taken_up(mark) if taken_up is not None else None
    if before is not None and before.print_ != mark:
        before = None
    passes = settings.passes if reads else 0
    done = before.done if before else 0
    steps = settings.members * len(subjects)
    told_so_far, total = [done * steps], (passes + 1) * steps

    def tell(more: int) -> None:
        told_so_far[0] += more
        if on_progress is not None:
            on_progress(told_so_far[0], total)

    def courses_of(z: Floats, end: float) -> dict[str, list[Course]]:
        work = [(s, [space.numbers(z[:, m], s.name) for m in range(z.shape[1])]) for s in subjects]
        run = team.run(work, end, settings.cell_m, on_done=tell)
        return dict(zip(names, run, strict=True))

    first = before.first if before else space.draw(settings.members, settings.seed)
    now = before.now if before else first
    doubted = before.doubted if before else ()
    moved = space.fitted
    for number in range(done, passes):
        courses = courses_of(now, until)
        if number == 0 and not trusted:
            doubted = exchanges(reads, responses(courses, reads), settings.errors)
        kept = _kept(reads, doubted)
        now = now.copy()
        now[moved] = update(
            now[moved], responses(courses, kept), _as_readings(kept, settings.errors),
            number=number, passes=passes, seed=settings.seed, reach=space.reach(kept)[moved],
        )  # fmt: skip
        if on_pass is not None:
            on_pass(Passed(number + 1, now, first, doubted, mark))
    courses = courses_of(now, far)
    kept = _kept(reads, doubted)
    errors = _scaled(kept, responses(courses, kept), settings.errors) if kept else settings.errors
    return Fitted(
        tuple(subjects), space, first, now, kept, doubted, errors, courses, far, settings, mark
    )


def _kept(reads: tuple[Read, ...], doubted: Sequence[Exchange]) -> tuple[Read, ...]:
    out = {r for e in doubted for r in e.reads}
    return tuple(r for r in reads if r not in out)


def _as_readings(reads: Sequence[Read], errors: ErrorModel) -> Readings:
    return Readings(np.array([told(r) for r in reads]), errors.covariance(reads))


def _print(
    subjects: Sequence[Any],
    reads: Sequence[Read],
    settings: Settings,
    trusted: bool,
    until_d: float,
) -> str:
    """What was fitted to what, so that a fit is taken up only where nothing else changed."""
    made = hashlib.sha256()
    for s in subjects:
        made.update(s.mark(until_d))
    made.update(repr((tuple(reads), settings, trusted)).encode())
    return made.hexdigest()[:16]


def _scaled(reads: Sequence[Read], said: Floats, errors: ErrorModel) -> ErrorModel:
    """What the physics cannot do as large as what is left of the readings makes likely."""
    left = np.array([told(r) for r in reads]) - said.mean(axis=1)
    apart = said - said.mean(axis=1, keepdims=True)
    spread = apart @ apart.T / max(said.shape[1] - 1, 1)
    best, most = errors, -np.inf
    for scale in _SCALES:
        tried = replace(errors, lasting=errors.lasting * scale)
        cov = tried.covariance(reads) + spread
        sign, size = np.linalg.slogdet(cov)
        likely = -0.5 * (size + left @ np.linalg.solve(cov, left))
        # one that is far from the usual has to earn it
        likely -= 0.5 * (np.log(scale) / 0.5) ** 2
        if sign > 0 and likely > most:
            best, most = tried, likely
    return best
