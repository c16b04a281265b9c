"""Balances over a book: against the engine's own accounts, with gaps, and page beside command."""

from __future__ import annotations

import html
import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.contracts.pages import DOCS, run_commands
from tests.flow.commands import Command
from tests.flow.test_web_pages import TRIAL, book, client, finished, page, said

from heapwright.domain.climate import Climate
from heapwright.engine.composition import chips
from heapwright.engine.run import Run
from heapwright.engine.scenario import Action, HeapSpec
from heapwright.engine.simulate import simulate
from heapwright.errors import QuantityError, UnknownNameError
from heapwright.services.balances import balance_of, pay
from heapwright.services.balancewords import balance_part, balance_parts
from heapwright.services.doings import log_event, log_sample
from heapwright.services.finishing import finish_parts
from heapwright.services.plans import example_plan, lock_text
from heapwright.services.weather import described_year
from heapwright.store.book import Book

__all__ = ["book", "client", "finished"]

START = datetime(2026, 4, 18, 9, tzinfo=UTC)
END = START + timedelta(days=20)
NOW = datetime(2026, 7, 2, 8, tzinfo=UTC)
LEAFY, GIVEN_L = 0.15, 40.0


@pytest.fixture(scope="module")
def run() -> Run:
    """Twenty days of one heap without rain, turned and watered once."""
    dry_sky = described_year(
        Climate(
            mean_c=(3, 4, 6, 9, 13, 16, 18, 18, 15, 11, 7, 4), range_c=(6,) * 12,
            rain_mm=(0,) * 12, latitude_deg=52,
        ),
        seed=3,
    )  # fmt: skip
    heap = HeapSpec(
        1.2, height_m=1.1, leafy_share=LEAFY, start_c=14, dx_m=0.2,
        actions=(Action(5, "turned"), Action(8, "watered", GIVEN_L)),
    )  # fmt: skip
    return simulate(heap, weather=dry_sky, days=20, start_h=24 * 120, field_every_h=480)


def _locked(folder: Path, text: str | None = None) -> Book:
    made = Book(folder / "b.sqlite")
    lock_text(made, text or example_plan(), now=START - timedelta(days=1))
    return made


def _log(book: Book, heap: str, when: datetime, **taken: str) -> None:
    for what, text in taken.items():
        part = "barrows" if what == "count" else "whole"
        log_sample(book, TRIAL, heap, what, text, now=NOW, when=when, part=part, method="exact")


def _exact(run: Run, at: int) -> dict[str, str]:
    """What a perfect laboratory finds of a simulated heap at its first or last moment."""
    dry, water = (float(run.curves[k][at]) for k in ("dry_kg", "water_kg"))
    held = {n: a.start if at == 0 else a.now for n, a in run.ledger.accounts().items()}
    ash = chips(LEAFY).ash * float(run.curves["dry_kg"][0])
    return {
        "mass_kg": repr(dry + water), "moisture_wb": repr(water / (dry + water)),
        "ash_dm": repr(ash / dry), "carbon_dm": repr(held["carbon"] / dry),
        "nitrogen_dm": repr(held["nitrogen"] / dry),
        "volume_m3": repr(float(run.curves["volume_m3"][at])),
    }  # fmt: skip


@pytest.fixture
def simulated(run: Run, tmp_path: Path) -> Book:
    """A book in which heap A is the simulated one, sampled perfectly at both ends."""
    made = _locked(tmp_path)
    log_event(made, TRIAL, ["A"], "built", now=NOW, when=START, minutes="60")
    day = START + timedelta(days=8)
    log_event(made, TRIAL, ["A"], "watered", now=NOW, when=day, litres=str(GIVEN_L), minutes="5")
    _log(made, "A", START, **_exact(run, 0))
    _log(made, "A", END, **_exact(run, -1))
    return made


def test_a_simulated_heap_closes_within_rounding(simulated: Book, run: Run) -> None:
    """By scale and by ash the loss is the engine's, and ash, carbon and nitrogen come out as its
    ledger, which sums fluxes and not masses."""
    a = balance_of(simulated, TRIAL, heap="A").heaps[0]
    dry = run.curves["dry_kg"]
    assert a.loss is not None
    assert {e.name for e in a.loss.estimates} == {"scale", "ash"}
    for method in a.loss.estimates:
        assert method.value.typical == pytest.approx(1 - dry[-1] / dry[0], rel=1e-9), method.name
    assert a.loss.spread == pytest.approx(0, abs=1e-9)
    assert a.loss.agree is True
    ash, carbon, nitrogen = (a.accounts[n] for n in ("ash", "carbon", "nitrogen"))
    assert ash.closes is True
    assert ash.rest.typical == pytest.approx(0, abs=1e-9 * ash.came_in.typical)
    ledger = run.ledger
    lost = carbon.came_in.typical - carbon.left.typical
    assert lost == pytest.approx(-ledger.carbon.terms["carbon dioxide"], rel=1e-6)
    assert carbon.closes is True
    assert nitrogen.rest.typical == pytest.approx(-ledger.nitrogen.terms["ammonia"], rel=1e-6)
    assert nitrogen.closes is None
    assert a.fallen is not None
    volume = run.curves["volume_m3"]
    assert a.fallen.whole.typical == pytest.approx(1 - volume[-1] / volume[0], rel=1e-9)


