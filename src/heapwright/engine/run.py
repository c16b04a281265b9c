"""What a simulation leaves behind: curves, probe spots, daily fields, accounts, and its citation.

Units: temperatures in degrees C, oxygen as mole fraction of dry gas, moisture on wet basis, masses
in kg, times in hours or days since the heap was built. Conventions: a run that was stopped holds
all that was done until then and says so (``complete``). Fields are kept on the cells of their day;
`Run.field` puts all days on the grid of the heap as built, empty where there was no heap.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.ledger import Ledger
from heapwright.engine.mesh import Mesh
from heapwright.engine.scenario import HeapSpec
from heapwright.errors import UnknownNameError

__all__ = ["CURVES", "FIELDS", "SPOT_FIELDS", "Done", "Run", "Snapshot"]

Floats = NDArray[np.float64]

#: Daily fields: unit, and meaning.
FIELDS: dict[str, tuple[str, str]] = {
    "temp_c": ("degC", "temperature"),
    "o2": ("1", "oxygen, mole fraction of dry gas"),
    "moisture_wb": ("1", "water over wet mass"),
    "dry_kg": ("kg", "dry mass of a cell"),
    "water_kg": ("kg", "water of a cell"),
    "pores": ("1", "air-filled space between particles"),
    "flow_x_mm_s": ("mm s-1", "flow of gas along x, over the whole area"),
    "flow_y_mm_s": ("mm s-1", "flow of gas along y, over the whole area"),
    "flow_z_mm_s": ("mm s-1", "flow of gas upwards, over the whole area"),
    "heat_w_m3": ("W m-3", "heat set free by decay"),
    "act_m": ("1", "activity of mesophiles"),
    "act_t": ("1", "activity of thermophiles"),
    "act_f": ("1", "activity of fungi"),
    "n_nh4": ("kg", "ammonium nitrogen of a cell"),
}
#: Curves over time for the whole heap: unit, and meaning.
CURVES: dict[str, tuple[str, str]] = {
    "air_c": ("degC", "air outside"),
    "mean_c": ("degC", "mean of the heap by volume"),
    "max_c": ("degC", "hottest cell"),
    "core_c": ("degC", "mean of the core, the third of the heap furthest from the air"),
    "crust_c": ("degC", "mean of the crust, within 30 cm of the air at most"),
    "core_moisture_wb": ("1", "moisture of the core"),
    "crust_moisture_wb": ("1", "moisture of the crust"),
    "top_moisture_wb": ("1", "moisture of the crust under the top"),
    "o2_least": ("1", "lowest oxygen of any cell"),
    "o2_core": ("1", "oxygen of the core"),
    "dry_kg": ("kg", "dry mass"),
    "water_kg": ("kg", "water"),
    "volume_m3": ("m3", "volume"),
    "height_m": ("m", "height"),
    "heat_w": ("W", "heat set free by decay"),
    "above_55": ("1", "share of the volume above 55 C"),
}
#: What is kept at a probe spot: unit, and meaning.
SPOT_FIELDS: dict[str, tuple[str, str]] = {
    "temp_c": FIELDS["temp_c"], "o2": FIELDS["o2"], "moisture_wb": FIELDS["moisture_wb"],
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Done:
    """Something that was done to the heap: when [h], what, and in words what came of it."""

    hours: float
    kind: str
    note: str


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The fields of one moment on the cells of that moment: arrays (mesh.count,) by name."""

    hours: float
    mesh: Mesh
    fields: Mapping[str, NDArray[np.float32]]


