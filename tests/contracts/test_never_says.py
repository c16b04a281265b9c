"""Nowhere does the tool call anything safe, sterile, or free of seeds or germs.

Scanned are every text of the code (docstrings are the help of commands), the tables, the
templates, the scripts, the how-to pages and the tutorial.
"""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from heapwright.science.values import SEEN

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "src" / "heapwright"
#: what is never claimed
CLAIMS = re.compile(
    r"\bsafe\b|\bsafely\b|\bsteril|\bgerm[\s-]?free|\bpathogen[\s-]?free|"
    r"\bdisease[\s-]?free|\bweed[\s-]?free|\bseed[\s-]?free|\bfree\s+(?:of|from)\s+(?:\w+\s+)?"
    r"(?:weeds?|seeds?|germs?|pathogens?|disease)|\bhygieni[sz]ed\b|\bsaniti[sz]ed\b|"
    r"\brisk[\s-]?free|\b(?:no|without)\s+risk\b|"
    r"\b(?:all|every|no)\s+(?:\w+\s+){0,2}(?:seeds?|weeds?|germs?|pathogens?)\s+"
    r"(?:is|are|was|were|will\s+be|have\s+been|has\s+been)?\s*(?:dead|killed|destroyed|left|gone|"
    r"survives?|survived)|\bkills?\s+(?:all|every)\b",
    re.IGNORECASE,
)
#: (file, words around the claim) that may stand, each with its reason
ALLOWED = {
    ("engine/kernels/thermo.py", "errs to the safe side"): "of a step of the solver",
    ("README.md", "never calls a compost safe"): "says that it is never said",
}  # fmt: skip


def _texts_of_code(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def _texts_of_table(found: Any) -> Iterator[str]:
    if isinstance(found, str):
        yield found
    elif isinstance(found, dict):
        for value in found.values():
            yield from _texts_of_table(value)
    elif isinstance(found, list):
        for value in found:
            yield from _texts_of_table(value)


def _texts(path: Path) -> Iterator[str]:
    """Texts of a file that a reader can come to see."""
    text = path.read_text("utf-8")
    match path.suffix:
        case ".py":
            yield from _texts_of_code(path)
        case ".toml":
            yield from _texts_of_table(tomllib.loads(text))
        case ".html":
            yield re.sub(r"\|\s*safe\b", "", text)  # a filter of the template language
        case _:
            yield text


def scanned() -> list[Path]:
    endings = {".py", ".toml", ".html", ".js"}
    found = [p for p in SOURCE.rglob("*") if p.suffix in endings and p.is_file()]
    docs = [*(ROOT / "docs" / "how-to").glob("*.md"), *(ROOT / "docs" / "tutorial").glob("*.md")]
    return sorted([*found, *docs, ROOT / "docs" / "index.md", ROOT / "README.md"])


def claims(text: str) -> list[str]:
    """What is claimed in a text, with some words around it, spaces made one."""
    flat = " ".join(text.split())
    return [flat[max(0, m.start() - 40) : m.end() + 40] for m in CLAIMS.finditer(flat)]


def _name(path: Path) -> str:
    return str(path.relative_to(SOURCE if path.is_relative_to(SOURCE) else ROOT))


def _may_stand(name: str, said: str) -> bool:
    return any(file == name and words in said for file, words in ALLOWED)


def test_nothing_is_called_safe_sterile_or_free_of_seeds() -> None:
    found = [
        (_name(path), said) for path in scanned() for text in _texts(path)
        for said in claims(text) if not _may_stand(_name(path), said)
    ]  # fmt: skip
    assert found == []


def test_every_exception_is_still_needed() -> None:
    stands = {(_name(path), said) for path in scanned() for text in _texts(path)
              for said in claims(text)}  # fmt: skip
    left = [key for key in ALLOWED if not any(key[0] == f and key[1] in s for f, s in stands)]
    assert left == []


@pytest.mark.parametrize(
    "text",
    [
        "The compost is safe to use.", "It can safely be eaten from.", "Sterile after three days",
        "Now all seeds are dead", "all weed seeds killed", "no weed seeds are left", "weed-free",
        "free of weed seeds", "free from pathogens", "pathogen free", "kills all weeds",
        "every seed was destroyed", "this heap is sanitized", "no seed survives",
        "there is no risk",
    ],
)  # fmt: skip
def test_claims_are_found(text: str) -> None:
    assert claims(text)


@pytest.mark.parametrize(
    "text",
    [
        "Health and Safety Executive (Great Britain)",
        "It meets the time-temperature part of rule X at the measured points.",
        "After two weeks 6 of 12 kinds did not come up.",
        "no seeds were sown", "safeguards", "a lot of seeds came up",
    ],
)  # fmt: skip
def test_other_words_are_not(text: str) -> None:
    assert not claims(text)


# --- every caution, rule and limit says who says so -----------------------------------------------

TABLES = sorted((SOURCE / "science").glob("*.toml"))
#: tables of a file that hold words and no number
WORDS_ONLY = ("finish_limits.test",)
#: keys that point at the table of the same file where it is said who says so
POINTS = ("scheme", "study")


def _rows(found: Any, name: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every table that says who says it, or that holds none deeper."""
    if isinstance(found, dict):
        deeper = {k: v for k, v in found.items() if _holds_tables(v)}
        says = {"seen", "source", *POINTS} & (found.keys() - deeper.keys())
        if says or not deeper:
            yield name, found
        else:
            for key, value in deeper.items():
                yield from _rows(value, f"{name}.{key}")
    elif isinstance(found, list):
        for i, value in enumerate(found):
            yield from _rows(value, f"{name}.{i}")


def _holds_tables(value: Any) -> bool:
    if isinstance(value, list):
        return any(isinstance(v, dict) for v in value)
    return isinstance(value, dict)


def _rules(table: dict[str, Any], name: str) -> list[tuple[str, dict[str, Any]]]:
    return [(n, row) for n, row in _rows(table, name) if not n.startswith(WORDS_ONLY)]


@pytest.mark.parametrize("path", TABLES, ids=lambda p: p.name)
def test_every_caution_rule_and_limit_has_a_source_an_edition_and_how_far_it_was_read(
    path: Path,
) -> None:
    table = tomllib.loads(path.read_text("utf-8"))
    rows = _rules(table, path.stem)
    assert rows
    lacking = [name for name, row in rows if not _sourced(row, table)]
    assert lacking == []


def _sourced(row: dict[str, Any], table: dict[str, Any]) -> bool:
    for key in POINTS:
        if key in row:
            return row[key] in table[key]
    dated = bool(row.get("edition") or row.get("year"))
    return (
        row.get("seen") in SEEN
        and (bool(row.get("source")) or dated)
        and (dated or _number(row))
    )  # fmt: skip


def _number(row: dict[str, Any]) -> bool:
    """A plain number with source and mark, as in the files of values: no rule, so no edition."""
    return "text" not in row and "name" not in row


def test_the_tables_of_all_rooms_are_there() -> None:
    assert {"cautions.toml", "use.toml"} <= {p.name for p in TABLES}
    lengths = {p.name: len(_rules(tomllib.loads(p.read_text("utf-8")), p.stem)) for p in TABLES}
    assert lengths["cautions.toml"] > 25
    assert all(lengths.values())
