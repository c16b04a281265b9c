"""The first useful page and the plan behind it."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from heapwright.domain.answers import read_answers
from heapwright.errors import InputError
from heapwright.exchange.planfile import read_plan_text
from heapwright.services.firstplan import write_plan
from heapwright.services.start import first_page

FOUR = "nine barrows of shredded prunings and two of grass mowings, three heaps, today, probe 50 cm"


def test_one_warm_heap_not_three(now: datetime) -> None:
    page = first_page(read_answers(FOUR, now=now), now=now)
    assert page.headline.startswith("This makes one warm heap, not three")
    text = "\n".join(line for s in page.sections for line in s.lines)
    assert "too much skin for its core" in text
    assert "litres" in text
    assert "core: top, straight down" in text
    assert "no gap under about 15 degrees" in text
    assert "neighbour" in text
    assert "from memory" in text


@pytest.mark.parametrize(
    "line",
    [
        "",
        "three heaps",
        "nine barrows of moon dust",
        "0.5 m3 of leaves, one heap",
        "400 kg of horse manure, 2 heaps, one turned and one left alone, no probe",
        "30 barrows of wood chips, 4 heaps, all alike, probe 15 cm",
    ],
)
def test_unknowns_never_block_and_the_plan_behind_can_be_read(line: str, now: datetime) -> None:
    page = first_page(read_answers(line, now=now), now=now)
    assert page.headline
    trial = read_plan_text(page.plan, now=now)
    assert trial.heaps
    assert trial.spots


def test_an_existing_plan_is_never_overwritten(tmp_path: Path, now: datetime) -> None:
    page = first_page(read_answers(FOUR, now=now), now=now)
    path = write_plan(page.plan, tmp_path / "plan.toml")
    before = path.read_text()
    with pytest.raises(InputError, match="left as it is"):
        write_plan(page.plan, path)
    assert path.read_text() == before
