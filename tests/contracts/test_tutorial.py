"""Every command of the tutorial runs, in order, in an empty folder."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.contracts.pages import DOCS, run_commands


def test_every_command_of_the_tutorial_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run_commands(DOCS / "tutorial" / "first-trial.md", monkeypatch, capsys) >= 12
    assert (tmp_path / "report.html").exists()
    assert (tmp_path / "work.ics").exists()
