"""The commands mix, size, barrow and water, as a keeper types them."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
import typer
from typer.testing import CliRunner

from heapwright.cli import mixing
from heapwright.errors import ImpossibleError, InputError

app = typer.Typer()
for name in ("mix", "size", "barrow", "water"):
    app.command(name)(getattr(mixing, name))


def run(*args: str) -> str:
    result = CliRunner().invoke(app, list(args))
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.output


def test_mix_page() -> None:
    page = run("mix", "6 barrows arborist chips", "2 barrows grass clippings")
    assert page.startswith("This mix has a C:N of about 59 (")
    assert "from memory" in page
    assert "Sources:" in page
    assert "NRAES-54" in page
    assert "A barrow is taken as 85-140 L" in page
    assert "59.03" not in page  # no false digits


def test_mix_json() -> None:
    page = run("mix", "6 barrows chips [moisture 50 % dry]", "--barrow", "85-100 L", "--json")
    found = json.loads(page)["mix"]
    assert found["moisture_wb"]["typical"] == pytest.approx(1 / 3)
    known = {k["key"]: k for k in found["lines"][0]["known"]}
    assert known["moisture_wb"]["own"] is True
    assert known["nitrogen_dm"]["seen"] == "memory, low confidence"


def test_mix_with_goals_and_nitrogen() -> None:
    page = run(
        "mix",
        "6 barrows arborist chips",
        "2 barrows grass clippings",
        "--goal-cn",
        "25-35",
        "--goal-moisture",
        "50-60%",
        "--nitrogen",
        "urea 46%",
    )
    assert page.startswith("Take 6 barrows arborist chips; 2 barrows grass clippings")
    assert "dose 1" in page
    assert "cups" in page
    assert "Stop at the first smell of ammonia" in page
    assert "Before any nitrogen:" in page


def test_mix_that_cannot_be() -> None:
    with pytest.raises(ImpossibleError, match="cannot give both"):
        run("mix", "6 barrows arborist chips", "2 barrows grass clippings", "--goal-cn", "25-35")


def test_size_page() -> None:
    page = run("size", "cone", "--diameter", "2m", "--height", "1.2m")
    assert "holds about 1.3 m3" in page
    assert "one warm heap" in page
    assert "Weakly sourced" in page
    split = run("size", "--volume", "7.6m3", "--heaps", "8")
    assert "0.029" in split
    assert "just enough" in split
    back = json.loads(run("size", "cone", "--diameter", "2m", "--volume", "1.2566m3", "--json"))
    assert back["size"]["body"]["height_m"] == pytest.approx(1.2, abs=0.001)


def test_size_without_measures() -> None:
    with pytest.raises(InputError, match="size cone"):
        run("size")
    with pytest.raises(InputError, match="--diameter"):
        run("size", "cone", "--height", "1m")


def test_barrow_page() -> None:
    page = run("barrow", "--bucket", "20L", "--loads", "10", "--buckets", "47")
    assert page.startswith("Your barrow holds 94 (")
    assert '--barrow "' in page
    counted = run("barrow", "4.5", "5", "4.7", "--bucket", "20L")
    assert "from 3 loads" in counted


def test_water_page() -> None:
    page = run("water", "1 m3", "--goal", "60%", "--moisture", "40%", "--flow", "15 L/min")
    assert "minutes if all of it soaks in" in page
    assert page.startswith("Give 130 L (")


def test_starting_the_program_stays_light() -> None:
    code = (
        "import sys, heapwright.cli.mixing;"
        "heavy = {'scipy', 'numpy', 'pandas', 'pvlib', 'pint', 'rich.table'} & set(sys.modules);"
        "print(sorted(heavy))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
