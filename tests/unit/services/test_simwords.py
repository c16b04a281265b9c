"""What a run says in words: heat, air, water, what is left, and care where heat can hurt."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests.synthetic_run import made_heap, made_run

from heapwright.domain.trial import Place
from heapwright.domain.weather import WeatherSeries
from heapwright.engine.run import Run
from heapwright.services.heapcase import Case
from heapwright.services.simfiles import write_heap, write_table
from heapwright.services.simulating import Job, Simulated
from heapwright.services.simwords import (
    account_rows,
    cautions,
    compared,
    findings,
    heap_rows,
    shown_days,
    to_json,
)

BUILT = datetime(2026, 4, 18, 9, tzinfo=UTC)


def _made(run: Run, name: str = "A", way: str = "turned") -> Simulated:
    case = Case(
        name=name, trial="Ferncombe 2026", way=way, spec=made_heap(), recipe=None, actions=(),
        built=BUILT, days=10.0, assumed=("no watering",), invented=True, zone="Europe/London",
    )  # fmt: skip
    air = WeatherSeries.steady(BUILT, hours=300, air_temp_c=10.0)
    return Simulated(Job(case, air, 0.0, Place(51.2, -2.9)), run)


def test_the_table_holds_what_the_curves_hold() -> None:
    run = made_run()
    assert shown_days(run) == (1, 2, 3, 5, 7, 10)
    assert shown_days(made_run(days=0.5)) == (0.5,)
    rows = {r.spot: r for r in heap_rows(_made(run), shown_days(run))}
    assert list(rows) == ["inner third", "core", "south", "air"]
    assert rows["core"].temp_c[2] == pytest.approx(60.0)
    assert (rows["core"].highest_c, rows["core"].highest_d) == (pytest.approx(60), 3.0)
    assert rows["south"].temp_c[0] == pytest.approx(rows["core"].temp_c[0] - 4)


def test_findings_round_to_what_a_model_knows() -> None:
    heat, cooling, air, water, left = findings(_made(made_run()))
    assert heat.startswith("Heap A (turned): hottest at spot core, about 60 C on day 3")
    assert "above 55 C there for about 3 days" in heat
    assert "at most 20 % of the heap" in heat
    assert "still about 20 degrees above air" in cooling
    assert "9 % on day 3" in air
    assert "60 to 45 %, in the crust to 30 %" in water
    assert "40 L by rain and 20 L by hose, of which 90 L drain away" in water
    assert left == "Dry mass lost: 20 %; it sinks from 1.2 to 0.9 m3"


def test_volumes_are_never_in_powers_of_ten() -> None:
    run = made_run()
    for first, last, said in (
        (173.0, 151.2, "173 to 151 m3"),
        (1.24, 0.96, "1.2 to 1.0 m3"),
        (0.4, 0.337, "0.40 to 0.34 m3"),
    ):
        run.curves["volume_m3"][[0, -1]] = first, last
        assert said in findings(_made(run))[-1]


def test_a_cold_heap_and_a_stopped_one_are_called_so() -> None:
    assert "hardly heats" in findings(_made(made_run(top_c=16.0)))[0]
    said = findings(_made(made_run(days=4, complete=False)))
    assert said[0].startswith("Stopped on day 4.0 of 8")


def test_heaps_that_differ_little_are_not_told_apart() -> None:
    alike = compared([_made(made_run()), _made(made_run(top_c=62.0), "B", "vented")])
    assert alike[0].startswith("Mean degrees above air at the spots over 10 days: A (turned) ")
    assert "cannot tell" in alike[1]
    apart = compared([_made(made_run()), _made(made_run(top_c=35.0), "B")])
    assert "differ by up to" in apart[1]
    assert compared([_made(made_run())]) == []


@pytest.mark.parametrize(
    ("top", "sentences"), [(52.0, 0), (57.0, 1), (66.0, 1), (74.0, 2), (90.0, 3)]
)
def test_care_is_named_where_heat_can_hurt(top: float, sentences: int) -> None:
    said = cautions([_made(made_run(top_c=top))])
    assert len(said) == sentences
    if sentences:
        assert "steam" in said[0]
    if sentences > 1:
        assert "NRCS" in said[1]


def test_accounts_and_json_carry_the_numbers() -> None:
    made = _made(made_run())
    rows = {name: (held, error) for name, held, error in account_rows(made)}
    assert rows["water"] == ("300 to 250 kg", "0.38 %")
    assert rows["energy"][0] == "8 to 12 MJ"
    found = to_json([made])
    heap = found["heaps"][0]
    assert heap["spots"]["core"]["temp_c"][2] == 60.0
    assert heap["invented"] is True
    assert heap["assumed"] == ["no watering"]


def test_the_folder_holds_tables_and_what_to_cite(tmp_path: Path) -> None:
    made = _made(made_run(days=2, complete=False))
    files = write_heap(made.job, made.run, tmp_path)
    assert {f.name for f in files} == {
        "run.nc", "curves.csv", "cite.txt", *(
            f"{n}.{end}" for n in ("curves", "section-x", "section-y", "ledgers")
            for end in ("svg", "png")
        ),
    }  # fmt: skip
    assert {f.name for f in (tmp_path / "A").iterdir()} == {f.name for f in files}
    cited = (tmp_path / "A" / "cite.txt").read_text()
    for part in ("INVENTED: heap A of Ferncombe 2026, turned", "- no watering",
                 "stopped before its end", "not a measurement"):  # fmt: skip
        assert part in cited, part
    with (tmp_path / "A" / "curves.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 49
    assert rows[24]["time [UTC]"] == "2026-04-19T09:00:00Z"
    assert float(rows[24]["core temp_c [degC]"]) == pytest.approx(
        made.run.spots["core"]["temp_c"][24], rel=1e-5
    )
    table = write_table([made, replace(made, run=made_run())], tmp_path).read_text().splitlines()
    assert table[0].startswith("heap,way,spot,day 1 [C],day 2 [C],day 3 [C]")
    assert len(table) == 9
    assert table[1].endswith(",no")
    assert table[5].endswith(",yes")
