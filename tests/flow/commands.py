"""Running the command inside the test process, with its exit code and what it printed."""

from __future__ import annotations

import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from heapwright.cli.main import run

Command = Callable[..., tuple[int, str, str]]


def command_in_process(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Command:
    """A function that runs ``heapwright WORDS``: (exit code, standard output, standard error)."""

    def call(*words: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["heapwright", *words])
        code = 0
        try:
            run()
        except SystemExit as stop:
            code = int(stop.code or 0)
        out, err = capsys.readouterr()
        return code, out, err

    return call


def dump(path: Path) -> str:
    """The whole SQLite book as SQL text."""
    link = sqlite3.connect(path)
    try:
        return "\n".join(link.iterdump())
    finally:
        link.close()