def test_water_of_a_simulated_heap_is_its_ledger(simulated: Book, run: Run) -> None:
    """Built + given - left, with the water the engine says decay made, is what its fluxes carried
    off; with the water worked out from the dry mass lost, the range holds it."""
    a = balance_of(simulated, TRIAL, heap="A").heaps[0]
    terms = run.ledger.water.terms
    off = -sum(x for x in terms.values() if x < 0)
    water = a.accounts["water"]
    assert a.water["given"].typical == GIVEN_L
    assert set(a.water) == {"in what was built", "given", "made by rotting"}  # no rain in the book
    built, left = a.water["in what was built"].typical, water.left.typical
    assert built + GIVEN_L + terms["made by decay"] - left == pytest.approx(off, rel=1e-6)
    assert a.water["made by rotting"].low <= terms["made by decay"]
    assert terms["made by decay"] <= a.water["made by rotting"].high
    assert water.rest.low < off < water.rest.high
    assert water.closes is None


def test_a_wrong_scale_does_not_close(simulated: Book) -> None:
    """Half of the heap left on the scale: ash, which cannot go, tells it."""
    wrong = [s for s in simulated.current("sample", TRIAL) if s.quantity == "mass_kg"][-1]
    heavy = END + timedelta(hours=30)
    log_sample(simulated, TRIAL, "A", "mass", f"{wrong.value / 2!r} kg", now=NOW, when=heavy)
    a = balance_of(simulated, TRIAL, heap="A").heaps[0]
    assert a.accounts["ash"].closes is False
    assert a.loss is not None
    assert a.loss.agree is False
    words = " ".join(balance_part(simulated, TRIAL, now=NOW, heap="A").words)
    assert "ash does not close" in words
    assert "missing, more than its range of" in words
    assert "Their ranges do not all meet" in words


def test_every_method_stands_beside_the_others(tmp_path: Path) -> None:
    made = _locked(tmp_path)
    log_event(made, TRIAL, ["all"], "built", now=NOW, when=START)
    both = {"density": "330 kg/m3", "moisture": "50-56 %", "ash": "8 %"}
    _log(made, "A", START, mass="400 kg", volume="1.2 m3", count="14", **both)
    later = {"density": "390 kg/m3", "moisture": "44-50 %", "ash": "10.5 %"}
    _log(made, "A", END, mass="300 kg", volume="0.75 m3", count="8", **later)
    part = balance_part(made, TRIAL, now=NOW, heap="A")
    losses = part.numbers["heaps"]["A"]["dry_matter_lost"]
    assert set(losses["methods"]) == {"scale", "tape", "barrow", "ash"}
    values = {n: m["typical"] for n, m in losses["methods"].items()}
    solid = 0.53 / 0.47  # dry at the end over dry at first
    assert values["scale"] == pytest.approx(1 - 300 / 400 * solid)
    assert values["tape"] == pytest.approx(1 - 0.75 * 390 / (1.2 * 330) * solid)
    assert values["barrow"] == pytest.approx(1 - 8 * 390 / (14 * 330) * solid)
    assert values["ash"] == pytest.approx(1 - 8 / 10.5)
    assert losses["spread"] == pytest.approx(max(values.values()) - min(values.values()))
    grid = next(g for g in part.grids if g.title == "Dry matter lost, by every method")
    assert list(grid.head) == [
        "heap", "way", "by scale", "by tape", "by barrow", "by ash", "the methods"
    ]  # fmt: skip
    assert "none is taken for the right one" in part.words[1]
    # a range that was typed stands: 50-56 % is not the usual 4 points
    assert not any("moisture 4 points" in line for line in part.known)


