"""Every command and the Python of the page on simulating run, in order, in an empty folder."""

from __future__ import annotations

import re
import shlex
import sys
from pathlib import Path

import pytest

from heapwright.cli.main import run

PAGE = Path(__file__).parents[2] / "docs" / "how-to" / "simulate-a-heap.md"


def _blocks(kind: str) -> list[str]:
    return re.findall(rf"```{kind}\n(.*?)```", PAGE.read_text(encoding="utf-8"), flags=re.S)


def test_the_page_on_simulating_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (climate,) = _blocks("toml")
    Path("climate.toml").write_text(climate, encoding="utf-8")
    commands = [line for block in _blocks("sh") for line in block.splitlines() if line.strip()]
    assert len(commands) >= 7
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
    for folder, heap in (("first-look", "C"), ("as-done", "A")):
        for name in ("run.nc", "curves.svg", "section-x.png", "ledgers.svg", "cite.txt"):
            assert (tmp_path / folder / heap / name).exists(), name
    (python,) = _blocks("python")
    exec(compile(python, "page", "exec"), {})
    assert "simulation, not a measurement" in capsys.readouterr().out
