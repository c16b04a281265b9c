"""A design must not depend on row order, names or units, and never crashes on lost heaps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from heapwright.errors import HeapwrightError
from heapwright.stats.anova import anova
from heapwright.stats.contrast import Interval
from heapwright.stats.designs import effect, interaction, paired
from heapwright.stats.estimable import means
from heapwright.stats.linear import HeapRow, fit
from heapwright.stats.manytoone import many_to_one
from heapwright.stats.prior import SpreadPrior

PRIOR = SpreadPrior()
TURNING, MATERIAL, BLOCKS = ("no", "two", "four"), ("bark", "grass"), ("y1", "y2", "y3")
TERMS = ["block", ("turning", "material")]
value = st.floats(-20, 60).map(lambda x: round(x, 2))
heap = st.tuples(
    st.sampled_from(TURNING), st.sampled_from(MATERIAL), st.sampled_from(BLOCKS), value
)
trial = st.lists(heap, min_size=1, max_size=20)
few = settings(deadline=None, max_examples=60)


def rows_of(cells: list[tuple[str, str, str, float]]) -> list[HeapRow]:
    return [
        HeapRow(f"h{i}", v, block=b, factors={"turning": t, "material": m})
        for i, (t, m, b, v) in enumerate(cells)
    ]


def full(extra: list[tuple[str, str, str, float]]) -> list[HeapRow]:
    """Every combination once, in turn over the blocks, and more heaps (invented)."""
    grid = [(t, m) for t in TURNING for m in MATERIAL]
    base = [
        (t, m, BLOCKS[(i + k) % 3], 30.0 + ((7 * i + 5 * k) % 11))
        for k in range(2)
        for i, (t, m) in enumerate(grid)
    ]
    return rows_of([*base, *extra])


def asked(rows: list[HeapRow], prior: SpreadPrior | None) -> list[Interval]:
    f = fit(rows, TERMS)
    return [
        effect(f, "turning", "two", "no", prior=prior),
        effect(f, "turning", "four", "no", at={"material": "grass"}, prior=prior),
        interaction(f, ("turning", "four", "no"), ("material", "grass", "bark"), prior=prior),
    ]


def numbers(found: list[Interval]) -> list[float]:
    return [x for i in found for x in (i.estimate, i.low, i.high, i.df)]


def f_values(rows: list[HeapRow]) -> list[float]:
    return [r.f for _, r in sorted((r.term, r) for r in anova(fit(rows, TERMS)).rows)]


@given(trial, st.randoms(use_true_random=False), st.sampled_from([None, PRIOR]))
@few
def test_order_of_rows(
    extra: list[tuple[str, str, str, float]], random: object, prior: SpreadPrior | None
) -> None:
    rows = full(extra)
    mixed = list(rows)
    random.shuffle(mixed)
    assert numbers(asked(mixed, prior)) == pytest.approx(numbers(asked(rows, prior)), abs=1e-8)
    assert f_values(mixed) == pytest.approx(f_values(rows), abs=1e-8, rel=1e-8)


@given(trial)
@few
def test_names_of_heaps_and_levels(extra: list[tuple[str, str, str, float]]) -> None:
    rows = full(extra)
    renamed = [
        replace(
            r,
            heap=f"pile {len(rows) - i}",
            block={"y1": "Z", "y2": "A", "y3": "M"}[r.block],
            factors={"turning": r.factors["turning"], "material": r.factors["material"]},
        )
        for i, r in enumerate(rows)
    ]
    assert numbers(asked(renamed, None)) == pytest.approx(numbers(asked(rows, None)), abs=1e-8)


@given(trial)
@few
def test_swapping_way_and_control_swaps_the_sign(
    extra: list[tuple[str, str, str, float]],
) -> None:
    f = fit(full(extra), TERMS)
    one, two = effect(f, "turning", "two", "no"), effect(f, "turning", "no", "two")
    assert (two.estimate, two.low, two.high) == pytest.approx(
        (-one.estimate, -one.high, -one.low), abs=1e-9
    )


@given(trial, st.floats(-300, 300))
@few
def test_a_constant_added_to_all_heaps(
    extra: list[tuple[str, str, str, float]], shift: float
) -> None:
    rows = full(extra)
    moved = [replace(r, value=r.value + shift) for r in rows]
    assert numbers(asked(moved, None)) == pytest.approx(numbers(asked(rows, None)), abs=1e-8)


@given(trial, st.floats(0.01, 50))
@few
def test_the_unit_scales_everything(extra: list[tuple[str, str, str, float]], k: float) -> None:
    rows = full(extra)
    scaled = [replace(r, value=k * r.value) for r in rows]
    prior = SpreadPrior(s0_c=4.0 * k, va=0.8 * k**2)
    for one, two in zip(asked(rows, PRIOR), asked(scaled, prior), strict=True):
        assert (two.low / k, two.high / k) == pytest.approx((one.low, one.high), abs=1e-8)
    assert f_values(scaled) == pytest.approx(f_values(rows), rel=1e-7, abs=1e-8)


@given(trial, st.floats(0.01, 100), st.floats(-100, 100))
@few
def test_the_unit_of_a_covariate_changes_nothing(
    extra: list[tuple[str, str, str, float]], k: float, shift: float
) -> None:
    rows = [
        replace(r, covariates={"leafy": float((13 * i) % 17)}) for i, r in enumerate(full(extra))
    ]
    other = [replace(r, covariates={"leafy": shift + k * r.covariates["leafy"]}) for r in rows]
    one, two = (effect(fit(x, [*TERMS, "leafy"]), "turning", "two", "no") for x in (rows, other))
    assert (two.low, two.high) == pytest.approx((one.low, one.high), abs=1e-6)


@given(trial, st.sampled_from([None, PRIOR]))
@settings(deadline=None, max_examples=200)
def test_lost_heaps_and_empty_cells_never_crash(
    cells: list[tuple[str, str, str, float]], prior: SpreadPrior | None
) -> None:
    """Whatever stands is computed; whatever cannot be told is refused with a way out."""
    f = fit(rows_of(cells), TERMS)
    questions = [
        lambda: effect(f, "turning", "two", "no", prior=prior),
        lambda: effect(f, "turning", "four", "no", at={"material": "grass"}, prior=prior),
        lambda: interaction(
            f, ("turning", "four", "no"), ("material", "grass", "bark"), prior=prior
        ),
        lambda: anova(f, prior=prior),
        lambda: many_to_one(f, "material", "bark", prior=prior),
    ]
    for question in questions:
        try:
            found = question()
        except HeapwrightError as error:
            found = error
        assert not isinstance(found, HeapwrightError) or (found.way_out and found.field)
        if isinstance(found, Interval):
            assert np.isfinite([found.estimate, found.se, found.low, found.high]).all()
            assert found.low <= found.estimate <= found.high
    assert len(means(f, "turning", "material")) >= 1


@given(trial)
@few
def test_a_refused_contrast_is_really_open(cells: list[tuple[str, str, str, float]]) -> None:
    """What is answered is the same in every solution, what is refused is not."""
    rows = rows_of(cells)
    f = fit(rows, TERMS)
    assume({"two", "no"} <= set(f.levels["turning"]))
    c = f.row({"turning": "two"}) - f.row({"turning": "no"})
    free = np.linalg.svd(f.x)[2][f.rank :]
    open_ = bool(np.abs(free @ c).max(initial=0) > 1e-6)
    try:
        effect(f, "turning", "two", "no", prior=PRIOR)
    except HeapwrightError:
        assert open_
    else:
        assert not open_


yard = st.tuples(
    st.sampled_from(["a", "b", "c", "d", "e"]), st.sampled_from(["left", "turned", "vented"]), value
)


@given(st.lists(yard, max_size=12), st.sampled_from([None, PRIOR]))
@settings(deadline=None, max_examples=200)
def test_pairs_never_crash(rows: list[tuple[str, str, float]], prior: SpreadPrior | None) -> None:
    try:
        found = paired(rows, "turned", "left", prior=prior)
    except HeapwrightError as error:
        found = error
    if isinstance(found, HeapwrightError):
        assert found.way_out and found.field  # noqa: PT018
        return
    assert set(found.differences) | set(found.left_out) == {r[0] for r in rows}
    assert found.estimate == pytest.approx(np.mean(list(found.differences.values())))
    assert (found.sign_p or 1.0) >= found.floor - 1e-12
    for interval in (found.informed, found.prior_free):
        if interval is not None:
            assert interval.estimate == pytest.approx(found.estimate, abs=1e-9)