def test_gaps_are_named_with_the_cheapest_measurement(tmp_path: Path) -> None:
    made = _locked(tmp_path)
    log_event(made, TRIAL, ["all"], "built", now=NOW, when=START)
    assert list(balance_parts(made, TRIAL, now=NOW)) == []
    assert balance_part(made, TRIAL, now=NOW).words[0].startswith("Nothing was measured yet")
    _log(made, "A", END, volume="0.8 m3")
    rows = _rows(balance_part(made, TRIAL, now=NOW, heap="A"), "What is missing")
    named = {what: how for _, what, how in rows}
    assert "bucket of known size" in named["dry matter left"]
    assert "oven" in named["dry matter left"]
    assert "laboratory" in named["whether the dry mass adds up"]
    _log(made, "A", END, density="400 kg/m3", moisture="48 %")
    part = balance_part(made, TRIAL, now=NOW, heap="A")
    rows = _rows(part, "What is missing")
    assert "dry matter left" not in {r[1] for r in rows}
    assert "nitrogen left" in {r[1] for r in rows}
    # what went in is only known from the plan, and that is said
    methods = part.numbers["heaps"]["A"]["dry_matter_lost"]["methods"]
    assert set(methods) == {"tape", "plan at first, tape at the end"}
    assert any("from the plan and the table of materials" in line for line in part.known)
    # a heap of which nothing is left to say stands among the gaps
    every = _rows(balance_part(made, TRIAL, now=NOW), "What is missing")
    assert ["B, C, D, E, F", "what is left", "the tape: width, length and height of the heap now"] \
        in [list(r) for r in every]  # fmt: skip


def test_an_old_test_and_a_part_are_left_out_and_said(tmp_path: Path) -> None:
    made = _locked(tmp_path)
    log_event(made, TRIAL, ["A"], "built", now=NOW, when=START)
    log_event(made, TRIAL, ["A"], "added", now=NOW, when=START + timedelta(days=9))
    _log(made, "A", START + timedelta(days=6), moisture="60 %")
    _log(made, "A", END, mass="300 kg")
    log_sample(made, TRIAL, "A", "ash", "30 %", now=NOW, when=END, part="core")
    log_sample(made, TRIAL, "A", "moisture", "100 %", now=NOW, when=END)
    part = balance_part(made, TRIAL, now=NOW, heap="A")
    rows = _rows(part, "What is missing")
    assert ["A", "moisture left", "one taken within a week of the last volume or mass"] in rows
    told = " ".join(part.known)
    assert "samples of a part (core) are left out" in told
    assert "leaves no room for the rest" in told
    assert "material was added once after the build" in " ".join(part.words)


def test_a_lost_heap_is_left_out_and_named(tmp_path: Path) -> None:
    made = _locked(tmp_path)
    log_event(made, TRIAL, ["all"], "built", now=NOW, when=START)
    log_event(made, TRIAL, ["B"], "lost", now=NOW, when=START + timedelta(days=3))
    _log(made, "A", END, volume="0.8 m3")
    found = balance_of(made, TRIAL)
    assert found.left_out == ("B",)
    assert "B" not in {h.name for h in found.heaps}
    assert "Heap B was lost and left out." in balance_part(made, TRIAL, now=NOW).words
    assert balance_part(made, TRIAL, now=NOW, heap="B").words == ("Heap B was lost and left out.",)


def test_a_loss_that_reads_lower_later_is_noise(tmp_path: Path) -> None:
    made = _locked(tmp_path)
    log_event(made, TRIAL, ["A"], "built", now=NOW, when=START)
    _log(made, "A", START, ash="8 %")
    for days, ash in ((10, "10 %"), (15, "9.5 %"), (20, "11 %")):
        _log(made, "A", START + timedelta(days=days), ash=ash)
    part = balance_part(made, TRIAL, now=NOW, heap="A")
    assert (
        "Heap A, by ash: day 15 reads 4.2 points below day 10: sampling noise, not gain."
        in part.words
    )
    assert list(part.cautions) == [
        "Soil or sand that got in counts as ash and makes the loss look larger than it is."
    ]


def test_rain_counts_between_none_and_all(tmp_path: Path) -> None:
    from heapwright.domain.entries import Weather
    from heapwright.domain.when import When

    made = _locked(tmp_path)
    log_event(made, TRIAL, ["A"], "built", now=NOW, when=START)
    _log(made, "A", START, mass="400 kg", moisture="53 %", volume="1.2 m3")
    _log(made, "A", END, mass="300 kg", moisture="47 %")
    days = (3, 5, 40)  # the last after the end
    made.add(
        [Weather(f"w{d}", TRIAL, When.instant(START + timedelta(days=d)), 20.0, quantity="rain_mm")
         for d in days], now=NOW,
    )  # fmt: skip
    a = balance_of(made, TRIAL, heap="A").heaps[0]
    ground = 2 * 1.2 / 1.1  # a mound
    assert a.water["rain"].low == 0
    assert a.water["rain"].high == pytest.approx(40 * ground)
    assert any("40 mm of rain fell" in note for note in a.notes)


