"""Every command of the tutorial runs, in order, in an empty folder."""

from __future__ import annotations

import re
import shlex
import sys
from pathlib import Path

import pytest

from heapwright.cli.main import run

PAGE = Path(__file__).parents[2] / "docs" / "tutorial" / "first-trial.md"


def _commands() -> list[str]:
    blocks = re.findall(r"```sh\n(.*?)```", PAGE.read_text(encoding="utf-8"), flags=re.S)
    return [line for block in blocks for line in block.splitlines() if line.strip()]


def test_every_command_of_the_tutorial_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    commands = _commands()
    assert len(commands) >= 12
    for line in commands:
        words = shlex.split(line)
        target = None
        if ">" in words:
            target = words[words.index(">") + 1]
            words = words[: words.index(">")]
        monkeypatch.setattr(sys, "argv", words)
        try:
            run()
        except SystemExit as stop:
            if stop.code not in (0, None):
                pytest.fail(f"{line}: {capsys.readouterr().err}")
        out = capsys.readouterr().out
        if target:
            Path(target).write_text(out, encoding="utf-8")
    assert (tmp_path / "report.html").exists()
    assert (tmp_path / "work.ics").exists()
