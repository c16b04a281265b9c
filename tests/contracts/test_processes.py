"""Every process of the simulator declares what it touches, and touches no more."""

from __future__ import annotations

import ast
import importlib
import pkgutil
from dataclasses import fields
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from tests.unit.engine.cases_of_biology import MESH, heap

from heapwright.engine import processes
from heapwright.engine.biology import Decay
from heapwright.engine.composition import chips
from heapwright.engine.kinetics import Kinetics
from heapwright.engine.process import Process
from heapwright.engine.processes import (
    acid,
    activity,
    biomass,
    decay,
    nitrogen,
    six_groups,
    tissue,
)  # fmt: skip
from heapwright.engine.six_groups import SixGroups
from heapwright.engine.state import FIELDS, State

NAMES = sorted(m.name for m in pkgutil.iter_modules(processes.__path__))
SET = Kinetics.published()
STILL = {
    "k_soluble": 0.0, "k_protein": 0.0, "k_fat": 0.0, "k_chip": 0.0, "k_leaf": 0.0, "k_slow": 0.0,
    "k_acid": 0.0, "mu_bacteria": 0.0, "mu_fungi": 0.0, "death": 0.0, "biomass_decay": 0.0,
    "ammonia_escape": 0.0, "anoxic_share": 0.0, "k_tissue": 0.0, "tissue_dies": 0.0,
}  # fmt: skip


def module(name: str) -> ModuleType:
    return importlib.import_module(f"{processes.__name__}.{name}")


@pytest.mark.parametrize("name", NAMES)
def test_a_process_declares_fields_of_the_state_and_its_sources(name: str) -> None:
    declared = module(name).PROCESS
    assert isinstance(declared, Process)
    assert declared.name.strip()
    assert set(declared.reads) | set(declared.writes) <= set(FIELDS)
    assert len(set(declared.reads)) == len(declared.reads)
    assert len(set(declared.writes)) == len(declared.writes)
    assert declared.sources
    assert all(source.strip() for source in declared.sources)


def test_names_of_processes_differ() -> None:
    names = [module(name).PROCESS.name for name in NAMES]
    assert len(names) >= 9
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("name", NAMES)
def test_a_process_imports_no_other(name: str) -> None:
    tree = ast.parse(Path(str(module(name).__file__)).read_text(encoding="utf-8"))
    seen: list[str] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            seen += [f"{node.module}.{a.name}" for a in node.names]
            assert node.level == 0
        elif isinstance(node, ast.Import):
            seen += [a.name for a in node.names]
    assert [s for s in seen if s.startswith(f"{processes.__name__}.")] == []


def changed(made: Decay | SixGroups, *, dt: float = 1800.0) -> set[str]:
    """Fields of the state that differ after one step."""
    state, work = heap(made, 4)
    before = state.copy()
    made.rates(state, work)
    made.advance(state, work, dt)
    return {
        f.name
        for f in fields(State)
        if not np.array_equal(getattr(before, f.name), getattr(state, f.name))
    }


FIRST = (decay, activity, biomass, nitrogen, acid, tissue)


def test_the_usual_kinetics_change_what_its_processes_declare() -> None:
    declared = {name for process in FIRST for name in process.PROCESS.writes}
    assert changed(Decay(chips(0.1))) == declared


@pytest.mark.parametrize(
    ("process", "on"),
    [
        (decay, ("k_soluble", "k_protein", "k_fat", "k_chip", "k_leaf", "k_slow")),
        (activity, ("mu_bacteria", "mu_fungi", "death")),
        (biomass, ("biomass_decay",)),
        (nitrogen, ("ammonia_escape",)),
        (tissue, ("k_tissue", "tissue_dies")),
        (acid, ("k_acid",)),
        (acid, ("k_soluble", "k_chip", "k_leaf", "anoxic_share")),
    ],
    ids=["decay", "activity", "biomass", "nitrogen", "tissue", "acid burnt", "acid made"],
)
def test_a_process_alone_changes_no_more_than_it_declares(
    process: ModuleType, on: tuple[str, ...]
) -> None:
    constants = SET.with_(**{k: v for k, v in STILL.items() if k not in on})
    found = changed(Decay(chips(0.1, kinetics=constants), constants))
    assert found
    assert found <= set(process.PROCESS.writes)


def test_nothing_moves_when_every_rate_is_nought() -> None:
    constants = SET.with_(**STILL)
    assert changed(Decay(chips(0.1, kinetics=constants), constants)) == set()


def test_the_six_groups_change_what_their_process_declares() -> None:
    assert changed(SixGroups(chips(0.1))) == set(six_groups.PROCESS.writes)


@pytest.mark.parametrize(
    ("made", "parts"),
    [(Decay(chips(0.1)), FIRST), (SixGroups(chips(0.1)), (six_groups,))],
    ids=["group curves", "six groups"],
)
def test_what_is_not_declared_as_read_makes_no_difference(
    made: Decay | SixGroups, parts: tuple[ModuleType, ...]
) -> None:
    read = {name for process in parts for name in process.PROCESS.reads}
    written = sorted({name for process in parts for name in process.PROCESS.writes} - {"nh3_lost"})

    def after(other: str | None) -> list[np.ndarray]:
        state, work = heap(made, 4)
        if other is not None:
            getattr(state, other)[...] += 3.7
        made.rates(state, work)
        made.advance(state, work, 1800.0)
        found = [getattr(state, name)[..., MESH.cells].copy() for name in written]
        return [*found, work["heat_w"].copy(), work["o2_kg"].copy()]

    plain = after(None)
    for name in sorted(set(FIELDS) - read - set(written)):
        for a, b in zip(plain, after(name), strict=True):
            assert np.array_equal(a, b), name
