"""The page of checks says what the tests check, and every claim has its test."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from tests.verification.claims import CLAIMS, PAGE, allowed, check, page

HERE = Path(__file__).parent


def checked() -> dict[str, set[str]]:
    """Test (file::function) -> names of the claims it checks; {} in a name stands for anything."""
    found: dict[str, set[str]] = {}
    for path in sorted(HERE.glob("test_*.py")):
        for function in ast.parse(path.read_text(encoding="utf-8")).body:
            if not (isinstance(function, ast.FunctionDef) and function.name.startswith("test_")):
                continue
            for node in ast.walk(function):
                if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "check":
                    where = f"{path.stem}::{function.name}"
                    found.setdefault(where, set()).add(_template(node.args[0]))
    return found


def _template(node: ast.expr) -> str:
    if isinstance(node, ast.JoinedStr):
        return "".join(str(v.value) if isinstance(v, ast.Constant) else "\0" for v in node.values)
    assert isinstance(node, ast.Constant)
    return str(node.value)


def _fits(template: str, name: str) -> bool:
    import re

    return re.fullmatch(".+".join(re.escape(p) for p in template.split("\0")), name) is not None


def test_the_page_is_what_the_table_says() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), (
        "stale; run: python -m tests.verification.claims"
    )


@pytest.mark.parametrize("name", list(CLAIMS))
def test_a_claim_is_checked_by_the_test_it_names(name: str) -> None:
    claim = CLAIMS[name]
    assert any(_fits(t, name) for t in checked()[claim["test"]])
    assert abs(float(claim["got"]) - float(claim["answer"])) <= allowed(claim)
    assert claim["source"]


def test_every_check_has_its_claim() -> None:
    missing = [
        (where, template)
        for where, templates in checked().items()
        if where != "test_claims::test_a_wrong_result_is_refused"
        for template in templates
        if not any(_fits(template, n) and CLAIMS[n]["test"] == where for n in CLAIMS)
    ]
    assert missing == []


def test_a_wrong_result_is_refused() -> None:
    with pytest.raises(AssertionError, match=r"answer 39\.478"):
        check("onset, closed top", 40.0)
    with pytest.raises(AssertionError, match="the page prints"):
        check("onset, closed top", 39.45)
