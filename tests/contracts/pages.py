"""Runs what stands in a page of the docs, as a reader would."""

from __future__ import annotations

import re
import shlex
import sys
from pathlib import Path

import pytest

from heapwright.cli.main import run

__all__ = ["DOCS", "blocks", "run_commands"]

DOCS = Path(__file__).parents[2] / "docs"


def blocks(page: Path, kind: str) -> list[str]:
    """The fenced blocks of one kind in a page."""
    return re.findall(rf"```{kind}\n(.*?)```", page.read_text(encoding="utf-8"), flags=re.S)


def run_commands(
    page: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> int:
    """Run every command of a page, in order, where we are; gives how many there were."""
    commands = [x for block in blocks(page, "sh") for x in block.splitlines() if x.strip()]
    for line in commands:
        words, _, target = line.partition(" > ")
        monkeypatch.setattr(sys, "argv", shlex.split(words))
        try:
            run()
        except SystemExit as stop:
            if stop.code not in (0, None):
                pytest.fail(f"{line}: {capsys.readouterr().err}")
        out = capsys.readouterr().out
        if target:
            Path(target.strip()).write_text(out, encoding="utf-8")
    return len(commands)
