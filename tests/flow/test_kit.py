"""The kit: its R script comes to the numbers of the findings, from the readings on."""

from __future__ import annotations

import csv
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from tests.conftest import LONG
from tests.flow.commands import Command
from tests.property.shapes import LATER, shape_of, written

from heapwright.errors import HeapwrightError, InputError
from heapwright.services.demo import run_demo
from heapwright.services.findings import find
from heapwright.services.kit import write_kit
from heapwright.store.book import Book

needs_r = pytest.mark.skipif(shutil.which("Rscript") is None, reason="R is not installed")


def again(folder: Path) -> str:
    """What the script says; it must end well."""
    made = subprocess.run(
        ["Rscript", "recompute.R"], cwd=folder, capture_output=True, text=True, check=False
    )
    assert made.returncode == 0, made.stdout + made.stderr
    return made.stdout


@needs_r
@pytest.mark.reference(source="R (base), from the readings on", where="demo trial, all outcomes")
def test_the_demo_trial_is_done_again_in_r(tmp_path: Path) -> None:
    run_demo(tmp_path / "demo", say=lambda _="": None)
    with Book(tmp_path / "demo" / "book.sqlite") as book:
        name = book.trials()[0]
        write_kit(book, name, tmp_path / "kit", now=LATER)
        found = find(book, name, now=LATER, count=False)
    said = again(tmp_path / "kit")
    assert "the same numbers" in said.splitlines()[-1]
    worst = float(re.search(r"difference: (\S+)", said)[1])  # type: ignore[index]
    assert worst < 1e-6
    with (tmp_path / "kit" / "recomputed.csv").open(encoding="utf-8") as file:
        rows = {(r["outcome"], r["way"]): r for r in csv.DictReader(file)}
    for c in found.comparisons:
        if c.low is not None:
            row = rows[c.outcome, c.way]
            assert float(row["low_again"]) == pytest.approx(c.low, rel=1e-6, abs=1e-6)
            assert float(row["high_again"]) == pytest.approx(c.high, rel=1e-6, abs=1e-6)


@needs_r
@pytest.mark.reference(source="R (base), from the readings on", where="trials of random shape")
def test_trials_of_random_shape_are_done_again_in_r(tmp_path: Path) -> None:
    done = 0
    for seed in range(200 if LONG else 20):
        shape = shape_of(seed)
        try:
            book = written(shape, tmp_path)
        except HeapwrightError:
            continue
        with book:
            try:
                write_kit(book, shape.name, tmp_path / f"kit {seed}", now=LATER)
            except HeapwrightError:
                continue
        assert "the same numbers" in again(tmp_path / f"kit {seed}")
        done += 1
    assert done >= 15


def test_by_command_and_never_over_other_files(tmp_path: Path, command: Command) -> None:
    run_demo(tmp_path / "demo", say=lambda _="": None)
    book = str(tmp_path / "demo" / "book.sqlite")
    code, out, err = command("kit", "--book", book, "--out", str(tmp_path / "kit"))
    assert code == 0, err
    assert "Rscript recompute.R" in out
    assert "INVENTED" in (tmp_path / "kit" / "README.txt").read_text(encoding="utf-8")
    assert command("kit", "--book", book, "--out", str(tmp_path / "kit"))[0] == 0
    with Book(book) as opened, pytest.raises(InputError, match="something else"):
        write_kit(opened, opened.trials()[0], tmp_path / "demo", now=LATER)
