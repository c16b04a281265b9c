"""Several yards joined: numbers as scipy's, refusals by name, nothing written to mailed books.

All heaps are invented (`heapwright.stats.naive`), with an effect added where a test says so.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa
from scipy import stats
from tests.flow.commands import Command, dump

from heapwright.errors import BookError, HeapwrightError, InputError
from heapwright.services.doings import log_event
from heapwright.services.importing import import_sheet
from heapwright.services.plans import lock_plan
from heapwright.services.together import Together, together
from heapwright.stats.claims import (
    CANNOT_TELL,
    DESCRIBED,
    ENOUGH,
    LEANS,
    REAL,
    TEMPERATURE_CAVEAT,
)
from heapwright.stats.linear import HeapRow
from heapwright.stats.naive import null_trial
from heapwright.stats.yards import YardComparison, compare_yards
from heapwright.store.book import Book
from heapwright.store.readonly import open_read_only

END = datetime(2026, 7, 1, tzinfo=UTC)
WAYS = {"left alone": "left alone", "turned": "turned"}


def plan_of(heaps: dict[str, str], trial: str, **changed: Any) -> str:
    """A plan; changed : ways (kind by name), and lines of [outcome] or [trial] by key."""
    ways = changed.pop("ways", WAYS)
    year = changed.pop("year", 2026)
    outcome = {
        "window": '"3-60 days"', "ends": f"{year}-06-01", "matters": '"5 C"',
        "control": '"left alone"', **changed,
    }  # fmt: skip
    lines = ["[trial]", f'name = "{trial}"', f"starts = {year}-03-01", "invented = true"]
    lines += ["[outcome]", *(f"{k} = {v}" for k, v in outcome.items() if v is not None)]
    for way, kind in ways.items():
        lines += ["[[way]]", f'name = "{way}"', f'kind = "{kind}"']
        if kind == "turned":
            lines += ['first_after = "7 days"', 'every = "14 days"']
    for heap, way in heaps.items():
        lines += ["[[heap]]", f'name = "{heap}"', f'way = "{way}"']
        lines += [f'built = "{year}-03-01 06:00"', 'volume = "1.2 m3"']
    return "\n".join(lines) + "\n"


def fill(
    path: Path, seed: int, *, trial: str = "", effect_c: float = 0.0, each: int = 1,
    until_d: float = 60.0, read: bool = True, skip: tuple[str, ...] = (), **changed: Any,
) -> Path:  # fmt: skip
    """A book with one trial of the null generator, turned heaps warmer by *effect_c*."""
    trial, year = trial or f"Trial {seed}", changed.get("year", 2026)
    log, start = null_trial(seed, heaps_per_way=each), datetime(year, 3, 1, 6, tzinfo=UTC)
    rows = ["time,heap,spot,temperature (C),air (C)"]
    for heap, spot, day, temp, air in log.readings:
        warmer = effect_c if log.ways[heap] == "turned" else 0.0
        if day <= until_d and heap not in skip:
            moment = start + timedelta(days=day)
            rows.append(f"{moment:%Y-%m-%d %H:%M:%S},{heap},{spot},{temp + warmer!r},{air!r}")
    plan, sheet = path.parent / f"{seed}.toml", path.parent / f"{seed}.csv"
    plan.write_text(plan_of(log.ways, trial, **changed), encoding="utf-8")
    sheet.write_text("\n".join(rows) + "\n", encoding="utf-8")
    with Book(path) as book:
        lock_plan(book, plan, now=start - timedelta(days=2))
        if read:
            keep = dict.fromkeys(("doubtful", "exchanged", "doubtful_rounds"), "keep")
            answers = {"column.air (C)": "air:C", "unit": "C", "columns": "suggested", **keep}
            import_sheet(book, sheet, trial, answers=answers, now=END)
    return path


def yards(folder: Path, count: int, **changed: Any) -> list[str]:
    names = ["north", "mill lane", "south", "hill", "fern", "ford"][:count]
    return [str(fill(folder / f"{n}.sqlite", 10 + i, **changed)) for i, n in enumerate(names)]


def values(found: Together, way: str) -> list[float]:
    by_yard = found.values["mean_excess_c"]
    return [next(iter(by_way[way].values())) for by_way in by_yard.values()]


# --- numbers -------------------------------------------------------------------------------------


def test_pairs_by_yard_give_the_paired_t_of_scipy(tmp_path: Path) -> None:
    found = together(yards(tmp_path, 5, effect_c=12.0), now=END)
    (one,) = found.comparisons
    a, b = values(found, "turned"), values(found, "left alone")
    wanted = stats.ttest_rel(a, b)
    interval = wanted.confidence_interval(0.95)
    assert one.design == "paired"
    assert one.estimate == pytest.approx(np.mean(np.subtract(a, b)), abs=1e-9)
    assert (one.low, one.high) == pytest.approx((interval.low, interval.high), abs=1e-9)
    assert one.df == wanted.df == 4
    assert one.yards == ("north", "mill lane", "south", "hill", "fern")
    assert one.difference_sd == pytest.approx(np.std(np.subtract(a, b), ddof=1))
    assert one.floor == 2 / 2**5
    assert one.sign_p is not None
    assert one.sign_p >= one.floor
    assert one.claim in (ENOUGH, REAL)
    assert "warmer" in one.sentence
    assert one.caveat == TEMPERATURE_CAVEAT
    assert found.headline.endswith(TEMPERATURE_CAVEAT)


def test_the_values_are_those_of_findings(tmp_path: Path) -> None:
    from heapwright.services.findings import find

    books = yards(tmp_path, 2)
    found = together(books, now=END)
    with Book(books[0]) as book:
        (alone,) = find(book, "Trial 10", now=END).comparisons
    north = found.values["mean_excess_c"]["north"]
    assert north == {w: dict(h) for w, h in alone.heaps.items()}


def test_the_claim_rests_on_the_prior_free_interval_and_the_informed_stands_beside(
    tmp_path: Path,
) -> None:
    (one,) = together(yards(tmp_path, 2, effect_c=14.0), now=END).comparisons
    (informed,) = one.alternatives
    assert informed.method.startswith("informed spread, s0 = 4 C")
    assert informed.df == 8 + 4 - 3
    assert one.low is not None
    assert one.low < 0 < informed.low  # one degree of freedom reaches much wider
    assert one.claim == "leans"


def test_two_heaps_of_each_way_in_a_yard_go_by_the_means_of_the_yards(tmp_path: Path) -> None:
    found = together(yards(tmp_path, 3, each=2, effect_c=10.0), now=END)
    (one,) = found.comparisons
    assert one.design == "paired"
    assert one.df == 2
    by_yard = found.values["mean_excess_c"]
    a, b = (
        [float(np.mean(list(by_way[w].values()))) for by_way in by_yard.values()]
        for w in ("turned", "left alone")
    )
    assert one.estimate == pytest.approx(np.mean(np.subtract(a, b)))
    interval = stats.ttest_rel(a, b).confidence_interval(0.95)
    assert (one.low, one.high) == pytest.approx((interval.low, interval.high))
    x = np.array([
        [*(y == yard for yard in by_yard), w == "turned"]
        for y, by_way in by_yard.items() for w, heaps in by_way.items() for _ in heaps
    ], dtype=float)  # fmt: skip
    y = np.array([v for by in by_yard.values() for heaps in by.values() for v in heaps.values()])
    beta, rss, *_ = np.linalg.lstsq(x, y, rcond=None)
    se = np.sqrt(rss[0] / 8 * np.linalg.inv(x.T @ x)[3, 3])
    heaps = next(a for a in one.alternatives if a.method.startswith("least squares"))
    assert heaps.estimate == pytest.approx(beta[3])
    assert heaps.df == 12 - 4
    reach = stats.t.ppf(0.975, 8) * se
    assert (heaps.low, heaps.high) == pytest.approx((beta[3] - reach, beta[3] + reach))
    assert one.differ_p is not None


def test_several_ways_hold_together(tmp_path: Path) -> None:
    ways = {**WAYS, "covered": "covered"}
    books = []
    for i, name in enumerate(("north", "south", "hill")):
        path = fill(tmp_path / f"{name}.sqlite", 30 + i, each=2, ways=ways, read=False)
        path.unlink()
        log = null_trial(30 + i, heaps_per_way=2)
        heaps = dict(zip(log.ways, ("left alone", "turned", "covered", "turned"), strict=True))
        plan = tmp_path / f"{name}.toml"
        plan.write_text(plan_of(heaps, f"T {name}", ways=ways), encoding="utf-8")
        with Book(path) as book:
            lock_plan(book, plan, now=datetime(2026, 2, 27, tzinfo=UTC))
            sheet = tmp_path / f"{name}.csv"
            rows = ["time,heap,spot,temperature (C),air (C)"]
            for heap, spot, day, temp, air in log.readings:
                moment = datetime(2026, 3, 1, 6, tzinfo=UTC) + timedelta(days=day)
                rows.append(f"{moment:%Y-%m-%d %H:%M:%S},{heap},{spot},{temp},{air}")
            sheet.write_text("\n".join(rows), encoding="utf-8")
            import_sheet(
                book,
                sheet,
                f"T {name}",
                answers={"column.air (C)": "air:C", "unit": "C", "columns": "suggested"},
                now=END,
            )
        books.append(str(path))
    found = together(books, now=END)
    assert [c.way for c in found.comparisons] == ["turned", "covered"]
    # three yards by the means of three ways, less three yards and two ways
    assert all("Dunnett for 2" in c.method and c.df == 9 - 5 for c in found.comparisons)
    assert all(any("not adjusted" in a.method for a in c.alternatives) for c in found.comparisons)


# --- what may be claimed -------------------------------------------------------------------------


def joined(
    key: str, pairs: Sequence[tuple[float, ...]], matters: float | None = None
) -> list[YardComparison]:
    """Yards with one heap each of a control and one or more ways, in this order."""
    ways = ("left alone", "turned", "covered")
    rows = [
        HeapRow(w, v, w, f"yard {i}")
        for i, pair in enumerate(pairs)
        for w, v in zip(ways, pair, strict=False)
    ]
    return compare_yards(key, rows, "left alone", matters=matters)


@pytest.mark.parametrize(
    ("pairs", "matters", "two", "three"),
    [
        ([(30, 50), (31, 51.5), (30, 50.5)], 8.0, LEANS, ENOUGH),
        ([(30, 50), (31, 51.5), (30, 50.5)], None, LEANS, REAL),
        ([(30, 30.01), (31, 30.99), (30, 30.01)], 8.0, CANNOT_TELL, "too small to matter"),
    ],
)
def test_two_yards_never_show_more_than_a_lean(
    pairs: list[tuple[float, ...]], matters: float | None, two: str, three: str
) -> None:
    (few,) = joined("mean_excess_c", pairs[:2], matters)
    (more,) = joined("mean_excess_c", pairs, matters)
    assert (few.claim, more.claim) == (two, three)
    assert any("three are the least" in a for a in few.assumptions)
    assert not any("three are the least" in a for a in more.assumptions)
    assert ("three are the least" in few.sentence) is (two == LEANS)


def test_two_yards_with_several_ways_never_show_more_than_a_lean() -> None:
    found = joined("mean_excess_c", [(30, 90, 31), (31, 91.2, 31.9)], 8.0)
    assert {c.claim for c in found} == {LEANS}


@pytest.mark.parametrize("pairs", [[(1.2, 1.0), (1.3, 1.1), (0.9, 0.7)], [(0.0, 0.0)] * 3])
def test_differences_exactly_alike_show_rounding_and_no_spread(
    pairs: list[tuple[float, ...]],
) -> None:
    (one,) = joined("volume_m3", pairs, 0.1)
    assert (one.claim, one.low, one.high, one.df) == (CANNOT_TELL, None, None, None)
    assert one.estimate == pytest.approx(pairs[0][1] - pairs[0][0])
    assert any("exactly alike: that shows how the numbers were rounded" in a
               for a in one.assumptions)  # fmt: skip


def test_temperatures_exactly_alike_keep_the_informed_line_beside() -> None:
    (one,) = joined("mean_excess_c", [(30.0, 40.0), (31.0, 41.0), (35.0, 45.0)], 5.0)
    assert (one.claim, one.low) == (CANNOT_TELL, None)
    assert [a.method[:15] for a in one.alternatives] == ["informed spread"]
    several = joined("mean_excess_c", [(30.0, 40.0, 35.0), (31.0, 41.0, 36.0)], 5.0)
    assert {c.claim for c in several} == {CANNOT_TELL}


@pytest.mark.parametrize(("key", "size"), [("came_up", 0.01), ("microbes", 1.0)])
def test_shares_and_counts_are_described_by_yard(key: str, size: float) -> None:
    pairs = [(50 * size, 90 * size), (51 * size, 93 * size), (49 * size, 91 * size)]
    (one,) = joined(key, pairs, 5 * size)
    assert (one.claim, one.low, one.sign_p, one.alternatives) == (DESCRIBED, None, None, ())
    assert one.sentence.endswith("Counting by yard is only described here, and not tested.")
    assert one.differences["yard 0"] == pytest.approx(40 * size)


def test_ratios_are_plain_differences_and_say_so() -> None:
    (one,) = joined("cn_ratio", [(30, 20), (33, 21), (31, 22)], 2.0)
    assert one.low is not None
    assert one.estimate == pytest.approx(-31 / 3)
    assert any(a.startswith("Ratios are compared by plain differences") for a in one.assumptions)


def test_the_widest_spread_and_the_least_worth_stand_beside(tmp_path: Path) -> None:
    books = [
        str(fill(tmp_path / "a.sqlite", 10, spread='"5 C"', spread_worth="12")),
        str(fill(tmp_path / "b.sqlite", 11, spread='"3 C"', spread_worth="6")),
        str(fill(tmp_path / "c.sqlite", 12)),
    ]
    (one,) = together(books, now=END).comparisons
    assert any(a.method.startswith("informed spread, s0 = 5 C") for a in one.alternatives)
    assert any("worth 6 degrees of freedom" in a for a in one.assumptions)


# --- what is left out, and when ------------------------------------------------------------------


def test_before_the_last_end_there_is_an_estimate_and_no_claim(tmp_path: Path) -> None:
    books = yards(tmp_path, 2)
    books.append(str(fill(tmp_path / "late.sqlite", 20, ends="2026-08-01", until_d=40)))
    found = together(books, now=END)
    (one,) = found.comparisons
    assert not found.ended
    assert (one.low, one.high, one.df, one.sign_p, one.alternatives) == (None,) * 4 + ((),)
    assert one.claim == "so far: no claim before 1 August 2026"
    assert one.sentence.startswith("So far: ")


def test_a_yard_that_lost_a_heap_is_left_out_by_name(tmp_path: Path) -> None:
    books = yards(tmp_path, 3, effect_c=5.0)
    lost = fill(tmp_path / "lost.sqlite", 21, effect_c=5.0, skip=("B",))
    with Book(lost) as book:
        log_event(book, None, "B", "lost", now=END, when="2026-03-05")
    found = together([*books, str(lost)], now=END)
    (one,) = found.comparisons
    assert dict(one.lacking) == {"lost": ("turned",)}
    assert one.yards == ("north", "mill lane", "south")
    assert found.as_done == ()
    assert any("lost: Heap B was lost" in note for note in found.notes)


def test_a_heap_handled_otherwise_gives_a_second_line_without_its_yard(tmp_path: Path) -> None:
    books = yards(tmp_path, 4)
    with Book(books[1]) as book:
        log_event(book, None, "A", "turned", now=END, when="2026-03-20")
    found = together(books, now=END)
    planned, done = found.comparisons[0], found.as_done[0]
    assert "mill lane" in planned.yards
    assert done.yards == ("north", "south", "hill")
    assert found.as_done_without == ("mill lane",)
    rest = [planned.differences[y] for y in done.yards]
    assert done.estimate == pytest.approx(np.mean(rest))


def test_a_yard_where_a_turned_heap_was_never_turned_is_left_out_as_done(tmp_path: Path) -> None:
    books = yards(tmp_path, 4)
    with Book(books[1]) as book:
        log_event(book, None, "A", "watered", now=END, when="2026-03-20", litres="20")
    found = together(books, now=END)
    assert found.as_done_without == ("mill lane",)
    assert found.as_done[0].yards == ("north", "south", "hill")
    assert [d.text for d in found.deviations["mill lane"]] == [
        "Heap B was never turned, though its way is turned."
    ]
    assert [d.text for d in found.deviations["north"]] == [
        "No work was logged at all, so nobody knows whether heaps were turned as planned."
    ]


def test_one_yard_alone_is_one_trial(tmp_path: Path) -> None:
    (one,) = together(yards(tmp_path, 1, effect_c=30.0), now=END).comparisons
    assert one.claim == CANNOT_TELL
    assert one.low is None
    assert "one trial alone: heapwright findings" in one.sentence


def test_one_yard_before_the_end_says_so(tmp_path: Path) -> None:
    book = str(fill(tmp_path / "n.sqlite", 10, ends="2026-08-01", effect_c=20.0))
    (one,) = together([book], now=END).comparisons
    assert one.sentence.startswith("So far: in n turned ran ")
    assert one.claim.startswith("so far")


def test_the_largest_difference_that_matters_counts(tmp_path: Path) -> None:
    books = yards(tmp_path, 2)
    books.append(str(fill(tmp_path / "strict.sqlite", 22, matters='"9 C"')))
    found = together(books, now=END)
    assert found.matters == found.comparisons[0].matters == 9.0
    assert any("the largest counts, 9 degrees" in note for note in found.notes)


# --- refusals ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"window": '"5-55 days"'}, "window: 3 to 60 days in north, 5 to 55 days in other"),
        ({"decides": '"peak_excess_c"'}, "decides: mean_excess_c in north, peak_excess_c in other"),
        ({"control": '"turned"'}, "control: left alone in north, turned in other"),
        ({"ways": {"left alone": "left alone", "turned": "covered"}},
         "way turned: turned in north, covered in other"),
        ({"ways": {**WAYS, "third": "covered"}}, "way third: none in north, covered in other"),
    ],
)  # fmt: skip
def test_other_questions_are_refused_by_name_and_value(
    tmp_path: Path, changed: dict[str, Any], said: str
) -> None:
    books = [*yards(tmp_path, 2), str(fill(tmp_path / "other.sqlite", 23, **changed))]
    with pytest.raises(InputError, match="did not lock the same question") as caught:
        together(books, now=END)
    assert said in caught.value.message
    assert "Leave other out" in caught.value.message


def test_ends_and_seeds_may_differ(tmp_path: Path) -> None:
    books = [*yards(tmp_path, 2), str(fill(tmp_path / "o.sqlite", 24, ends="2026-06-20"))]
    assert together(books, now=END).ended


def test_the_same_book_mailed_twice_is_noticed(tmp_path: Path) -> None:
    books = yards(tmp_path, 2)
    copy = tmp_path / "renamed.sqlite"
    with Book(books[0]):
        pass  # folds the log into the file
    shutil.copyfile(books[0], copy)
    with pytest.raises(InputError, match="north and renamed hold the same entries"):
        together([*books, str(copy)], now=END)
    with pytest.raises(InputError, match="the same book stands here twice"):
        together([books[0], books[0]], now=END)


def test_an_older_copy_with_corrections_since_is_noticed(tmp_path: Path) -> None:
    (path,) = yards(tmp_path, 1)
    half = fill(tmp_path / "older.sqlite", 10, until_d=60)
    with Book(path) as book:
        log_event(book, None, "A", "watered", now=END, when="2026-03-20", litres="20")
    with pytest.raises(InputError, match="hold the same entries"):
        together([path, str(half)], now=END)


def test_yards_of_one_name_read_at_the_same_times_are_two_yards(tmp_path: Path) -> None:
    books = [
        str(fill(tmp_path / f"{n}.sqlite", s, trial="Spring")) for n, s in (("a", 1), ("b", 2))
    ]
    assert together(books, now=END).comparisons[0].yards == ("a", "b")


def test_two_files_of_one_name_need_names(tmp_path: Path) -> None:
    for folder in ("x", "y"):
        (tmp_path / folder).mkdir()
    books = [str(fill(tmp_path / f / "book.sqlite", s)) for f, s in (("x", 1), ("y", 2))]
    with pytest.raises(InputError, match="--names north,south"):
        together(books, now=END)
    assert together(books, names=["n", "s"], now=END).comparisons[0].yards == ("n", "s")
    with pytest.raises(InputError, match="2 mailed books and 1 names"):
        together(books, names=["n"], now=END)


def strange(folder: Path) -> dict[str, Path]:
    """Books that cannot be joined, by what is wrong with them."""
    made = {k: folder / f"{k}.sqlite" for k in ("empty", "text", "nothing", "other", "no plan")}
    made["empty"].touch()
    made["text"].write_text("this is no book, but a letter\n" * 50)
    with Book(made["nothing"]):
        pass
    with sqlite3.connect(made["other"]) as link:
        link.execute("create table t (x)")
    with Book(made["no plan"]) as book:
        sheet = folder / "np.csv"
        sheet.write_text("time,heap,spot,temp C\n2026-03-02 06:00,A,core,40\n")
        import_sheet(book, sheet, "Bare", now=END, new=True, answers={"zone": "as-typed"})
    made["no readings"] = fill(folder / "no readings.sqlite", 25, read=False)
    made["few"] = fill(folder / "few.sqlite", 26, until_d=20)
    made["gone"] = folder / "gone.sqlite"
    whole = fill(folder / "damaged.sqlite", 27).read_bytes()
    made["damaged"] = folder / "damaged.sqlite"
    made["damaged"].write_bytes(whole.replace(b"2026-03-04T", b"2026\xff03-04T"))
    made["cut"] = folder / "cut.sqlite"
    made["cut"].write_bytes(whole[: len(whole) // 2])
    (folder / "folder").mkdir()
    made["folder"] = folder / "folder"
    return made


@pytest.mark.parametrize(
    "kind",
    [
        "empty", "text", "nothing", "other", "no plan", "no readings", "few", "gone", "folder",
        "damaged", "cut",
    ],
)  # fmt: skip
def test_strange_books_give_an_error_that_names_them(
    tmp_path: Path, command: Command, kind: str
) -> None:
    books, odd = yards(tmp_path, 2), strange(tmp_path)[kind]
    code, out, err = command("together", *books, str(odd))
    assert code == 2
    assert out == ""
    assert str(odd) in err
    assert "copy.sqlite" not in err
    assert err.count("\n") == 1


def test_a_trial_that_nobody_has_is_named(tmp_path: Path) -> None:
    books = yards(tmp_path, 2)
    with pytest.raises(HeapwrightError, match="Known: Trial 11"):
        together(books, trials=["Trial 10"], now=END)
    with pytest.raises(HeapwrightError, match="none of the books has a trial") as caught:
        together(books, trials=["Trial 10", "trial 11", "Nowhere"], now=END)
    assert caught.value.value == "Nowhere"


# --- seasons -------------------------------------------------------------------------------------


def test_seasons_of_one_book_are_blocks(tmp_path: Path, command: Command) -> None:
    own = tmp_path / "book.sqlite"
    for seed, year in ((41, 2024), (42, 2025), (43, 2026)):
        fill(own, seed, trial=f"Season {year}", year=year, effect_c=6.0)
    code, out, err = command(
        "together", "--trial", "Season 2024", "--trial", "season 2026", "--book", str(own), "--json"
    )
    assert code == 0, err
    found = json.loads(out)
    (one,) = found["comparisons"]
    assert one["yards"] == ["Season 2024", "Season 2026"]
    assert [y["looks"] for y in found["yards"]] == [1, 1]
    assert any("Seasons of one yard" in note for note in found["notes"])
    code, _, err = command("together")
    assert code == 2
    assert "several trials" in err
    assert "Season 2025" in err


def test_mailed_yards_and_own_seasons_together(tmp_path: Path) -> None:
    own = tmp_path / "ours.sqlite"
    for seed, year in ((41, 2025), (42, 2026)):
        fill(own, seed, trial=f"Season {year}", year=year)
    mailed = str(fill(tmp_path / "north.sqlite", 44, trial="Season 2026"))
    with Book(own) as book:
        found = together([mailed], trials=["Season 2025", "Season 2026"], own=book, now=END)
    wanted = ("north", "ours, Season 2025", "ours, Season 2026")
    assert found.comparisons[0].yards == wanted
    assert set(found.looks) == set(wanted[1:])


# --- mailed books stay as they came --------------------------------------------------------------


def test_nothing_is_written_to_mailed_books(tmp_path: Path, command: Command) -> None:
    folder = tmp_path / "mail"
    folder.mkdir()
    books = yards(folder, 3)
    for file in books:
        with sqlite3.connect(file) as link:
            link.execute("pragma journal_mode=delete")
    dumps = [dump(Path(b)) for b in books]
    before = {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in sorted(folder.iterdir())}
    for words in ((), ("--json",)):
        code, _, err = command("together", *books, *words)
        assert code == 0, err
    assert {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in sorted(folder.iterdir())} == before
    assert [dump(Path(b)) for b in books] == dumps
    with Book(books[0]) as book, book.read() as link:
        assert link.execute(sa.text("select count(*) from look")).scalar() == 0


def test_what_still_stands_in_the_log_of_a_book_is_read(tmp_path: Path) -> None:
    path = tmp_path / "open.sqlite"
    with Book(path) as book:
        with book.write() as link:
            book.ensure_trial("Just now", now=END, link=link)
        with open_read_only(str(path)) as copy:
            assert copy.trials() == ["Just now"]
        with open_read_only(f"sqlite:///{path}") as copy:
            assert copy.trials() == ["Just now"]


def test_a_failing_write_to_the_copy_leaves_the_book(tmp_path: Path) -> None:
    (path,) = yards(tmp_path, 1)
    before = dump(Path(path))
    with open_read_only(path) as copy:
        copy.count_look("Trial 10", ended=True, what="findings", now=END)
    assert dump(Path(path)) == before


def test_a_book_of_an_older_program_stays_as_it_came(tmp_path: Path) -> None:
    books = yards(tmp_path, 2)
    with sqlite3.connect(books[0]) as link:
        for table in ("forecast", "fit"):
            link.execute(f"drop table {table}")
        link.execute("update alembic_version set version_num = '0001'")
    before = dump(Path(books[0]))
    assert together(books, now=END).comparisons[0].yards == ("north", "mill lane")
    assert dump(Path(books[0])) == before
    assert list(tmp_path.glob("*before*")) == []


@pytest.mark.postgresql
def test_an_address_without_a_book_stays_empty(book_url: str) -> None:
    if "://" not in book_url:
        pytest.skip("a file is covered above")
    with pytest.raises(BookError, match="no book at this address"), open_read_only(book_url):
        pass
    assert sa.inspect(sa.create_engine(book_url)).get_table_names() == []


# --- what is printed -----------------------------------------------------------------------------


def test_the_command_prints_finding_table_and_what_it_rests_on(
    tmp_path: Path, command: Command
) -> None:
    code, out, err = command("together", *yards(tmp_path, 4, effect_c=9.0))
    assert code == 0, err
    plain = " ".join(out.split())
    for said in (
        "INVENTED DATA", TEMPERATURE_CAVEAT, "claim: ", "4 trials (north, mill lane, south, hill)",
        "paired t by yard", "also: ", "informed spread, s0 = 4 C", "Flips of signs by yard",
        "Differences by yard have a standard deviation", "north: A (left alone) 1.2 m3, built "
        "1 March 2026", "Rests on:", "Sources:", "Student 1908",
    ):  # fmt: skip
        assert said in plain, said
    assert "warmer than" in out


def test_a_book_with_a_strange_name(tmp_path: Path, command: Command) -> None:
    names = ["my yard 100% [bold]?#", "hof-süd & co", "q'uote; drop\ttable"]
    books = [
        str(fill(tmp_path / f"{i}.sqlite", 50 + i).rename(tmp_path / f"{n}.sqlite"))
        for i, n in enumerate(names)
    ]
    code, out, err = command("together", *books, "--json")
    assert code == 0, err
    wanted = ["my yard 100% [bold]?#", "hof-süd & co", "q'uote; drop table"]
    assert json.loads(out)["comparisons"][0]["yards"] == wanted
    code, out, _ = command("together", *books)
    assert code == 0
    assert all(n in " ".join(out.split()) for n in wanted)


def test_json_holds_all_numbers(tmp_path: Path, command: Command) -> None:
    books = yards(tmp_path, 3)
    code, out, _ = command("together", *books, "--json", "--names", "n,m,s")
    found = json.loads(out)
    assert code == 0
    (one,) = found["comparisons"]
    direct = together(books, names=["n", "m", "s"], now=END).comparisons[0]
    for key in ("estimate", "low", "high", "df", "difference_sd", "effect_sd", "differ_p",
                "sign_p"):  # fmt: skip
        assert one[key] == pytest.approx(getattr(direct, key)), key
    assert one["sign_floor"] == 0.25
    assert found["invented"] == ["n", "m", "s"]
    assert set(found["values"]["mean_excess_c"]) == {"n", "m", "s"}
    assert found["yards"][0]["fingerprint"]
    assert found["yards"][0]["heaps"][0]["volume_m3"] == pytest.approx(1.2)
    assert found["ended"] is True


def test_also_is_answered_where_all_yards_share_it(tmp_path: Path) -> None:
    also = '["peak_excess_c", "carbon_dm"]'
    books = yards(tmp_path, 2, also=also)
    books.append(str(fill(tmp_path / "o.sqlite", 61, also='["carbon_dm", "peak_excess_c"]')))
    found = together(books, now=END)
    assert [c.outcome for c in found.comparisons] == ["mean_excess_c", "peak_excess_c"]
    assert found.missing["carbon_dm"].startswith("No yard has a value. north: heap A has no sample")
    assert set(found.left_out["carbon_dm"]) == {"north", "mill lane", "o"}
