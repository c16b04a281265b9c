"""The reference pages are made from the code; one that is missing or stale fails here."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

DOCS = Path(__file__).parents[2] / "docs"


def _generator() -> ModuleType:
    spec = importlib.util.spec_from_file_location("docs_generate", DOCS / "generate.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


GENERATE = _generator()


@pytest.mark.parametrize("name", list(GENERATE.PAGES))
def test_a_reference_page_is_what_the_code_says(name: str) -> None:
    path = GENERATE.FOLDER / name
    assert path.exists(), "run: python docs/generate.py"
    assert path.read_text(encoding="utf-8") == GENERATE.PAGES[name](), (
        "stale; run: python docs/generate.py"
    )


def test_every_page_is_linked() -> None:
    index = (DOCS / "reference" / "index.md").read_text(encoding="utf-8")
    assert [n for n in GENERATE.PAGES if n.removesuffix(".md") not in index] == []


def test_every_command_stands_in_the_commands_page() -> None:
    import typer

    from heapwright.cli.main import app

    page = (DOCS / "reference" / "commands.md").read_text(encoding="utf-8")
    names = [path for path, _ in GENERATE._commands(typer.main.get_command(app), "heapwright")]
    assert [n for n in names if f"## {n}\n" not in page] == []
    assert len(names) > 15