def test_water_before_the_first_moisture_is_in_it(tmp_path: Path) -> None:
    made = _locked(tmp_path)
    log_event(made, TRIAL, ["A"], "built", now=NOW, when=START)
    for when, litres in ((-1, "100"), (6, "30"), (12, "20"), (25, "50")):
        log_event(made, TRIAL, ["A"], "watered", now=NOW, when=START + timedelta(days=when),
                  litres=litres)  # fmt: skip
    log_event(made, TRIAL, ["A"], "watered", now=NOW, when=START + timedelta(days=13))
    _log(made, "A", START + timedelta(days=1), mass="400 kg", moisture="53 %")
    _log(made, "A", END, mass="300 kg", moisture="47 %")
    a = balance_of(made, TRIAL, heap="A").heaps[0]
    assert (a.water["given"].low, a.water["given"].high) == (50.0, 50.0)
    assert any("1 of 4 waterings have no litres" in note for note in a.notes)


def test_water_about_the_time_of_the_first_moisture_is_none_to_all(tmp_path: Path) -> None:
    made = _locked(tmp_path)
    log_event(made, TRIAL, ["A"], "built", now=NOW, when=START)
    log_event(made, TRIAL, ["A"], "watered", now=NOW, when=START, litres="120")
    _log(made, "A", END, mass="300 kg", moisture="47 %")
    _log(made, "A", START, mass="400 kg")
    log_sample(made, TRIAL, "A", "moisture", "53 %", now=NOW, when="2026-04-18")
    a = balance_of(made, TRIAL, heap="A").heaps[0]
    assert (a.water["given"].low, a.water["given"].high) == (0.0, 120.0)
    assert any("before or after is not known" in note for note in a.notes)


# --- money ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "hour", "shown"),
    [
        ("15", 15.0, "12"), ("15 EUR", 15.0, "12 EUR"), ("£12-16", 14.0, "£12"),
        ("12,50 kr", 12.5, "12 kr"), ("EUR 15", 15.0, "EUR 12"), ("0", 0.0, "12"),
    ],
)  # fmt: skip
def test_a_wage_keeps_its_currency_as_typed(typed: str, hour: float, shown: str) -> None:
    found = pay(typed)
    assert found.hour.typical == pytest.approx(hour)
    assert found.money("12") == shown


@pytest.mark.parametrize(
    "typed", ["dear", "-5", "16-12", "15 EUR per hour", "1e12", "15 20", "nan"]
)
def test_a_wage_that_cannot_be_is_refused(typed: str) -> None:
    with pytest.raises(QuantityError) as caught:
        pay(typed)
    assert caught.value.field == "per_hour"
    assert caught.value.value == typed
    assert caught.value.way_out


def test_minutes_and_cost_for_a_cubic_metre(simulated: Book, run: Run) -> None:
    part = balance_part(simulated, TRIAL, now=NOW, heap="A", per_hour="18 EUR")
    numbers = part.numbers["heaps"]["A"]
    left = float(run.curves["volume_m3"][-1])
    assert numbers["minutes"] == 65
    assert numbers["minutes_per_m3"]["typical"] == pytest.approx(65 / left)
    assert numbers["cost_per_m3"]["typical"] == pytest.approx(65 / 60 * 18 / left)
    grid = next(g for g in part.grids if g.title.startswith("Work"))
    assert grid.rows[0][-1].endswith("EUR")
    bare = balance_part(simulated, TRIAL, now=NOW, heap="A")
    assert bare.numbers["heaps"]["A"]["cost_per_m3"] is None
    assert (
        "labour for a cubic metre"
        not in next(g for g in bare.grids if g.title.startswith("Work")).head
    )


# --- command, page, report ------------------------------------------------------------------------


def test_the_page_shows_what_the_command_says(
    client: TestClient, command: Command, book: Path
) -> None:
    numbers = said(command, book, "balance")
    assert client.get("/api/balance").json() == numbers
    text = _seen(page(client, "/finish/balance"))
    for line in (*numbers["words"], *numbers["known"]):
        assert " ".join(line.split()) in text, line
    for grid in numbers["grids"]:
        for row in grid["rows"]:
            assert " ".join(" ".join(row).split()) in text, row


