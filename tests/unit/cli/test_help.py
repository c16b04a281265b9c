"""Help reads as a page for people: whole sentences, no words of a programmer, the order of work."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
import typer
from tests.flow.commands import command_in_process

from heapwright.cli.main import ORDER, app


def _paths(command: Any, words: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    yield words
    for name, below in getattr(command, "commands", {}).items():
        yield from _paths(below, (*words, name))


ALL = list(_paths(typer.main.get_command(app)))


def test_the_order_of_the_commands_names_all_of_them() -> None:
    assert sorted(ORDER) == sorted(words[0] for words in ALL if len(words) == 1)


@pytest.mark.parametrize("words", ALL, ids=" ".join)
def test_help_is_plain(
    words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = command_in_process(monkeypatch, capsys)(*words, "--help")
    assert code == 0
    assert not re.search(r"<\w+>|list\[", out)
    listed = out.partition("Commands:")[2]
    assert "..." not in listed.replace("note ...", "")
    assert max(map(len, out.splitlines())) <= 80
