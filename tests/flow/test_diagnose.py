"""The command that says what is probably wrong with a heap."""

from __future__ import annotations

import json

import pytest
from tests.flow.commands import Command


def test_a_dusty_core_is_too_dry_in_fahrenheit_too(
    command: Command,
) -> None:
    words = ("diagnose", "not heating", "--age", "14 d", "--squeeze", "dusty", "--core", "61 F")
    code, out, _ = command(*words)
    assert code == 0
    assert "too dry inside" in out.splitlines()[0]
    assert "log it" in out
    code, out, _ = command(*words, "--json")
    found = json.loads(out)["diagnosis"]
    assert found["causes"][0]["name"] == "dry"
    assert sum(c["chance"] for c in found["causes"]) == pytest.approx(1.0)
    assert found["used"]["core_heat"] == "below 40"


def test_the_next_test_is_named_and_conflicts_are_shown(
    command: Command,
) -> None:
    _, out, _ = command("diagnose", "white dust")
    assert "Look at this next (2 min): Squeeze a handful of the white band." in out
    assert "Guides differ." in out


def test_input_that_cannot_stand_is_refused(command: Command) -> None:
    code, out, err = command("diagnose", "sulks")
    assert (code, out) == (2, "")
    assert "not heating" in err
    code, _, err = command("diagnose", "smells", "--core", "900 C")
    assert code == 2
    assert "core_c" in err
