"""Fixtures of the flow tests."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.flow.commands import Command, command_in_process

from heapwright.services.plans import example_plan


@pytest.fixture
def command(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """``command("plan", "check", "x.toml")`` gives (exit code, standard output, standard error)."""
    return command_in_process(monkeypatch, capsys)


@pytest.fixture
def ferncombe(tmp_path: Path, command: Command) -> Path:
    """The default book of a test with the locked example plan; heaps A to F."""
    plan = tmp_path / "plan.toml"
    plan.write_text(example_plan(), encoding="utf-8")
    code, _, err = command("plan", "lock", str(plan))
    assert code == 0, err
    return tmp_path / "book.sqlite"
