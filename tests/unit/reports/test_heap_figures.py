"""Figures of simulated heaps: named, to scale, the same twice, readable in grey."""

from __future__ import annotations

import re
from datetime import datetime
from xml.etree import ElementTree

import numpy as np
import pytest
from tests.synthetic_run import made_heap, made_run

from heapwright.engine.ledger import Account
from heapwright.reports.heap_figures import heap_curves
from heapwright.reports.heap_ledgers import heap_ledgers, shown_terms
from heapwright.reports.heap_sections import chosen_days, heap_sections
from heapwright.reports.pictures import Picture, lightness, shades


def _texts(made: Picture) -> list[str]:
    assert made.png.startswith(b"\x89PNG")
    root = ElementTree.fromstring(made.svg)
    assert root.tag.endswith("svg")
    assert re.search(r"https?://(?!www\.w3\.org)", made.svg) is None
    return [t.strip() for t in root.itertext() if t.strip()]


def test_curves_name_spots_air_and_what_was_done() -> None:
    run = made_run()
    made = heap_curves(
        run, title="Heap A (turned)", built=datetime(2026, 4, 18, 10), note="INVENTED.",
        read={"core": ([1.0, 4.0], [30.0, 55.0])},
    )  # fmt: skip
    texts = _texts(made)
    for word in ("Heap A (turned)", "inner third", "core", "south", "air", "turned", "watered",
                 "day", "°C", "80", "20 Apr"):  # fmt: skip
        assert word in texts, word
    assert any(t.startswith("INVENTED. Simulated") and "what was read" in t for t in texts)
    assert "hottest with 60 C on day 3" in made.svg
    again = heap_curves(
        run, title="Heap A (turned)", built=datetime(2026, 4, 18, 10), note="INVENTED.",
        read={"core": ([1.0, 4.0], [30.0, 55.0])},
    )  # fmt: skip
    assert again.svg == made.svg


def test_a_stopped_run_is_marked_where_it_stopped() -> None:
    assert "stopped here" in _texts(heap_curves(made_run(days=4, complete=False), title="Heap A"))


@pytest.mark.parametrize("along", ["x", "y"])
def test_sections_show_days_fields_units_and_the_value_at_spots(along: str) -> None:
    run = made_run()
    made = heap_sections(run, along=along, title="Heap A")  # type: ignore[arg-type]
    texts = _texts(made)
    for word in ("temperature, °C", "oxygen, and the way of the air, %", "water in the wet mass, %",
                 "day 1", "day 3", "day 10", "60"):  # fmt: skip
        assert word in texts, word
    assert any("pipes" in t for t in texts)
    # south lies in the plane across, out of the plane along
    assert ("56" in texts) == (along == "y")
    assert any(t.startswith("up to 0.5 mm/s") for t in texts)


def test_a_long_heap_is_drawn_to_scale_below_each_other() -> None:
    heap = made_heap(volume_m3=12.0, shape="windrow parabola", height_m=1.2, spots=(), pipes=())
    run = made_run(heap, days=3)
    long, across = (heap_sections(run, along=a, title="W") for a in ("x", "y"))

    def size(made: Picture) -> tuple[float, float]:
        box = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', made.svg)
        assert box is not None
        return float(box[1]), float(box[2])

    assert size(long)[0] == size(across)[0]
    assert size(long)[1] > size(across)[1]


def test_days_shown_hold_the_hottest_and_the_last() -> None:
    run = made_run(days=10)
    days = [run.snapshots[k].hours / 24 for k in chosen_days(run)]
    assert days == [1, 3, 6, 10]
    assert chosen_days(made_run(days=0.5)) == [0]


def test_ledgers_carry_every_number_and_the_error() -> None:
    run = made_run()
    texts = _texts(heap_ledgers(run, title="Heap A"))
    for word in ("Heat, MJ", "decay", "90.0", "−86.0", "Water, kg", "rain", "−90.0",
                 "Nitrogen, g", "ammonia", "−200"):  # fmt: skip
        assert word in texts, word
    assert "held 300 at first, 250 at last; error of the account 0.38 %" in texts
    assert not any(t.startswith("Carbon") for t in texts)  # nothing flowed


def test_small_terms_are_summed_and_nothing_is_lost() -> None:
    account = Account("kg")
    for name, amount in (("a", 50.0), ("b", -30.0), ("c", 0.1), ("d", -0.3)):
        account.add(name, amount)
    terms = shown_terms(account)
    assert [name for name, _ in terms] == ["a", "b", "all smaller ones"]
    assert sum(v for _, v in terms) == pytest.approx(sum(account.terms.values()))


@pytest.mark.parametrize("name", ["heat", "air", "water"])
def test_maps_run_through_even_steps_of_grey(name: str) -> None:
    light = np.array([lightness(shades(name)(x)[:3]) for x in np.linspace(0, 1, 41)])
    steps = np.diff(light)
    assert (np.sign(steps) == np.sign(steps[0])).all()
    assert np.abs(steps - steps.mean()).max() < 0.6
    assert abs(light[-1] - light[0]) > 65


def test_sheets_of_colour_are_told_apart_by_lightness_as_published() -> None:
    # L* of sRGB middle grey 119: 50.0 (CIE 15, computed)
    assert lightness((119 / 255,) * 3) == pytest.approx(50.0, abs=0.1)
