"""NetCDF of a run: what goes in comes out, names and units are those of CF, no half files."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pint
import pytest
import xarray as xr
from tests.synthetic_run import made_run

from heapwright.engine.run import CURVES, FIELDS, SPOT_FIELDS
from heapwright.errors import InputError, UnknownNameError
from heapwright.exchange.netcdf import dataset_of, write_netcdf

BUILT = datetime(2026, 4, 18, 9, 30, tzinfo=UTC)


def test_all_numbers_come_back(tmp_path: Path) -> None:
    run = made_run(days=3)
    path = write_netcdf(dataset_of(run, built=BUILT, place=(51.2, -2.9)), tmp_path / "a" / "run.nc")
    with xr.open_dataset(path, engine="h5netcdf") as back:
        for name in FIELDS:
            np.testing.assert_array_equal(back[name].values, run.field(name).values)
            assert back[name].dims == ("time", "z", "y", "x")
        for name in CURVES:
            np.testing.assert_array_equal(back[f"curve_{name}"].values, run.curves[name])
        for name in SPOT_FIELDS:
            assert back[f"spot_{name}"].dims == ("spot", "curve_time")
            for k, spot in enumerate(run.spots):
                np.testing.assert_array_equal(back[f"spot_{name}"].values[k], run.spots[spot][name])
        assert list(back["spot_name"].values) == ["core", "south"]
        assert float(back["spot_z"].values[0]) == 0.6
        assert back["time"].values[1] - back["time"].values[0] == np.timedelta64(24, "h")
        assert back["time"].values[0] == np.datetime64("2026-04-18T09:30")
        assert back["curve_time"].size == run.hours.size
        for axis, expected in zip("zyx", run.axes(), strict=True):
            np.testing.assert_array_equal(back[axis].values, expected)
        terms = dict(zip(back["water_term_name"].values, back["water_account"].values, strict=True))
        assert terms == {"rain": 40.0, "drained": -90.0}
        assert back["water_account"].attrs["residual"] == pytest.approx(0.5)
        assert back["water_account"].attrs["relative_error"] == pytest.approx(0.5 / 130)
        assert float(back["latitude"]) == 51.2


def test_names_units_and_attributes_are_those_of_cf(tmp_path: Path) -> None:
    path = write_netcdf(
        dataset_of(made_run(days=2), built=BUILT, notes=["no watering"]), tmp_path / "run.nc"
    )
    units = pint.UnitRegistry()
    with xr.open_dataset(path, engine="h5netcdf", decode_times=False) as back:
        assert back.attrs["Conventions"] == "CF-1.8"
        for key in ("title", "history", "source", "references", "comment"):
            assert back.attrs[key]
        assert "not a measurement" in back.attrs["comment"]
        assert "No watering." in back.attrs["comment"]
        assert back.attrs["complete"] == "yes"
        assert back["time"].attrs["units"] == "hours since 2026-04-18 09:30:00"
        assert back["time"].attrs["calendar"] == "standard"
        assert back["z"].attrs["positive"] == "up"
        assert back["spot_name"].attrs["cf_role"] == "timeseries_id"
        standard = {n: v.attrs["standard_name"] for n, v in back.variables.items()
                    if "standard_name" in v.attrs}  # fmt: skip
        assert standard == {
            "time": "time", "curve_time": "time", "z": "height",
            "curve_air_c": "air_temperature",
        }  # fmt: skip
        for name, variable in back.variables.items():
            if variable.dtype.kind == "f" and "time" not in str(name):
                # UDUNITS writes powers behind the letter, as in m3 or s-1
                powers = re.sub(r"([a-zA-Z])(-?\d)", r"\1**\2", variable.attrs["units"])
                units.Unit(powers.replace(" ", "*"))
                assert variable.attrs["long_name"], name


def test_fields_are_compressed_and_only_those_named(tmp_path: Path) -> None:
    run = made_run(days=2)
    small = write_netcdf(dataset_of(run, names=["temp_c", "o2"]), tmp_path / "small.nc")
    import h5netcdf

    with h5netcdf.File(small) as file:
        assert file["temp_c"].compression == "gzip"
        assert "act_m" not in file.variables
        # without the moment of the build time is an age
        assert file["time"].attrs["units"] == "h"
    with pytest.raises(UnknownNameError, match="temp_c, o2"):
        dataset_of(run, names=["heat"])
    assert not (tmp_path / "none.nc").exists()


def test_a_stopped_run_says_so_and_old_files_are_replaced_whole(tmp_path: Path) -> None:
    path = tmp_path / "run.nc"
    path.write_text("an older file")
    write_netcdf(dataset_of(made_run(days=2, complete=False), names=["temp_c"]), path)
    with xr.open_dataset(path, engine="h5netcdf") as back:
        assert back.attrs["complete"].startswith("no")
        assert back.attrs["days_simulated"] == pytest.approx(2.0)
        assert back.attrs["days_asked_for"] == pytest.approx(4.0)
    assert [p.name for p in tmp_path.iterdir()] == ["run.nc"]


def test_a_folder_that_cannot_be_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        write_netcdf(dataset_of(made_run(days=1), names=["temp_c"]), tmp_path / "file" / "run.nc")