@dataclass(slots=True)
class Run:
    """The result of `simulate`.

    heap : what was simulated; mesh : its cells when built; days : asked for; hours (T,) : of the
    curves; curves, spots : by name, see `CURVES` and `SPOT_FIELDS`; snapshots : daily fields;
    ledger : the five accounts; done : actions as they took effect; complete : False when it was
    stopped before its end; steps, cpu_s : the cost; sources : of weather and constants; kinetics :
    name of the kinetics.
    """

    heap: HeapSpec
    mesh: Mesh
    days: float
    hours: Floats
    curves: dict[str, Floats]
    spots: dict[str, dict[str, Floats]]
    snapshots: list[Snapshot]
    ledger: Ledger
    done: list[Done] = field(default_factory=list)
    complete: bool = True
    steps: int = 0
    cpu_s: float = 0.0
    kinetics: str = ""
    sources: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    totals: dict[str, float] = field(default_factory=dict)

    @property
    def days_done(self) -> float:
        """Days that were simulated."""
        return float(self.hours[-1]) / 24 if self.hours.size else 0.0

    def at(self, spot: str) -> Any:
        """The curves at a probe spot as an xarray Dataset over ``hours``.

        Raises `UnknownNameError` for a spot the heap does not have.
        """
        import xarray as xr

        _known(spot, "spot", self.spots)
        kept = self.spots[spot]
        return xr.Dataset(
            {
                name: ("hours", kept[name], {"units": unit, "long_name": meaning})
                for name, (unit, meaning) in SPOT_FIELDS.items()
            },
            coords={"hours": ("hours", self.hours, {"units": "h"})},
            attrs={"spot": spot},
        )

    def curve(self, name: str) -> Any:
        """A curve of the whole heap as an xarray DataArray over ``hours``; see `CURVES`.

        Raises `UnknownNameError`.
        """
        import xarray as xr

        _known(name, "curve", CURVES)
        unit, meaning = CURVES[name]
        return xr.DataArray(
            self.curves[name], dims="hours", coords={"hours": self.hours}, name=name,
            attrs={"units": unit, "long_name": meaning},
        )  # fmt: skip

    def field(self, name: str) -> Any:
        """A field of all kept days as an xarray DataArray (hours, z, y, x), NaN outside the heap.

        Coordinates are the centres of the cells as built [m], x and y from the middle of the foot.
        Raises `UnknownNameError`.
        """
        import xarray as xr

        _known(name, "field", FIELDS)
        unit, meaning = FIELDS[name]
        axes = self.axes()
        values = np.full((len(self.snapshots), *(a.size for a in axes)), np.nan, dtype=np.float32)
        for n, shot in enumerate(self.snapshots):
            values[n] = on_grid(shot, name, axes)
        z, y, x = axes
        metres = {"units": "m"}
        return xr.DataArray(
            values,
            dims=("hours", "z", "y", "x"),
            coords={
                "hours": ("hours", [s.hours for s in self.snapshots], {"units": "h"}),
                "z": ("z", z, metres | {"positive": "up"}),
                "y": ("y", y, metres),
                "x": ("x", x, metres),
            },
            name=name,
            attrs={"units": unit, "long_name": meaning},
        )

    def axes(self) -> tuple[Floats, Floats, Floats]:
        """Centres of the cells of the box as built along z, y and x [m]."""
        m = self.mesh
        z, y, x = (
            np.asarray(start + (np.arange(count) + 0.5) * m.dx_m, dtype=np.float64)
            for start, count in zip(m.origin_m[::-1], m.shape, strict=True)
        )
        return z, y, x

    def cite(self) -> str:
        """What to write beside a number of this run: version, heap, weather, constants, limits."""
        import heapwright

        lines = [
            f"Heapwright {heapwright.__version__}, simulated heap "
            f"({self.heap.shape}, {self.heap.volume_m3:g} m3, cells of {self.mesh.dx_m:.3g} m), "
            f"{self.days_done:g} of {self.days:g} days, kinetics: {self.kinetics}."
        ]
        if not self.complete:
            lines.append("The run was stopped before its end.")
        lines += [f"- {s}" for s in self.sources]
        lines.append(
            "A simulation, not a measurement; constants are medians of wide ranges "
            "(docs/explain/engine.md)."
        )
        return "\n".join(lines)


def _known(name: str, what: str, names: Mapping[str, Any]) -> None:
    """Refuse a name that a run does not have."""
    if name not in names:
        raise UnknownNameError(
            f"a run of this heap has no such {what}", field=what, value=name,
            way_out=f"It has {', '.join(names) or 'none'}",
        )  # fmt: skip


def on_grid(shot: Snapshot, name: str, axes: tuple[Floats, Floats, Floats]) -> NDArray[np.float32]:
    """A field of one moment on other axes (z, y, x): each place takes the cell it lies in."""
    m = shot.mesh
    box = np.full(m.active.shape, np.nan, dtype=np.float32)
    box.ravel()[m.cells.astype(np.int64)] = shot.fields[name]
    at = []
    for axis, start, size in zip(axes, m.origin_m[::-1], m.shape, strict=True):
        index = np.floor((axis - start) / m.dx_m + 1e-9).astype(int) + 1
        at.append(np.clip(index, 0, size + 1))
    return np.asarray(box[np.ix_(*at)])
