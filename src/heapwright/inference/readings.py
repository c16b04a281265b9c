"""What was read of a heap, and how far a reading may be off what the simulator says.

Units: temperatures in degrees C, ages in days, oxygen as mole fraction, moisture on wet basis,
heights in m, masses and volumes as logarithms inside. Conventions: a temperature is off by an error
of its own, by what its probe and its spot are off (the same every time), and by what the physics
cannot do: that lasts for days, is much the same at the spots of a heap, and not much other in
heaps of the same age. All of it stands in one covariance; nothing of it is a free number of the
fit. Other quantities have one error each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import InputError
from heapwright.science.values import value

__all__ = ["QUANTITIES", "ErrorModel", "Read", "told"]

Floats = NDArray[np.float64]
#: what can be learned from, and where in a course it stands: at a spot or of the whole heap
QUANTITIES = {
    "temp_c": "spot", "o2": "spot", "moisture_wb": "spot", "height_m": "heap", "mass_kg": "heap",
    "dry_kg": "heap", "volume_m3": "heap",
}  # fmt: skip
_LOGS = ("mass_kg", "dry_kg", "volume_m3")
#: a heap is as warm as it was built; what the physics cannot do comes in over this time [d]
_COMES_IN_D = 1.0


@dataclass(frozen=True, slots=True)
class Read:
    """One reading: of heap, at spot ("" for the whole heap), at an age [d], its quantity (a key of
    `QUANTITIES`), its value and its probe; reached : how far a probe had gone from the air to the
    heap when it was read, above 0 to 1, less than 1 after too short a wait. Raises `InputError` for
    what cannot be read."""

    heap: str
    spot: str
    day: float
    value: float
    quantity: str = "temp_c"
    probe: str = ""
    reached: float = 1.0

    def __post_init__(self) -> None:
        if not 0.0 < self.reached <= 1.0:
            raise InputError("a share above 0, up to 1", field="reached", value=self.reached)
        if self.quantity not in QUANTITIES:
            raise InputError(
                "nothing is learned from this quantity", field="quantity", value=self.quantity,
                way_out="One of " + ", ".join(QUANTITIES),
            )  # fmt: skip
        if not (np.isfinite(self.value) and np.isfinite(self.day)):
            raise InputError("a reading is a number at an age", field=f"reading of {self.heap}",
                             value=f"{self.value} on day {self.day}")  # fmt: skip
        if self.quantity in _LOGS and self.value <= 0:
            raise InputError("is above 0", field=self.quantity, value=self.value)


def told(read: Read) -> float:
    """The value as the fit takes it: the logarithm of masses and volumes, else as it is."""
    return float(np.log(read.value)) if read.quantity in _LOGS else read.value


def _of(key: str) -> float:
    return value("learning", key).value


@dataclass(frozen=True, slots=True)
class ErrorModel:
    """How far readings are off: SDs as in ``learning.toml``; lasting : of what the physics cannot
    do [degrees C], over lasting_days, with the correlation alike between the spots of a heap and
    together between heaps of one age. Raises `InputError` where these are no correlations."""

    reading: float = field(default_factory=lambda: _of("reading"))
    probe: float = field(default_factory=lambda: _of("probe"))
    spot: float = field(default_factory=lambda: _of("spot"))
    lasting: float = field(default_factory=lambda: _of("lasting"))
    lasting_days: float = field(default_factory=lambda: _of("lasting_days"))
    alike: float = field(default_factory=lambda: _of("lasting_alike"))
    together: float = field(default_factory=lambda: _of("lasting_together"))

    def __post_init__(self) -> None:
        if not 0.0 <= self.together <= self.alike <= 1.0:
            raise InputError(
                "spots of one heap are at least as alike as heaps, and a share is 0 to 1",
                field="alike", value=f"{self.alike:g}, together {self.together:g}",
            )  # fmt: skip

    def with_lasting(self, lasting: float) -> ErrorModel:
        """The same with another SD of what the physics cannot do."""
        return replace(self, lasting=lasting)

    def covariance(self, one: Sequence[Read], other: Sequence[Read] | None = None) -> Floats:
        """Covariance (n, m) of what two lists of readings are off; with one list the errors of
        single readings stand on the diagonal."""
        same = other is None
        two = one if other is None else other
        made = np.zeros((len(one), len(two)))
        a, b = _columns(one), _columns(two)
        warm = np.equal.outer(a["kind"], b["kind"]) & (a["kind"] == "temp_c")[:, None]
        heap = np.equal.outer(a["heap"], b["heap"])
        spot = heap & np.equal.outer(a["spot"], b["spot"])
        in_a, in_b = (1.0 - np.exp(-np.maximum(c["day"], 0.0) / _COMES_IN_D) for c in (a, b))
        rise = np.outer(in_a, in_b)
        gap = np.abs(np.subtract.outer(a["day"], b["day"]))
        lasts = np.where(spot, 1.0, np.where(heap, self.alike, self.together))
        made += warm * rise * self.lasting**2 * lasts * np.exp(-gap / self.lasting_days)
        made += warm * rise * spot * self.spot**2
        made += warm * np.equal.outer(a["probe"], b["probe"]) * self.probe**2
        if same:
            own = np.array([self._own(r) for r in one])
            made[np.diag_indices(len(one))] += own**2
        return np.asarray(made, dtype=np.float64)

    def _own(self, read: Read) -> float:
        match read.quantity:
            case "temp_c":
                return self.reading
            case "o2":
                return _of("oxygen_read")
            case "moisture_wb":
                return _of("moisture_read")
            case "height_m":
                return _of("height_read")
            case _:
                return _of("mass_read")


def _columns(reads: Sequence[Read]) -> dict[str, NDArray[np.object_] | Floats]:
    return {
        "kind": np.array([r.quantity for r in reads], dtype=object),
        "heap": np.array([r.heap for r in reads], dtype=object),
        "spot": np.array([r.spot for r in reads], dtype=object),
        "probe": np.array([r.probe for r in reads], dtype=object),
        "day": np.array([r.day for r in reads], dtype=np.float64),
    }
