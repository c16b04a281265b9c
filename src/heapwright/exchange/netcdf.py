"""A simulated heap as a NetCDF file with the names and units of the CF conventions, version 1.8.

Units: as in `heapwright.engine.run`, spelled for UDUNITS. Conventions: ``time`` is that of the
fields (usually daily), ``curve_time`` that of curves and probe spots (usually hourly), both in
hours since the heap was built, in UTC where the moment is known. Curves are called ``curve_`` and
the name they have in a run, spots ``spot_``. Spots are a discrete dimension with an id and a place
(CF role ``timeseries_id``); the file holds fields beside them, so it carries no global
``featureType``, which CF keeps for files of one kind (from memory). Accounts stand as one amount a
term. A ``standard_name`` is given only where CF has one that means just this.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from heapwright.engine.run import CURVES, FIELDS, SPOT_FIELDS, Run
from heapwright.errors import sentence
from heapwright.exchange.files import whole_file

__all__ = ["dataset_of", "write_netcdf"]

_REFERENCES = (
    "docs/explain/engine.md of Heapwright; sources of constants stand beside the values in "
    "heapwright/science/values"
)
_COMMENT = (
    "A simulation, not a measurement. Constants are medians of wide ranges; fields are kept on the "
    "cells of the heap as built and are empty where there was no heap."
)


def dataset_of(
    run: Run,
    *,
    names: Sequence[str] | None = None,
    built: datetime | None = None,
    title: str = "",
    history: str = "",
    place: tuple[float, float] | None = None,
    notes: Sequence[str] = (),
) -> Any:
    """The whole run as an xarray Dataset, ready to be written.

    Parameters
    ----------
    names : sequence of str, optional
        Fields to hold, see `heapwright.engine.run.FIELDS`; all of them by default.
    built : datetime, optional
        Aware; without it time counts from an unnamed build.
    title, history : str
        What it is, and how it came to be.
    place : (float, float), optional
        Latitude and longitude [degrees], north and east positive.
    notes : sequence of str
        What was taken for granted.

    Raises
    ------
    UnknownNameError
        A field that a run does not have.
    """
    import xarray as xr

    wanted = list(FIELDS) if names is None else list(names)
    data: dict[str, Any] = {}
    for name in wanted:
        values = run.field(name).values  # refuses a name that is no field
        data[name] = (("time", "z", "y", "x"), values, _about(*FIELDS[name], "time: point"))
    for name, (unit, meaning) in CURVES.items():
        about = _about(unit, meaning, "curve_time: point")
        if name == "air_c":
            about["standard_name"] = "air_temperature"
        data[f"curve_{name}"] = ("curve_time", run.curves[name], about)
    data |= _spots(run)
    data |= _accounts(run)
    made = xr.Dataset(data, coords=_coordinates(run, built, place))
    made.attrs = _global(run, title, history, notes)
    return made


def write_netcdf(made: Any, path: Path) -> Path:
    """Write what `dataset_of` gave to *path* as compressed NetCDF 4; the file appears whole or not.

    Raises `InputError` when the file cannot be written.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from heapwright.domain.weather import WeatherSeries
    >>> from heapwright.engine.scenario import HeapSpec
    >>> from heapwright.engine.simulate import simulate
    >>> air = WeatherSeries.steady(datetime(2026, 5, 3, tzinfo=UTC), hours=48, air_temp_c=15.0)
    >>> run = simulate(HeapSpec(0.5, dx_m=0.2), weather=air, days=0.1)
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_netcdf(dataset_of(run, names=["temp_c"]), Path(folder) / "run.nc").name
    'run.nc'
    """
    encoding: dict[Any, dict[str, Any]] = {}
    for name, variable in made.variables.items():
        if variable.dtype.kind == "f":
            fill = np.nan if variable.ndim == 4 else None
            encoding[name] = {"_FillValue": fill}
            if variable.ndim:
                encoding[name] |= {"zlib": True, "complevel": 4, "shuffle": True}
    with whole_file(path) as beside:
        made.to_netcdf(beside, engine="h5netcdf", encoding=encoding)
    return path


# --- parts ---------------------------------------------------------------------------------------


def _about(unit: str, meaning: str, cell_methods: str) -> dict[str, Any]:
    return {"units": unit, "long_name": meaning, "cell_methods": cell_methods}


def _coordinates(
    run: Run, built: datetime | None, place: tuple[float, float] | None
) -> dict[str, Any]:
    z, y, x = run.axes()
    metres = {"units": "m"}
    fields = np.array([s.hours for s in run.snapshots], dtype=np.float64)
    found: dict[str, Any] = {
        "time": ("time", fields, _time(built, "time of the fields")),
        "curve_time": ("curve_time", run.hours, _time(built, "time of curves and spots")),
        "z": ("z", z, metres | {
            "standard_name": "height", "long_name": "height above the lowest ground",
            "axis": "Z", "positive": "up"}),
        "y": ("y", y, metres | {"long_name": "across the heap from its middle", "axis": "Y"}),
        "x": ("x", x, metres | {"long_name": "along the heap from its middle", "axis": "X"}),
    }  # fmt: skip
    if place is not None:
        for name, unit, number in (
            ("latitude", "degrees_north", place[0]), ("longitude", "degrees_east", place[1]),
        ):  # fmt: skip
            found[name] = ((), number, {"units": unit, "standard_name": name})
    return found


def _time(built: datetime | None, meaning: str) -> dict[str, Any]:
    if built is None:
        return {"units": "h", "long_name": f"{meaning}, since the heap was built", "axis": "T"}
    moment = built.astimezone(UTC)
    return {
        "units": f"hours since {moment:%Y-%m-%d %H:%M:%S}", "calendar": "standard",
        "standard_name": "time", "long_name": f"{meaning}, UTC", "axis": "T",
    }  # fmt: skip


def _spots(run: Run) -> dict[str, Any]:
    """Probe spots as a discrete dimension: id, place, and a series of each quantity."""
    if not run.spots:
        return {}
    where = {s.name: run.mesh.lifted(s.point_m) for s in run.heap.spots}
    names = list(run.spots)
    out: dict[str, Any] = {
        "spot_name": ("spot", np.array(names, dtype=object), {
            "cf_role": "timeseries_id", "long_name": "name of the probe spot"}),
    }  # fmt: skip
    for axis, name in enumerate("xyz"):
        out[f"spot_{name}"] = (
            "spot", np.array([where[n][axis] for n in names]),
            {"units": "m", "long_name": f"{name} of the probe's tip as built"},
        )  # fmt: skip
    for name, (unit, meaning) in SPOT_FIELDS.items():
        kept = np.array([run.spots[n][name] for n in names])
        about = _about(unit, f"{meaning}, at the probe spots", "curve_time: point")
        about["coordinates"] = "spot_name spot_x spot_y spot_z"
        out[f"spot_{name}"] = (("spot", "curve_time"), kept, about)
    return out


def _accounts(run: Run) -> dict[str, Any]:
    """One variable an account: an amount for every term, with start, end and error."""
    out: dict[str, Any] = {}
    for name, account in run.ledger.accounts().items():
        terms = list(account.terms)
        if not terms:
            continue
        dim = f"{name}_term"
        out[f"{dim}_name"] = (dim, np.array(terms, dtype=object), {
            "long_name": f"terms of the account of {name}"})  # fmt: skip
        out[f"{name}_account"] = (
            dim, np.array([account.terms[t] for t in terms]),
            {
                "units": account.unit, "coordinates": f"{dim}_name",
                "long_name": f"account of {name}, positive into the heap, over the whole run",
                "held_at_first": account.start, "held_at_last": account.now,
                "residual": account.residual, "relative_error": account.error,
            },
        )  # fmt: skip
    return out


def _global(run: Run, title: str, history: str, notes: Sequence[str]) -> Mapping[str, Any]:
    import heapwright

    heap = run.heap
    source = f"Heapwright {heapwright.__version__}, simulated; kinetics: {run.kinetics}"
    about: dict[str, Any] = {
        "Conventions": "CF-1.8",
        "title": title or f"Simulated compost heap {heap.name}",
        "history": history or f"written by heapwright {heapwright.__version__}",
        "source": source,
        "references": _REFERENCES,
        "comment": " ".join([_COMMENT, *(sentence(n) for n in notes)]),
        "weather": "; ".join(run.sources),
        "complete": "yes" if run.complete else "no, stopped before its end",
        "days_asked_for": float(run.days),
        "days_simulated": float(run.days_done),
        "heap_shape": heap.shape,
        "heap_volume_m3": float(heap.volume_m3),
        "heap_dry_density_kg_m3": float(heap.dry_density),
        "heap_moisture_wb": float(heap.moisture_wb),
        "heap_start_c": float(heap.start_c),
        "cell_m": float(run.mesh.dx_m),
        "pipes": len(heap.pipes),
    }
    if run.done:
        about["done"] = "; ".join(
            f"{d.hours:.1f} h: {d.kind}" + (f" ({d.note})" if d.note else "") for d in run.done
        )
    return about
