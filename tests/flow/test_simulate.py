"""``heapwright simulate`` end to end on the invented Ferncombe trial: coarse cells, few days."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
import xarray as xr
from tests.flow.commands import Command

from heapwright.engine.simulate import Progress
from heapwright.services import simulating
from heapwright.services.plans import example_plan

CLIMATE = """latitude_deg = 51.2
longitude_deg = -2.9
mean_c   = [5, 5, 7, 9, 12, 15, 17, 17, 14, 11, 8, 5]
range_c  = [6, 6, 8, 9, 10, 10, 10, 10, 9, 7, 6, 5]
rain_mm  = [70, 50, 50, 50, 55, 55, 55, 65, 65, 80, 75, 75]
"""
COARSE = ("--cell", "25 cm")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in, with a plan and a described climate."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "plan.toml").write_text(example_plan(), encoding="utf-8")
    (tmp_path / "climate.toml").write_text(CLIMATE, encoding="utf-8")
    return tmp_path


def test_two_heaps_of_a_plan_side_by_side(folder: Path, command: Command) -> None:
    code, out, err = command(
        "simulate", "--plan", "plan.toml", "--weather", "climate.toml", "--heap", "a", "--heap",
        "C", "--days", "1", "--jobs", "2", "--every-h", "12", *COARSE,
    )  # fmt: skip
    assert code == 0, err
    assert out.startswith("INVENTED DATA")
    for words in ("A simulation, not a measurement", "inner third", "Heap A (", "Heap C (",
                  "Errors of its accounts: energy", "A sheltered yard", "made up from monthly",
                  "Written: ferncombe-2026-simulated"):  # fmt: skip
        assert words.lower() in out.lower(), words
    made = folder / "ferncombe-2026-simulated"
    assert sorted(p.name for p in made.iterdir()) == ["A", "C", "table.csv"]
    with xr.open_dataset(made / "C" / "run.nc", engine="h5netcdf") as back:
        assert back["time"].size == 3
        assert list(back["spot_name"].values) == ["core", "south", "north"]
        assert back.attrs["title"].startswith("Simulated INVENTED: heap C")
        assert float(back["energy_account"].attrs["relative_error"]) < 1e-3


def test_a_heap_of_the_book_as_json(folder: Path, ferncombe: Path, command: Command) -> None:
    def log(*words: str) -> None:
        code, _, err = command("log", *words)
        assert code == 0, err

    log("event", "built", "B", "--when", "2026-04-18 10:00")
    log("round", "B 16 14 15 air 11", "--when", "2026-04-18 11:00")
    code, out, err = command(
        "simulate", "--heap", "B", "--days", "0.5", "--out", "done", "--json", "--biology",
        "six groups", "--exposure", "partly", *COARSE,
    )  # fmt: skip
    assert code == 0, err
    found = json.loads(out)
    (heap,) = found["heaps"]
    assert heap["complete"]
    assert not found["stopped"]
    assert heap["built"] == "2026-04-18T09:00:00+00:00"
    assert heap["spots"]["core"]["highest_c"] >= 14
    assert any("air like the week" in w for w in heap["weather"])
    assert not any("start temperature" in a for a in heap["assumed"])
    assert (folder / "done" / "B" / "curves.svg").exists()


def test_what_is_missing_or_wrong_is_said_before_the_first_step(
    folder: Path, command: Command
) -> None:
    base = ("simulate", "--plan", "plan.toml")
    weather = ("--weather", "climate.toml")
    for words, part in (
        ((*base,), "Give --weather FILE"),
        ((*base, *weather, "--heap", "Z"), "A, B, C"),
        ((*base, *weather, "--days", "-3"), "days = -3"),
        ((*base, *weather, "--cell", "5 kg"), "cell"),
        ((*base, *weather, "--heap", "A", "--biology", "three"), "group curves, six groups"),
        ((*base, *weather, "--exposure", "windy"), "sheltered"),
        (("simulate", "--plan", "none.toml", *weather), "none.toml"),
        (("simulate",), "book"),
    ):
        code, out, err = command(*words)
        assert code == 2, (words, out, err)
        assert part in err, (words, err)
    assert not (folder / "ferncombe-2026-simulated").exists()


def test_open_questions_of_a_weather_file_come_first(folder: Path, command: Command) -> None:
    rows = [f"2026-04-{d:02d} {h:02d}:00,{10 + h % 12}" for d in range(17, 22) for h in range(24)]
    (folder / "station.csv").write_text("time,air\n" + "\n".join(rows) + "\n", encoding="utf-8")
    words = ("simulate", "--plan", "plan.toml", "--heap", "A", "--days", "0.25",
             "--weather", "station.csv", *COARSE)  # fmt: skip
    code, _, err = command(*words)
    assert code == 3
    assert "unit.air" in err
    code, out, err = command(*words, "--answer", "unit.air=C")
    assert code == 0, err
    assert "Heap A" in out


def test_ctrl_c_keeps_a_usable_part(
    folder: Path, command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = simulating.simulate

    def stopped(*args: object, **how: object) -> object:
        tell = how["on_progress"]
        assert callable(tell)

        def stop(progress: Progress) -> None:
            tell(progress)
            if progress.day > 0.5:
                raise KeyboardInterrupt

        return whole(*args, **(how | {"on_progress": stop}))  # type: ignore[arg-type]

    monkeypatch.setattr(simulating, "simulate", stopped)
    monkeypatch.setattr("heapwright.engine.simulate._TELL_S", 0.0)
    code, out, err = command(
        "simulate", "--plan", "plan.toml", "--weather", "climate.toml", "--heap", "A", "--heap",
        "B", "--days", "9", "--jobs", "1", "--out", "part", *COARSE,
    )  # fmt: skip
    assert code == 130, err
    assert "Stopped: not begun with B." in out
    assert "Stopped on day 0.5 of 9" in out
    with xr.open_dataset(folder / "part" / "A" / "run.nc", engine="h5netcdf") as back:
        assert back.attrs["complete"].startswith("no")
    assert "stopped here" in (folder / "part" / "A" / "curves.svg").read_text()
    assert (folder / "part" / "table.csv").read_text().splitlines()[1].endswith(",no")


def test_a_real_interrupt_stops_the_heaps_side_by_side(folder: Path) -> None:
    process = subprocess.Popen(
        [Path(sys.executable).parent / "heapwright", "simulate", "--plan", "plan.toml",
         "--weather", "climate.toml", "--heap", "A", "--heap", "B", "--days", "1400",
         "--jobs", "2", "--out", "part", "--cell", "12 cm"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=folder,
        env={**os.environ, "PYTHONPATH": ""}, start_new_session=True,
    )  # fmt: skip
    with pytest.raises(subprocess.TimeoutExpired):
        process.communicate(timeout=7)
    os.killpg(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 130, err
    assert "Traceback" not in err
    # on a slow machine it may not have come to the heaps yet
    assert "Stopped" in out or "stopped; nothing half-done" in err


def test_progress_is_a_line_now_and_then_where_nobody_looks(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from heapwright.cli import simulate as command_module

    monkeypatch.setattr(command_module, "_QUIET_S", 0.0)
    lines: Callable[[str, Progress], None] = command_module._Lines(2)
    lines("A", Progress(3.2, 60.0, 130.0, 41.0))
    err = capsys.readouterr().err
    assert err == "heapwright: A day 3 of 60; about 2 min left; 1 to come\n"
