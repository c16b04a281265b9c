"""The rules of the house that a machine can check."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "src" / "heapwright"
MODULES = sorted(p for p in SOURCE.rglob("*.py") if "migrations" not in p.parts)


def _tracked() -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, check=True,
    ).stdout.decode()  # fmt: skip
    return [ROOT / name for name in listed.split("\0") if name and (ROOT / name).is_file()]


def test_import_directions_hold() -> None:
    done = subprocess.run(
        [Path(sys.executable).parent / "lint-imports", "--no-logo"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(SOURCE)))
def test_every_module_and_public_function_says_what_it_holds(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), "the module has no first lines"
    public = [
        node
        for node in tree.body
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_")
    ]
    silent = [node.name for node in public if not ast.get_docstring(node)]
    assert silent == []


def test_no_file_names_a_download_address_of_a_registry() -> None:
    # spelled in parts so that this file does not name one itself
    bad = re.compile("|".join(["index" + "-url", "find" + "-links =", "pypi" + r"\.org",
                               "python" + "hosted", "registry" + r"\.npmjs"]))  # fmt: skip
    found = []
    for path in _tracked():
        if path.suffix in {".png", ".svg"}:
            continue
        text = path.read_text(encoding="utf-8", errors="ignore")
        if bad.search(text):
            found.append(str(path.relative_to(ROOT)))
    assert found == []


def _unsourced(name: str, entry: dict[str, object]) -> list[str]:
    """Tables below *entry* that hold a number but no source with its ``seen``."""
    if entry.get("source") and entry.get("seen"):
        return []
    inner = {k: v for k, v in entry.items() if isinstance(v, dict)}
    if len(inner) < len(entry) or not inner:
        return [name]
    return [bad for key, table in inner.items() for bad in _unsourced(f"{name}.{key}", table)]


def test_published_numbers_carry_a_source() -> None:
    lacking: list[str] = []
    paths = sorted((SOURCE / "science" / "values").glob("*.toml"))
    for path in paths:
        lacking += _unsourced(path.stem, tomllib.loads(path.read_text(encoding="utf-8")))
    assert lacking == []
    assert len(paths) >= 6


def test_the_front_door_names_both_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert "make demo" in text
    assert "make test" in text
