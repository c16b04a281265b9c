"""From plan and book to a heap that can be simulated; what is taken for granted is said."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from heapwright.domain.trial import Trial
from heapwright.errors import NotEnoughError
from heapwright.exchange.planfile import read_plan_text
from heapwright.services.doings import log_event, log_sample
from heapwright.services.heapcase import Wishes, book_case, plan_case
from heapwright.services.log import log_round
from heapwright.services.plans import example_plan, lock_plan, with_lots
from heapwright.services.record import load_record
from heapwright.store.book import Book

NOW = datetime(2026, 4, 1, tzinfo=UTC)
BUILT = datetime(2026, 4, 18, 9, tzinfo=UTC)


def _trial(text: str | None = None) -> Trial:
    return with_lots(read_plan_text(text or example_plan(), now=NOW))


def _of_way(trial: Trial, way: str) -> str:
    return next(h.name for h in trial.heaps if h.way == way)


def test_a_plan_gives_volume_matter_turns_spots_and_pipes() -> None:
    trial = _trial()
    turned = plan_case(trial, _of_way(trial, "turned"), Wishes(40.0), now=NOW)
    assert turned.spec.volume_m3 == pytest.approx(1.2)
    assert turned.spec.height_m == 1.1
    assert [(a.age_d, a.kind) for a in turned.actions] == [
        (5.0, "turned"), (19.0, "turned"), (33.0, "turned"),
    ]  # fmt: skip
    assert [s.name for s in turned.spec.spots] == ["core", "south", "north"]
    assert not turned.spec.pipes
    assert turned.recipe is not None
    # 80 barrows of 90 L make the six heaps of 1.2 m3 with nothing left over
    assert turned.spec.dry_density * 6 * 1.2 == pytest.approx(turned.recipe.dry_kg)
    assert turned.spec.moisture_wb == pytest.approx(turned.recipe.moisture_wb)
    assert turned.invented
    assert any(a.startswith("moisture not measured: 55 %") for a in turned.assumed)
    assert any("no watering" in a for a in turned.assumed)
    vented = plan_case(trial, _of_way(trial, "vented"), Wishes(40.0), now=NOW)
    assert len(vented.spec.pipes) == 2
    assert vented.actions == ()
    vented.spec.mesh()  # spots and pipes lie inside


def test_on_a_slope_places_count_from_the_ground_and_are_lifted_once() -> None:
    level, steep = (
        plan_case(t, _of_way(t, "vented"), Wishes(40.0), now=NOW)
        for t in (_trial(example_plan().replace('slope = "3 %"', f'slope = "{s} %"'))
                  for s in (0, 20))
    )  # fmt: skip
    assert steep.spec.slope_deg == pytest.approx(11.31, abs=0.01)
    assert steep.spec.spots == level.spec.spots
    assert [p.points_m for p in steep.spec.pipes] == [p.points_m for p in level.spec.pipes]
    mesh = steep.spec.mesh()  # spots and pipes lie inside
    foot = -mesh.origin_m[0]
    for spot in steep.spec.spots:
        x, y, z = spot.point_m
        assert mesh.lifted(spot.point_m) == pytest.approx((x, y, z + 0.2 * (x + foot)))


def test_pipes_are_opened_and_pulled_and_covers_go_on_as_planned() -> None:
    text = example_plan().replace(
        'vents = "open"', 'vents = "plugged"\nopen_after = "7 days"\npull_after = "30 days"'
    )
    text = text.replace('name = "left alone"\nkind = "left alone"',
                        'name = "left alone"\nkind = "covered"')  # fmt: skip
    trial = _trial(text)
    vented = plan_case(trial, _of_way(trial, "vented"), Wishes(40.0), now=NOW)
    assert [(a.age_d, a.kind) for a in vented.actions] == [
        (7.0, "vent opened"), (30.0, "vent pulled"),
    ]  # fmt: skip
    assert vented.spec.pipes[0].state == "plugged"
    covered = plan_case(trial, _of_way(trial, "left alone"), Wishes(40.0), now=NOW)
    assert [(a.age_d, a.kind) for a in covered.actions] == [(0.0, "covered")]


def test_a_dry_mix_is_wetted_to_the_target_and_a_missing_volume_is_a_share() -> None:
    text = example_plan().replace('moisture = "46-52 %"', 'moisture = "20 %"')
    text = text.replace('volume = "1.15-1.25 m3"\n', "").replace('height = "1.1 m"\n', "")
    trial = _trial(text)
    case = plan_case(trial, "A", Wishes(10.0), now=NOW)
    assert case.spec.moisture_wb == pytest.approx(0.55)
    assert any("wetted to the 55 %" in a for a in case.assumed)
    assert case.spec.volume_m3 == pytest.approx(1.2)
    assert any(a.startswith("volume not measured: 1.2 m3") for a in case.assumed)
    assert any(a.startswith("height not measured") for a in case.assumed)


def test_a_heap_of_unknown_size_is_refused_with_the_way_out() -> None:
    trial = _trial()
    bare = replace(
        trial, ingredients=(), heaps=tuple(replace(h, volume_m3=None) for h in trial.heaps)
    )
    with pytest.raises(NotEnoughError, match="log sample A volume"):
        plan_case(bare, "A", Wishes(10.0), now=NOW)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """A book with the locked example plan and heap A built on 18 April."""
    plan = tmp_path / "plan.toml"
    plan.write_text(example_plan(), encoding="utf-8")
    opened = Book(tmp_path / "a.sqlite")
    lock_plan(opened, plan, now=NOW)
    log_event(opened, None, ["A"], "built", now=BUILT, when=BUILT)
    return opened


def test_the_book_gives_what_was_really_measured_and_done(book: Book) -> None:
    later = BUILT + timedelta(days=20)
    log_event(book, None, ["A"], "watered", now=BUILT, when=BUILT, litres="60")
    log_sample(book, None, "A", "volume", "1.4 m3", now=BUILT, when=BUILT)
    log_sample(book, None, "A", "height", "1.2 m", now=BUILT, when=BUILT)
    hour = BUILT + timedelta(hours=1)
    log_round(book, None, "A 21 19 20 air 12", now=hour, when=hour)
    log_event(book, None, ["A"], "turned", now=later, when=BUILT + timedelta(days=9))
    log_event(book, None, ["A"], "watered", now=later, when=BUILT + timedelta(days=10), litres="25")
    log_event(book, None, ["A"], "watered", now=later, when=BUILT + timedelta(days=11))
    log_event(book, None, ["A"], "vent pulled", now=later, when=BUILT + timedelta(days=12))
    log_event(book, None, ["A"], "added", now=later, when=BUILT + timedelta(days=13))
    record = load_record(book, "Ferncombe 2026")
    case = book_case(record, "A", Wishes(40.0), now=later)
    assert case.built == BUILT
    assert (case.spec.volume_m3, case.spec.height_m) == (1.4, 1.2)
    assert case.start_known
    assert case.spec.start_c == pytest.approx(20.0)
    assert case.read["core"] == (pytest.approx((1 / 24,)), (21.0,))
    kinds = [(round(a.age_d, 3), a.kind, a.amount) for a in case.actions]
    way = record.plan.trial.heap("A").way
    planned = [(33.0, "turned", 0.0)] if way == "turned" else []
    assert kinds == [(9.0, "turned", 0.0), (10.0, "watered", 25.0), *planned]
    said = " | ".join(case.assumed)
    for part in ("the 60 litres given while building", "1 waterings without litres",
                 "material added after the build", "until day 20 as done, then as planned",
                 "done to pipes is left out"):  # fmt: skip
        assert part in said, part
    assert case.recipe is not None
    assert case.spec.moisture_wb > case.recipe.moisture_wb


def test_samples_of_moisture_and_density_come_before_the_mix(book: Book) -> None:
    log_sample(book, None, "A", "moisture", "62 %", now=BUILT, when=BUILT)
    log_sample(book, None, "A", "bulk density", "450 kg/m3", now=BUILT, when=BUILT)
    record = load_record(book, "Ferncombe 2026")
    case = book_case(record, "A", Wishes(10.0), now=BUILT + timedelta(days=30))
    assert case.spec.moisture_wb == 0.62
    assert case.spec.dry_density == pytest.approx(450 * 0.38)
    assert not any("moisture" in a for a in case.assumed)


def test_a_lost_heap_is_simulated_until_it_was_lost(book: Book) -> None:
    late = BUILT + timedelta(days=30)
    log_event(book, None, ["A"], "lost", now=late, when=BUILT + timedelta(days=6))
    case = book_case(load_record(book, "Ferncombe 2026"), "A", Wishes(20.0), now=late)
    assert case.days == pytest.approx(6.0)
    assert any("lost on day 6" in a for a in case.assumed)