def test_one_heap_and_a_wage_go_the_same_way(
    client: TestClient, command: Command, book: Path
) -> None:
    numbers = said(command, book, "balance", "A", "--per-hour", "15 EUR")
    asked = {"heap": "A", "per_hour": "15 EUR"}
    assert client.get("/api/balance", params=asked).json() == numbers
    text = _seen(client.get("/finish/balance", params=asked).text)
    assert "Labour at 15 EUR an hour" in text
    assert set(numbers["numbers"]["heaps"]) == {"A"}


def test_a_wrong_wage_is_said_above_the_form_and_stays_typed(client: TestClient) -> None:
    answer = client.get("/finish/balance", params={"per_hour": "dear"})
    assert answer.status_code == 200
    assert 'value="dear"' in answer.text
    assert "no amount of money for an hour was found" in answer.text


def test_a_heap_that_is_not_there_is_named(
    command: Command, book: Path, client: TestClient
) -> None:
    code, out, err = command("balance", "Z", "--book", str(book))
    assert (code, out) == (2, "")
    assert "heap = Z" in err
    assert client.get("/finish/balance", params={"heap": "Z"}).status_code == 404
    with Book(book) as opened, pytest.raises(UnknownNameError):
        balance_of(opened, TRIAL, heap="Z")


def test_the_command_prints_words_first(command: Command, book: Path) -> None:
    code, out, err = command("balance", "--book", str(book))
    assert code == 0, err
    first, words, *_ = out.splitlines()
    assert first == "INVENTED DATA: nobody built these heaps."
    assert words.startswith("6 heaps lost 25 to 45 % of their volume")
    assert "Beside what is usual" in out


def test_it_stands_among_the_parts_of_the_end_and_looks_count_nothing(book: Path) -> None:
    with Book(book) as opened:
        parts = finish_parts(opened, TRIAL, now=NOW)
        assert "What came out" in [p.title for p in parts]
        before = opened.count_look(TRIAL, ended=True, what="findings", now=NOW)
        balance_parts(opened, TRIAL, now=NOW)
        after = opened.count_look(TRIAL, ended=True, what="findings", now=NOW)
    assert after[1] == before[1] + 1


def test_before_the_end_ways_are_not_held_against_each_other(book: Path) -> None:
    early = datetime(2026, 6, 10, tzinfo=UTC)
    with Book(book) as opened:
        words = " ".join(balance_part(opened, TRIAL, now=early).words)
    assert "from 2026-06-18 on" in words
    assert "real difference" not in words


def test_the_commands_of_the_guide_work(
    book: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("HEAPWRIGHT_BOOK", str(book))
    assert run_commands(DOCS / "how-to" / "balance.md", monkeypatch, capsys) > 10


def _rows(part: Any, title: str) -> list[list[str]]:
    return [list(r) for g in part.grids if g.title == title for r in g.rows]


def _seen(text: str) -> str:
    bare = re.sub(r"<(style|script)\b.*?</\1>|<[^>]+>", " ", text, flags=re.DOTALL)
    return " ".join(html.unescape(bare).split())


def test_json_is_plain(command: Command, book: Path) -> None:
    code, out, _ = command("balance", "--json", "--book", str(book))
    assert code == 0
    found = json.loads(out)
    assert set(found) >= {"title", "words", "grids", "known", "sources", "cautions", "numbers"}


def test_no_loss_is_told_where_material_was_added_without_an_amount(tmp_path: Path) -> None:
    with _locked(tmp_path) as book:
        _log(book, "A", START, ash="14 %", mass="400 kg", moisture="55 %")
        _log(book, "A", END, ash="24 %", mass="300 kg", moisture="50 %")
        assert balance_of(book, TRIAL, heap="A").heaps[0].loss is not None
        log_event(book, TRIAL, ["A"], "added", now=NOW, when=START + timedelta(days=5))
        (heap,) = balance_of(book, TRIAL, heap="A").heaps
        assert heap.loss is None
        assert heap.accounts == {}
        assert any("material was added once" in why for why in heap.barred)
        assert "dry matter lost" in dict(heap.missing)
        words = " ".join(balance_part(book, TRIAL, heap="A", now=NOW).words)
        assert "what was lost since cannot be told" in words


def test_a_loss_below_nought_is_named_and_left_out(tmp_path: Path) -> None:
    with _locked(tmp_path) as book:
        _log(book, "A", START, ash="24 %")
        _log(book, "A", END, ash="12 %")
        (heap,) = balance_of(book, TRIAL, heap="A").heaps
        assert heap.loss is None or all(e.value.high >= 0 for e in heap.loss.estimates)
        assert any("which cannot be" in why for why in heap.barred)
