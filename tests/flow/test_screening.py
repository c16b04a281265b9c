"""Screening at entry: what a line or sheet is asked about, and what the answers do."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from tests.flow.commands import Command, dump

from heapwright.errors import EntryError, Question, QuestionError
from heapwright.services.doings import log_event
from heapwright.services.importing import Imported, import_sheet
from heapwright.services.log import Logged, log_round
from heapwright.services.mend import correct
from heapwright.services.plans import example_plan, lock_plan
from heapwright.store.book import Added, Book

TRIAL = "Ferncombe 2026"
LEVELS = {"A": 52, "B": 40, "C": 45, "D": 58}
FIRST = datetime(2026, 5, 1, 6, tzinfo=UTC)
RIGHT = "A 52 51 53 B 40 41 39 C 45 44 46 D 58 57 58 air 12"


@pytest.fixture
def book(tmp_path: Path, now: datetime) -> Book:
    """The locked example plan with eight rounds of four heaps, every third day."""
    plan = tmp_path / "plan.toml"
    plan.write_text(example_plan(), encoding="utf-8")
    opened = Book(str(tmp_path / "book.sqlite"))
    lock_plan(opened, plan, now=now - timedelta(days=75))
    rng = np.random.default_rng(4)
    for n in range(8):
        when = FIRST + timedelta(days=3 * n)
        words = [
            f"{h} " + " ".join(f"{level + rng.normal(0, 1.5):.0f}" for _ in range(3))
            for h, level in LEVELS.items()
        ]
        log_round(opened, TRIAL, " ".join(words) + " air 12", now=now, when=when)
    return opened


NEXT = FIRST + timedelta(days=24)


def enter(book: Book, now: datetime, line: str, **answers: str) -> Logged:
    given = {k.replace("_", "."): v for k, v in answers.items()}
    return log_round(book, TRIAL, line, now=now, when=NEXT, answers=given)


def asks(book: Book, now: datetime, line: str, **answers: str) -> dict[str, Question]:
    """The questions about a line; the book stays as it is."""
    before = len(book.history(TRIAL))
    with pytest.raises(QuestionError) as caught:
        enter(book, now, line, **answers)
    assert len(book.history(TRIAL)) == before
    return {q.key: q for q in caught.value.questions}


def last(book: Book) -> dict[tuple[str, str], tuple[float, str]]:
    return {
        (r.heap, r.spot): (round(r.value, 1), r.note)
        for r in book.current("reading", TRIAL)
        if r.when.low == NEXT
    }


# --- single readings -----------------------------------------------------------------------------


def test_a_right_round_is_not_asked_about(book: Book, now: datetime) -> None:
    assert enter(book, now, RIGHT).added.new == 13
    assert {note for _, note in last(book).values()} == {""}


@pytest.mark.parametrize(
    ("wrong", "suggested", "words"),
    [
        ("25", "52", "52, digits exchanged"), ("5.2", "52", "52, a digit missing"),
        ("11", "F", None), ("76", None, None),
    ],
)  # fmt: skip
def test_a_slip_of_the_pen_is_asked_about_with_the_likely_reading(
    wrong: str, suggested: str | None, words: str | None, book: Book, now: datetime
) -> None:
    line = RIGHT.replace("A 52", f"A {wrong}")
    if suggested == "F":  # degrees C typed into a line in F
        line = "A 126 124 127 B 104 106 102 C 45 111 115 D 136 135 136 in F air 54"
        (question,) = asks(book, now, line).values()
        assert question.key == "C.core"
        assert question.default == "C"
        assert question.text.startswith("C core reads 45 F where about 11")
        return
    (question,) = asks(book, now, line).values()
    assert question.key == "A.core"
    assert question.default == suggested
    assert f"A core reads {wrong} C where about 5" in question.text
    assert "expected" in question.text
    if words:
        assert words in question.text
    assert "as-written" in question.choices


@pytest.mark.parametrize(
    ("answer", "value", "note"),
    [
        ("52", 52.0, "typed 25 at first"), ("as-written", 25.0, "kept as written on asking"),
        ("50.5", 50.5, "typed 25 at first"), ("withdraw", None, ""),
    ],
)  # fmt: skip
def test_every_answer_is_kept_with_its_note(
    answer: str, value: float | None, note: str, book: Book, now: datetime
) -> None:
    done = enter(book, now, RIGHT.replace("A 52", "A 25"), A_core=answer)
    got = last(book).get(("A", "core"))
    assert got == (None if value is None else (value, note))
    if value is None:
        assert done.remarks == ("A core typed 25 was left out",)
    assert len(last(book)) == (11 if value is None else 12)


def test_all_questions_come_at_once_also_with_impossible_values(book: Book, now: datetime) -> None:
    line = RIGHT.replace("A 52", "A 25").replace("D 58", "D 580").replace("B 40", "B 104")
    found = asks(book, now, line)
    assert set(found) == {"A.core", "D.core", "B.core"}
    assert "impossible as written" in found["D.core"].text
    done = enter(book, now, line, A_core="52", D_core="58", B_core="F")
    assert done.added.new == 13


def test_the_same_line_again_is_one_entry_whatever_was_asked(book: Book, now: datetime) -> None:
    line = RIGHT.replace("A 52", "A 25")
    enter(book, now, line, A_core="as-written")
    assert enter(book, now, line, A_core="as-written").added == Added(known=13)
    assert set(asks(book, now, line)) == {"A.core"}
    assert enter(book, now, RIGHT).added.new == 13


def test_a_round_taken_without_a_question_is_never_asked_about_later(
    book: Book, now: datetime
) -> None:
    line = RIGHT.replace("A 52", "A 48")
    ids = enter(book, now, line).ids
    for reading in book.current("reading", TRIAL):
        if reading.heap == "A" and reading.when.low < NEXT:
            correct(book, TRIAL, reading.id, "70", why="another probe", now=now)
    assert enter(book, now, line).ids == ids


def test_before_the_fifth_round_only_the_limits_count(tmp_path: Path, now: datetime) -> None:
    with Book(tmp_path / "new.sqlite") as book:
        for n in range(4):
            when = FIRST + timedelta(days=n)
            log_round(book, "Yard", f"bob {50 - 30 * (n % 2)} 48", now=now, when=when, new=True)
        assert len(book.current("reading", "Yard")) == 8


def test_a_noted_turn_makes_a_drop_no_surprise(book: Book, now: datetime) -> None:
    line = RIGHT.replace("A 52 51 53", "A 39 38 41").replace("D 58 57 58", "D 45 44 46")
    log_event(book, TRIAL, ["A", "D"], "turned", now=now, when="about 2026-05-24")
    assert enter(book, now, line).added.new == 13


def test_one_heap_one_spot_without_air(tmp_path: Path, now: datetime) -> None:
    with Book(tmp_path / "one.sqlite") as book:
        for n in range(8):
            when = FIRST + timedelta(days=n)
            log_round(book, "Yard", f"bob {50 + n % 2}", now=now, when=when, new=True)
        with pytest.raises(QuestionError, match="bob spot1 reads 5 C where about 5"):
            log_round(book, "Yard", "bob 5", now=now, when=FIRST + timedelta(days=8))


# --- exchanged heaps -----------------------------------------------------------------------------

EXCHANGED = "A 40 41 39 B 52 51 53 C 45 44 46 D 58 57 58 air 12"


def test_exchanged_heaps_are_one_question(book: Book, now: datetime) -> None:
    (question,) = asks(book, now, EXCHANGED).values()
    assert question.key == "exchange.A.B"
    assert question.text.startswith("A reads 40 C where about 52 was expected, B 52 where about")
    assert question.choices == ("exchanged", "as-written", "withdraw")


def test_exchanged_on_asking_goes_to_the_other_heap_with_a_note(book: Book, now: datetime) -> None:
    enter(book, now, EXCHANGED, exchange_A_B="exchanged")
    got = last(book)
    assert got["A", "core"] == (52, "exchanged with B on asking")
    assert got["B", "north"] == (39, "exchanged with A on asking")
    assert got["C", "core"] == (45, "")
    again = enter(book, now, EXCHANGED, exchange_A_B="exchanged")
    assert again.added == Added(known=13)


def test_or_kept_or_left_out(book: Book, now: datetime) -> None:
    done = enter(book, now, EXCHANGED, exchange_B_A="withdraw")
    assert set(last(book)) == {(h, s) for h in "CD" for s in ("core", "south", "north")}
    assert len(done.remarks) == 6


def test_kept_as_written_says_so(book: Book, now: datetime) -> None:
    enter(book, now, EXCHANGED, exchange_A_B="as-written")
    assert last(book)["A", "core"] == (40, "not exchanged with B, on asking")
    # and the next right round is not held against the doubtful one
    later = NEXT + timedelta(days=3)
    assert log_round(book, TRIAL, RIGHT, now=now, when=later).added.new == 13


def test_answers_about_heaps_that_are_not_there(book: Book, now: datetime) -> None:
    with pytest.raises(EntryError, match="not two heaps of the round"):
        enter(book, now, RIGHT, exchange_A_Z="exchanged")
    with pytest.raises(EntryError, match="none of the answers"):
        enter(book, now, EXCHANGED, exchange_A_B="perhaps")
    with pytest.raises(EntryError, match="nothing asks for this"):
        enter(book, now, RIGHT, exchanged="yes")


# --- whole rounds --------------------------------------------------------------------------------


def test_a_whole_round_in_f_is_one_question(book: Book, now: datetime) -> None:
    line = "A 126 124 127 B 104 106 102 C 113 111 115 D 136 135 136 air 54"
    found = asks(book, now, line)
    assert found["unit"].default == "F"
    assert "typed in degrees F?" in found["unit"].text
    assert enter(book, now, line, unit="F").added.new == 13
    assert last(book)["A", "core"][0] == pytest.approx(52.2)


def test_a_whole_round_ten_times_too_large(book: Book, now: datetime) -> None:
    line = "A 520 510 530 B 400 410 390 C 450 440 460 D 580 570 580 air 12"
    found = asks(book, now, line)
    assert "the decimal mark missing" in found["round"].text
    assert enter(book, now, line, round="tenth").added.new == 13
    assert last(book)["A", "core"] == (52, "typed 520 at first")


def test_a_whole_round_shifted(book: Book, now: datetime) -> None:
    line = "A 30 29 31 B 18 19 17 C 23 22 24 D 36 35 36 air 12"
    (question,) = asks(book, now, line).values()
    assert question.key == "round"
    assert "all lower" in question.text
    enter(book, now, line, round="as-written")
    assert last(book)["A", "core"] == (30, "round kept as written on asking")


# --- sheets --------------------------------------------------------------------------------------


def sheet(rows: list[str], folder: Path) -> Path:
    path = folder / "sheet.csv"
    path.write_text("time,heap,spot,temp (C)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def made_rows(rounds: int = 30, seed: int = 2) -> list[list[str]]:
    """Rows of a right sheet: time, heap, spot, temperature."""
    rng = np.random.default_rng(seed)
    return [
        [f"{FIRST + timedelta(days=n):%Y-%m-%d %H:%M}", h, s, f"{level + rng.normal(0, 2):.1f}"]
        for n in range(rounds)
        for h, level in LEVELS.items()
        for s in ("core", "south", "north")
    ]


def taken(
    book: Book, rows: list[list[str]], folder: Path, now: datetime, **answers: str
) -> Imported:
    path = sheet([",".join(r) for r in rows], folder)
    return import_sheet(book, path, "Sheet", answers=answers, now=now, new=True)


def test_a_sheet_is_asked_about_once_a_kind(tmp_path: Path, now: datetime) -> None:
    rows = made_rows()
    rows[200][3] = "12.5"
    rows[121][3] = "82"
    for row in rows[300:306]:
        row[1] = {"A": "B", "B": "A"}[row[1]]
    with Book(tmp_path / "s.sqlite") as book:
        with pytest.raises(QuestionError) as caught:
            taken(book, rows, tmp_path, now)
        found = {q.key: q for q in caught.value.questions}
        assert set(found) == {"hot", "doubtful", "exchanged"}
        assert "line 202 C north 12.5 where about 4" in found["doubtful"].text
        assert (
            "line 305 A reads 41 C where about 52 was expected, B 54 where"
            in found["exchanged"].text
        )
        assert book.trials() == []
        answers = {"hot": "skip", "doubtful": "skip", "exchanged": "exchange"}
        done = taken(book, rows, tmp_path, now, **answers)
        assert done.added.new == len(rows) - 2
        notes = {r.note for r in book.current("reading", "Sheet")}
        assert notes == {"", "exchanged with A on asking", "exchanged with B on asking"}
        answers.pop("exchanged")
        again = taken(book, rows, tmp_path, now, **answers)
        assert again.added == Added(known=len(rows) - 2)


def test_kept_doubts_have_a_note_and_are_not_asked_about_again(
    tmp_path: Path, now: datetime
) -> None:
    rows = made_rows()
    rows[200][3] = "12.5"
    with Book(tmp_path / "s.sqlite") as book:
        assert taken(book, rows, tmp_path, now, doubtful="keep").added.new == len(rows)
        assert taken(book, rows, tmp_path, now).added == Added(known=len(rows))
        notes = [r.note for r in book.current("reading", "Sheet") if r.note]
        assert notes == ["kept as written on asking"]


def test_right_sheets_of_any_length_are_seldom_asked_about(tmp_path: Path, now: datetime) -> None:
    asked = 0
    for seed in range(6):
        with Book(tmp_path / f"{seed}.sqlite") as book:
            try:
                taken(book, made_rows(60, seed), tmp_path, now, zone="UTC")
            except QuestionError:
                asked += 1
    assert asked == 0


def test_a_logger_makes_no_slips_of_the_pen(tmp_path: Path, now: datetime) -> None:
    rows = [
        [f"{FIRST + timedelta(hours=n):%Y-%m-%d %H:%M}", "A", "core", "20" if n == 300 else "50"]
        for n in range(500)
    ]
    with Book(tmp_path / "s.sqlite") as book:
        assert taken(book, rows, tmp_path, now).added.new == 500


def test_hundreds_of_rounds_and_heaps_are_screened_in_time(tmp_path: Path, now: datetime) -> None:
    rng = np.random.default_rng(5)
    rows = [
        [f"{datetime(2024, 1, 1, 7) + timedelta(days=n):%Y-%m-%d %H:%M}", f"h{h}", s,
         f"{50 + h % 7 + rng.normal(0, 2):.1f}"]
        for n in range(300)
        for h in range(8)
        for s in ("core", "north")
        if rng.random() < 0.8
    ]  # fmt: skip
    with Book(tmp_path / "s.sqlite") as book:
        began = time.perf_counter()
        taken(book, rows, tmp_path, now)
        assert time.perf_counter() - began < 60


# --- the command and the time it takes -----------------------------------------------------------


def test_the_command_asks_and_writes_nothing(book: Book, tmp_path: Path, command: Command) -> None:
    before = dump(tmp_path / "book.sqlite")
    when = f"{NEXT:%Y-%m-%dT%H:%MZ}"
    code, out, err = command("log", "--when", when, RIGHT.replace("A 52", "A 25"))
    assert (code, out) == (3, "")
    assert "A.core: A core reads 25 C where about 5" in err
    assert "(suggested: 52)" in err
    assert dump(tmp_path / "book.sqlite") == before
    code, _, err = command(
        "log", "--when", when, RIGHT.replace("A 52", "A 25"), "--answer", "A.core=52"
    )
    assert (code, err) == (0, "")


def test_a_round_is_screened_in_well_under_a_second(book: Book, now: datetime) -> None:
    for n in range(60):
        when = NEXT + timedelta(hours=12 * (n + 1))
        log_round(book, TRIAL, RIGHT, now=now, when=when)
    took = []
    for n in range(3):
        began = time.process_time()
        log_round(book, TRIAL, RIGHT, now=now, when=NEXT + timedelta(days=32, hours=n))
        took.append(time.process_time() - began)
    assert min(took) < 1
