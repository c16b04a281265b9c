"""Fit the first part of a measured series and score what is said of the rest.

Units: degrees C and the units of `heapwright.inference.readings`; days. Conventions: readings up to
``fit_until`` are fitted, those after it are scored; of a heap that is held out none is fitted. The
rivals get all of its own readings up to that day, those of a held-out heap too; where there is
none, what it was when built. The weather of the days that are forecast counts as known.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import InputError, NotEnoughError
from heapwright.inference.crew import Crew
from heapwright.inference.fit import CAREFUL, ROUGH, Fitted, Settings, cell_of, fit
from heapwright.inference.forecast import expected
from heapwright.inference.members import Subject
from heapwright.inference.readings import QUANTITIES, Read
from heapwright.inference.rivals import Score, cooling, no_change, score
from heapwright.services.seriesbench import Bench, FromFirst, Known

__all__ = ["Checked", "Said", "check"]

Floats = NDArray[np.float64]
#: numbers that mean something in a vessel, which has no space; others would only look learned
_IN_A_VESSEL = (
    "rate", "start", "food", "slow", "moisture", "k_oxygen", "film", "growth", "fungi", "lignin",
    "heat_per_oxygen", "dry_limit", "warmest", "access",
)  # fmt: skip
#: a fit takes at most about so many readings, and so many are forecast at a time
_MOST = 500
_LOGS = ("mass_kg", "dry_kg", "volume_m3")


@dataclass(frozen=True, slots=True)
class Said:
    """A reading that was scored: read; draws : possible values, in the unit of the reading;
    no_change, cooling : what these said (the latter means something of temperatures only)."""

    read: Read
    draws: Floats
    no_change: float
    cooling: float

    @property
    def range(self) -> tuple[float, float, float]:
        """10th per cent, mean and 90th per cent."""
        low, high = np.quantile(self.draws, (0.1, 0.9))
        return float(low), float(self.draws.mean()), float(high)


@dataclass(frozen=True, slots=True)
class Checked:
    """How a forecast did: bench; fit_until [d]; fitted; said : readings that were scored;
    assumed : in words."""

    bench: Bench
    fit_until: float
    fitted: Fitted
    said: tuple[Said, ...]
    assumed: tuple[str, ...]

    def scored(self, quantity: str = "temp_c", heap: str | None = None) -> Score | None:
        """The score of a quantity, of one heap or of all; None where nothing was scored."""
        mine = [s for s in self.said if s.read.quantity == quantity and heap in (None, s.read.heap)]
        if not mine:
            return None
        return score(
            np.array([s.read.value for s in mine]), np.array([s.draws for s in mine]).T,
            np.array([s.no_change for s in mine]), np.array([s.cooling for s in mine]),
        )  # fmt: skip

    @property
    def quantities(self) -> tuple[str, ...]:
        """What was scored besides temperature."""
        found = {s.read.quantity for s in self.said}
        return tuple(q for q in QUANTITIES if q in found and q != "temp_c")


def check(
    bench: Bench,
    fit_until: float,
    *,
    careful: bool = False,
    crew: Crew | None = None,
    settings: Settings | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> Checked:
    """Fit *bench* up to the age *fit_until* [d] and score the rest.

    Raises `InputError` for an age that is none, `NotEnoughError` where no reading is left to fit
    or none to score.
    """
    if not (np.isfinite(fit_until) and fit_until >= 0):
        raise InputError(
            "is an age of 0 days or more", field="fit-until", value=f"{fit_until:g}"
        )  # fmt: skip
    taught = [r for r in bench.reads if r.day <= fit_until and not bench.of(r.heap).held_out]
    coming = [r for r in bench.reads if r.day > fit_until]
    _check_enough(bench, fit_until, taught, coming)
    kept = _thinned(taught)
    subjects = [_with_cells(k, careful) for k in bench.known]
    how = settings or replace(CAREFUL if careful else ROUGH, cell_m=None)
    if how.free is None and all(k.weather is None for k in bench.known):
        how = replace(how, free=_IN_A_VESSEL)
    fitted = fit(
        subjects, kept, settings=how, crew=crew, days=max(r.day for r in coming),
        on_progress=on_progress,
    )  # fmt: skip
    parts = [coming[k : k + _MOST] for k in range(0, len(coming), _MOST)]
    drawn = np.hstack([expected(fitted, part, seed=k) for k, part in enumerate(parts)])
    said, bare = [], []
    for k, read in enumerate(coming):
        draws = np.exp(drawn[:, k]) if read.quantity in _LOGS else drawn[:, k]
        still, cooled, own = _rivals(bench, read, fit_until)
        said.append(Said(read, draws, still, cooled))
        if not own:
            bare.append(read.heap)
    assumed = _assumed(bench, bare)
    if len(kept) < len(taught):
        assumed += (
            f"{len(kept)} of {len(taught)} readings are fitted, evenly spread: what the physics "
            "cannot do lasts for days, so more of them teach no more",
        )
    return Checked(bench, fit_until, fitted, tuple(said), assumed)


def _thinned(taught: Sequence[Read]) -> list[Read]:
    """So many of the readings as a fit takes, the last one of every series among them."""
    each = -(-len(taught) // _MOST)
    series: dict[tuple[str, str, str], list[Read]] = {}
    for r in taught:
        series.setdefault((r.heap, r.spot, r.quantity), []).append(r)
    kept = {id(r) for reads in series.values() for r in reads[::-1][::each]}
    return [r for r in taught if id(r) in kept]


def _check_enough(
    bench: Bench, fit_until: float, taught: Sequence[Read], coming: Sequence[Read]
) -> None:
    days = [r.day for r in bench.reads]
    span = f"the readings run from day {min(days):g} to {max(days):g}" if days else "none is left"
    if not coming:
        raise NotEnoughError(
            f"no reading is left to be scored: {span}", field="fit-until", value=f"{fit_until:g}",
            way_out="Fit on an earlier part of the series",
        )  # fmt: skip
    if not taught:
        held = [k.name for k in bench.known if k.held_out]
        raise NotEnoughError(
            f"there is no reading to fit: {span}"
            + (f", and {', '.join(held)} held out" if held else ""),
            field="fit-until", value=f"{fit_until:g}",
            way_out="Fit up to a later day, or hold out fewer heaps",
        )  # fmt: skip


def _with_cells(known: Known, careful: bool) -> object:
    """The subject with cells of which the heap has some hundreds; a vessel has none."""
    subject = known.subject
    heap = subject.subject if isinstance(subject, FromFirst) else subject
    if not isinstance(heap, Subject):
        return subject
    edge = cell_of(heap.spec.volume_m3, careful=careful)
    sized = replace(heap, spec=replace(heap.spec, dx_m=edge))
    return replace(subject, subject=sized) if isinstance(subject, FromFirst) else sized


def _rivals(bench: Bench, read: Read, until: float) -> tuple[float, float, bool]:
    """What no change and a cooling curve say of a reading, and whether from readings of its own."""
    known = bench.of(read.heap)
    own: dict[float, list[float]] = {}
    for r in bench.reads:
        if r.day <= until and (r.heap, r.spot, r.quantity) == (
            read.heap, read.spot, read.quantity
        ):  # fmt: skip
            own.setdefault(r.day, []).append(r.value)
    day = np.array(sorted(own)) if own else np.zeros(1)
    value = np.array(
        [np.mean(own[d]) for d in sorted(own)] if own else [known.first[read.quantity]]
    )
    still = float(no_change(value, 1)[0])
    if read.quantity != "temp_c":
        return still, still, bool(own)
    later = np.array([read.day])
    cooled = cooling(day, value, known.air(day), later, known.air(later))
    return still, float(cooled[0]), bool(own)


def _assumed(bench: Bench, bare: Sequence[str]) -> tuple[str, ...]:
    said = list(bench.assumed)
    for known in bench.known:
        if known.held_out:
            said.append(
                f"{known.name} is held out: none of its readings is fitted; no change and the "
                "cooling curve know its readings up to that day"
            )
    if bare:
        names = ", ".join(dict.fromkeys(bare))
        said.append(
            f"{names}: where nothing was read up to that day, no change means as it was built"
        )
    return tuple(dict.fromkeys(said))
