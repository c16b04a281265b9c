"""Signs: what must go up or down when one thing about a heap is changed.

Small heaps in steady weather, coarser here than in `make hindcast`, whose result holds the full
runs. Those that need months or fine cells run with `make long`.
"""

from __future__ import annotations

import pytest
from benchmarks.hindcast import signs

COARSE = 0.16


def test_a_pipe_cools_open_chips_and_warms_starved_ones() -> None:
    assert signs.pipe_in_open_chips(COARSE) < -0.5
    assert signs.pipe_in_starved_mix(COARSE) > 0.1


def test_the_same_at_a_low_demand_ten_times_further_down() -> None:
    assert signs.pipe_in_open_quiet(COARSE) < -0.5
    assert signs.pipe_in_starved_quiet(COARSE) > 0.0


def test_wind_chills_open_chips_and_starves_them_of_their_heat() -> None:
    assert signs.wind_chills_open(COARSE, days=3.0) < -5.0
    assert signs.wind_starves_of_heat(COARSE, days=3.0) < -0.2


def test_wind_brings_air_and_warmth_to_a_starved_mix() -> None:
    assert signs.wind_airs_starved(COARSE, days=3.0) > 0.5
    assert signs.wind_warms_starved(COARSE, days=3.0) > 0.2


def test_a_turn_gives_a_dip_and_a_rebound() -> None:
    assert signs.turn_dips(COARSE) < -3.0
    assert signs.turn_rebounds(COARSE) > 3.0


def test_a_bigger_heap_is_hotter() -> None:
    assert signs.bigger_is_hotter(COARSE, days=6.0) > 1.0


def test_dry_and_over_wet_mixes_stall() -> None:
    assert signs.dry_stalls(COARSE, days=4.0) < -10.0
    assert signs.wet_stalls(COARSE, days=4.0) < -5.0


def test_rain_leaves_the_core_drier_than_the_crust() -> None:
    assert signs.summer_rain(0.2, days=45.0) > 2.0


@pytest.mark.long
@pytest.mark.parametrize("name", list(signs.SIGNS))
def test_every_sign_in_full(name: str) -> None:
    row = signs.sign_rows([name])[0]
    assert row["inside"], row


@pytest.mark.long
def test_the_demands_are_those_the_signs_are_told_for() -> None:
    """Leafy chips on day 2 take several times what quiet chips take, about 1 kg/m3 and day."""
    busy = signs.run_heap(permeability=1e-7, days=3.0, leafy=signs.LEAFY)
    quiet = signs.run_heap(permeability=1e-8, days=8.0, matter=signs.quiet_chips(), start_c=40.0)
    per_day = []
    for facts, first in ((busy, 1.0), (quiet, 3.0)):
        chosen = facts.days >= first
        lost = facts.curves["dry_kg"][chosen]
        span = facts.days[chosen]
        per_day.append(float((lost[0] - lost[-1]) / (span[-1] - span[0]) / 1.2))
    assert per_day[0] > 3.0 * per_day[1]
    assert 0.3 < per_day[1] < 2.0
