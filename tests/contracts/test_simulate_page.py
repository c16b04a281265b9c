"""Every command and the Python of the page on simulating run, in order, in an empty folder."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.contracts.pages import DOCS, blocks, run_commands

PAGE = DOCS / "how-to" / "simulate-a-heap.md"


def test_the_page_on_simulating_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (climate,) = blocks(PAGE, "toml")
    Path("climate.toml").write_text(climate, encoding="utf-8")
    assert run_commands(PAGE, monkeypatch, capsys) >= 7
    for folder, heap in (("first-look", "C"), ("as-done", "A")):
        for name in ("run.nc", "curves.svg", "section-x.png", "ledgers.svg", "cite.txt"):
            assert (tmp_path / folder / heap / name).exists(), name
    (python,) = blocks(PAGE, "python")
    exec(compile(python, "page", "exec"), {})
    assert "simulation, not a measurement" in capsys.readouterr().out
