"""Logging rounds, things done, samples and the air; and setting entries right."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from tests.flow.commands import Command, dump

from heapwright.errors import ConflictError, EntryError, QuestionError
from heapwright.exchange.pasted import RoundLine, Typed
from heapwright.services.doings import log_event, log_sample
from heapwright.services.log import log_air, log_round
from heapwright.services.mend import correct, exchange_heaps, history, restore, withdraw
from heapwright.services.plans import example_plan, lock_plan
from heapwright.store.book import Book

LINE = "A 52 48 55 B 41 44 40 air 12"
TRIAL = "Ferncombe 2026"


@pytest.fixture
def book(book_url: str, tmp_path: Path, now: datetime) -> Book:
    """A book with the locked example plan, on SQLite and on PostgreSQL."""
    plan = tmp_path / "plan.toml"
    plan.write_text(example_plan(), encoding="utf-8")
    opened = Book(book_url)
    lock_plan(opened, plan, now=now - timedelta(days=75))
    return opened


def values(book: Book) -> dict[tuple[str, str], float]:
    return {(r.heap, r.spot): r.value for r in book.current("reading", TRIAL)}


# --- rounds --------------------------------------------------------------------------------------


def test_a_pasted_line_becomes_readings_with_spots_depths_and_air(
    book: Book, now: datetime
) -> None:
    done = log_round(book, None, LINE, now=now, when="1 July 7:10", reader="Ada", probe="blue")
    assert (done.added.new, done.trial) == (7, TRIAL)
    assert values(book)[("A", "south")] == 48
    reading = next(r for r in book.current("reading", TRIAL) if r.spot == "core" and r.heap == "B")
    assert (reading.value, reading.typed, reading.typed_unit) == (41, "41", "C")
    assert (reading.reader, reading.probe, reading.depth_m) == ("Ada", "blue", 0.5)
    assert reading.when.low.isoformat() == "2026-07-01T06:10:00+00:00"  # 7:10 by the clock there
    air = book.current("weather", TRIAL)
    assert [(a.value, a.round) for a in air] == [(12, reading.round)]


def test_the_distance_to_a_pipe_is_kept_for_vented_heaps_only(book: Book, now: datetime) -> None:
    from heapwright.services.plans import stored_plan

    vented = {h.name for h in stored_plan(book, TRIAL).trial.heaps if h.way == "vented"}
    assert len(vented) == 2
    log_round(book, None, "A 50 B 50 C 50 D 50 E 50 F 50", now=now)
    near = {r.heap for r in book.current("reading", TRIAL) if r.pipe_distance_m == 0.3}
    far = {r.heap for r in book.current("reading", TRIAL) if r.pipe_distance_m is None}
    assert near == vented
    assert far == set("ABCDEF") - vented


def test_the_same_line_twice_is_one_entry_and_on_another_day_two(book: Book, now: datetime) -> None:
    first = log_round(book, None, LINE, now=now, when="2026-07-01 07:10")
    again = log_round(book, None, LINE, now=now + timedelta(hours=5), when="1 July 7:10")
    assert (again.added.new, again.added.known) == (0, 7)
    assert again.ids == first.ids
    other = log_round(book, None, LINE, now=now, when="30 June 7:10")
    assert other.added.new == 7
    assert len(book.current("reading", TRIAL)) == 12


def test_an_id_of_the_enterer_is_kept_and_cannot_mean_two_rounds(book: Book, now: datetime) -> None:
    done = log_round(book, None, LINE, now=now, entry_id="walk-1", when="1 July 7:10")
    assert done.round is not None
    assert done.round.id == "walk-1"
    assert (
        log_round(book, None, LINE, now=now, entry_id="walk-1", when="1 July 7:10").added.new == 0
    )
    for line, when in (("A 53 48 55", "1 July 7:10"), (LINE, "1 July 8:10")):
        with pytest.raises(ConflictError, match="already stands for another"):
            log_round(book, None, line, now=now, entry_id="walk-1", when=when)
    assert len(book.current("reading", TRIAL)) == 6


def test_a_structured_round_equals_a_pasted_one(book: Book, now: datetime) -> None:
    row = RoundLine({"a": (Typed("131", "F"), None, Typed("50"))}, Typed("12,5"))
    done = log_round(book, None, row, now=now)
    assert done.added.new == 3
    assert values(book) == {("A", "core"): pytest.approx(55), ("A", "north"): 50}
    assert book.current("weather", TRIAL)[0].value == 12.5


def test_degrees_f_typed_as_c_is_a_question_and_nothing_is_written(
    book: Book, now: datetime
) -> None:
    with pytest.raises(QuestionError) as caught:
        log_round(book, None, "A 140 48 55 B 88 - - air 99", now=now)
    asked = {q.key: q for q in caught.value.questions}
    assert list(asked) == ["A.core", "B.core", "air"]
    assert asked["A.core"].text.startswith("A core reads 140 C, outside -40 to 95 C")
    assert "Degrees F (60 C)?" in asked["A.core"].text
    assert asked["A.core"].default == "F"
    assert asked["B.core"].choices[0] == "as-written"
    assert asked["B.core"].default is None
    assert book.current("reading", TRIAL) == []


def test_answers_settle_each_value_and_what_was_typed_stays(book: Book, now: datetime) -> None:
    answers = {"a.core": "F", "A.south": "60", "B.core": "as-written", "air": "withdraw"}
    done = log_round(book, None, "A 140 480 55 B 88 - - air 99", now=now, answers=answers)
    assert done.added.new == 4
    assert values(book) == {
        ("A", "core"): 60, ("A", "south"): 60, ("A", "north"): 55, ("B", "core"): 88,
    }  # fmt: skip
    by_spot = {(r.heap, r.spot): r for r in book.current("reading", TRIAL)}
    assert (by_spot["A", "core"].typed, by_spot["A", "core"].typed_unit) == ("140", "F")
    assert by_spot["A", "south"].note == "typed 480 at first"
    assert done.remarks == ("the air typed 99 was left out",)
    assert done.round is not None
    assert done.round.note == "the air typed 99 was left out"


def test_a_whole_line_in_f_by_answer_option_or_words(book: Book, now: datetime) -> None:
    log_round(book, None, "A 131 air 50", now=now, answers={"unit": "F"})
    log_round(book, None, "B 131 in F", now=now)
    log_round(book, None, "C 131 120", now=now, unit="F")
    assert values(book)[("A", "core")] == pytest.approx(55)
    assert values(book)[("B", "core")] == pytest.approx(55)
    assert values(book)[("C", "south")] == pytest.approx(48.889, abs=1e-3)
    assert book.current("weather", TRIAL)[0].value == pytest.approx(10)


@pytest.mark.parametrize("answer", ["A.core=hot", "A.core=130", "A.crust=F", "units=F", "unit=K"])
def test_answers_that_cannot_stand(answer: str, book: Book, now: datetime) -> None:
    key, value = answer.split("=")
    with pytest.raises(EntryError):
        log_round(book, None, "A 140", now=now, answers={"A.core": "F", key: value})
    assert book.current("reading", TRIAL) == []


def test_the_air_alone(book: Book, now: datetime) -> None:
    assert log_air(book, None, "54F", now=now).added.new == 1
    assert log_air(book, None, "54F", now=now).added.known == 1
    assert book.current("weather", TRIAL)[0].value == pytest.approx(12.222, abs=1e-3)
    with pytest.raises(QuestionError):
        log_air(book, None, "64", now=now)


# --- things done and samples ---------------------------------------------------------------------


def test_about_tuesday_stays_an_interval(book: Book, now: datetime) -> None:
    log_event(book, None, ["A", "b"], "Turn", now=now, when="about Tuesday", minutes="25")
    events = book.current("event", TRIAL)
    assert [(e.heap, e.what, e.minutes) for e in events] == [
        ("A", "turned", 25),
        ("B", "turned", 25),
    ]
    assert not events[0].when.exact
    assert events[0].when.typed == "about Tuesday"
    assert events[0].when.high - events[0].when.low > timedelta(days=2)


def test_water_from_minutes_and_the_hose_of_the_plan(book: Book, now: datetime) -> None:
    done = log_event(book, None, ["all"], "watered", now=now, minutes="10")
    assert done.remarks == ("10 min at 15 L/min: 150 litres",)
    assert {e.water_l for e in book.current("event", TRIAL)} == {150}
    assert len(done.entries) == 6
    other = log_event(book, None, ["A"], "watered", now=now, litres="5 US gal", who="Cole")
    (entry,) = other.entries
    assert entry.water_l == pytest.approx(18.927, abs=1e-3)  # type: ignore[union-attr]
    with pytest.raises(EntryError, match="are 150 litres"):
        log_event(book, None, ["A"], "watered", now=now, litres="30", minutes="10", flow="15")
    with pytest.raises(EntryError, match="water is given"):
        log_event(book, None, ["A"], "turned", now=now, litres="30")


def test_moisture_on_dry_basis_is_turned_and_said(book: Book, now: datetime) -> None:
    done = log_sample(
        book, None, "A", "moisture", "50 %", now=now, basis="dry", method="oven, 105 C"
    )
    (sample,) = book.current("sample", TRIAL)
    assert sample.value == pytest.approx(1 / 3)
    assert (sample.typed, sample.basis, sample.method) == ("50 %", "dry", "oven, 105 C")
    assert done.remarks == ("50 % on dry basis is 33 % of the wet mass",)


@pytest.mark.parametrize(
    ("words", "value", "key", "kept"),
    [
        ("carbon", "24,5 %", "carbon_dm", 0.245), ("N", "1.2 %", "nitrogen_dm", 0.012),
        ("volume", "1.1 m3", "volume_m3", 1.1), ("height", "3 ft", "length_m", 0.9144),
        ("mass", "400", "mass_kg", 400), ("cn_ratio", "22", "cn_ratio", 22),
    ],
)  # fmt: skip
def test_samples_by_friendly_names(
    words: str, value: str, key: str, kept: float, book: Book, now: datetime
) -> None:
    log_sample(book, None, "A", words, value, now=now)
    (sample,) = book.current("sample", TRIAL)
    assert (sample.quantity, sample.value) == (key, pytest.approx(kept))


# --- correct, withdraw, restore, exchange --------------------------------------------------------


def test_correct_withdraw_restore_keep_every_version(book: Book, now: datetime) -> None:
    id_ = log_round(book, None, "A 25 48 55", now=now, when="1 July 7:10").ids[0]
    fixed = correct(book, None, id_[:8], "52", why="digits swapped", now=now + timedelta(hours=1))
    assert (fixed.trail.version, fixed.trail.replaces, fixed.trail.root) == (2, id_, id_)
    assert values(book)[("A", "core")] == 52
    withdraw(book, None, id_, why="probe was wet", now=now + timedelta(hours=2))
    assert ("A", "core") not in values(book)
    with pytest.raises(EntryError, match="heapwright restore"):
        correct(book, None, id_, "50", why="x", now=now)
    with pytest.raises(EntryError, match="withdrawn already"):
        withdraw(book, None, id_, why="x", now=now)
    restore(book, None, id_, why="probe was fine", now=now + timedelta(hours=3))
    assert values(book)[("A", "core")] == 52
    with pytest.raises(EntryError, match="it counts already"):
        restore(book, None, id_, why="x", now=now)
    rows = history(book, None, entry_id=id_)
    assert [(r.entry.trail.action, r.what, r.current) for r in rows] == [
        ("entered", "A core 25 C", False),
        ("corrected", "A core 52 C", False),
        ("withdrawn", "A core 52 C", False),
        ("restored", "A core 52 C", True),
    ]
    assert [r.entry.trail.why for r in rows] == [
        "", "digits swapped", "probe was wet", "probe was fine",
    ]  # fmt: skip
    assert rows[2].entry.trail.recorded == now + timedelta(hours=2)


def test_a_correction_needs_a_reason_and_a_change(book: Book, now: datetime) -> None:
    id_ = log_round(book, None, "A 52", now=now).ids[0]
    for value, why, words in (
        ("53", " ", "needs its reason"),
        ("52", "same", "nothing would change"),
        (None, "what", "say what is right"),
        ("150", "hot", "must lie within"),
    ):
        with pytest.raises(Exception, match=words):
            correct(book, None, id_, value, why=why, now=now)
    assert len(history(book, None)) == 1


def test_a_turn_of_the_wrong_heap_and_its_time_are_corrected(book: Book, now: datetime) -> None:
    (entry,) = log_event(book, None, ["A"], "turned", now=now, minutes="20").entries
    made = correct(
        book, None, entry.id, why="it was B, on Monday", now=now, heap="b", when="Monday",
        minutes="25",
    )  # fmt: skip
    (event,) = book.current("event", TRIAL)
    assert (event.heap, event.minutes, event.when.typed) == ("B", 25, "Monday")
    assert made.trail.version == 2
    assert [r.entry.heap for r in history(book, None, heap="A")] == ["A", "B"]
    with pytest.raises(EntryError, match="has no value"):
        correct(book, None, entry.id, "5", why="x", now=now)


def test_two_heaps_exchanged_in_one_round(book: Book, now: datetime) -> None:
    log_round(book, None, "A 30 31 32 B 60 61 - C 45", now=now, when="1 July 7:10")
    log_round(book, None, "A 50 51 52 B 40 41 42", now=now, when="30 June 7:10")
    done = exchange_heaps(book, None, "1 July", "A", "B", why="signs were swapped", now=now)
    assert len(done.entries) == 5
    day = [r for r in book.current("reading", TRIAL) if r.when.low.day == 1]
    assert {(r.heap, r.spot): r.value for r in day} == {
        ("B", "core"): 30, ("B", "south"): 31, ("B", "north"): 32,
        ("A", "core"): 60, ("A", "south"): 61, ("C", "core"): 45,
    }  # fmt: skip
    other = [r for r in book.current("reading", TRIAL) if r.when.low.day == 30]
    assert {r.heap: r.value for r in other if r.spot == "core"} == {"A": 50, "B": 40}
    assert {e.trail.why for e in done.entries} == {"signs were swapped"}
    with pytest.raises(EntryError, match="2 rounds fit"):
        exchange_heaps(book, None, "between 29 June and 2 July", "A", "B", why="x", now=now)
    with pytest.raises(EntryError, match="not read in that round"):
        exchange_heaps(book, None, "1 July", "A", "D", why="x", now=now)


# --- the command ---------------------------------------------------------------------------------


def test_the_command_takes_a_line_with_or_without_quotes(ferncombe: Path, command: Command) -> None:
    code, out, err = command("log", LINE)
    assert (code, err) == (0, "")
    assert out.startswith("Written: round with 6 readings of A, B and the air. Id ")
    code, out, _ = command("log", "--when", "1 July 7:10", "A", "52", "-", "55", "air", "-3")
    assert code == 0
    assert "2 readings of A and the air" in out
    code, out, _ = command("log", LINE)
    assert out.startswith("Already in the book, nothing new was written")
    code, out, _ = command("log", "round", "C 50", "--id", "mine", "--json")
    assert json.loads(out) | {"ids": 1} == {
        "trial": TRIAL, "round": "mine", "ids": 1, "new": 1, "known": 0, "remarks": [],
    }  # fmt: skip


def test_the_command_asks_writes_nothing_and_takes_answers(
    ferncombe: Path, command: Command
) -> None:
    before = dump(ferncombe)
    code, out, err = command("log", "A 140 480 B 88")
    assert (code, out) == (3, "")
    assert "nothing was written; 3 questions first" in err
    assert "A.core: A core reads 140 C" in err
    assert "B.core:" in err
    assert dump(ferncombe) == before
    code, out, err = command(
        "log", "A 140 480 B 88", "--answer", "A.core=F", "--answer", "A.south=withdraw",
        "--answer", "B.core=as-written",
    )  # fmt: skip
    assert (code, err) == (0, "")
    assert "A south typed 480 was left out." in out
    assert "round with 2 readings of A, B" in out


def test_things_done_by_their_own_words(ferncombe: Path, command: Command) -> None:
    for words, said in (
        (("covered", "A", "--when", "about Tuesday"), "A covered (about Tuesday)"),
        (("covered A B",), "A, B covered"),
        (("vent", "opened", "C"), "C vent opened"),
        (("event", "A", "built", "--when", "18 April 2026"), "A built (18 April 2026)"),
        (("turned", "A", "B", "--minutes", "20", "--when", "yesterday 9:00"), "A, B turned"),
        (("watered", "all", "--litres", "30"), "A, B, C, D, E, F watered"),
        (("note", "A", "--note", "smells of earth"), "A note"),
        (("sample", "A", "moisture", "50 %", "--basis", "dry"), "sample A moisture_wb 33 %"),
        (("sample", "A", "volume", "1.1", "m3"), "sample A volume_m3 1.1 m3"),
        (("air", "-3"), "air -3 C"),
    ):
        code, out, err = command("log", *words)
        assert code == 0, err
        assert f"Written: {said}. Id " in out


def test_mending_by_command(ferncombe: Path, command: Command) -> None:
    _, out, _ = command("log", "A 25 48 B 60", "--json", "--when", "1 July 7:10")
    id_ = json.loads(out)["ids"][0]
    code, out, _ = command("correct", id_, "52", "--why", "digits swapped")
    assert code == 0
    assert out.startswith(f"Corrected: A core 52 C, version 2 of {id_[:8]} (digits swapped).")
    assert command("withdraw", id_[:10], "--why", "wet")[0] == 0
    code, _, err = command("correct", id_, "50", "--why", "x")
    assert code == 2
    assert "Restore it first" in err
    assert command("restore", id_, "--why", "not wet")[0] == 0
    code, out, _ = command("exchange", "1 July", "A", "B", "--why", "signs swapped")
    assert "Exchanged A and B in the round of 2026-07-01 06:10 UTC: 3 corrections." in out
    _, out, _ = command("history", id_, "--json")
    assert [r["action"] for r in json.loads(out)] == [
        "entered", "corrected", "withdrawn", "restored", "corrected",
    ]  # fmt: skip
    code, out, _ = command("history", "--heap", "B")
    assert code == 0
    assert "swapped" in out
    assert "exchange" not in out
    _, out, _ = command("history", "--changed", "--json")
    assert {r["root"] for r in json.loads(out)} != set()
    assert len(json.loads(out)) == 9


def test_a_record_without_a_plan_needs_a_word(tmp_path: Path, command: Command) -> None:
    code, _, err = command("log", "bob 52 48", "--trial", "Yard")
    assert code == 2
    assert "there is no book yet" in err
    code, out, _ = command("log", "bob 52 48", "--trial", "Yard", "--new")
    assert (code, out[:37]) == (0, "Written: round with 2 readings of bob")
    code, _, err = command("log", "bib 52")
    assert code == 2
    assert "Known: bob" in err
    assert command("log", "bib 52", "--new")[0] == 0
