"""Clocks of hygiene against a count minute by minute that shares no code with them; one more probe.

The count below knows the rules by its own words (``ASKED``), not from the package's file, and walks
through every minute of a history in plain Python over arrays of minutes.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from heapwright.science.hygiene import Course, History, clock, judge, rules

DAY = 1440
#: rule -> options as (c, minutes, top, strictly, turns, minutes between turns, way of counting,
#: longest gap in minutes); written here again from standards.md, not read from the package
ASKED: dict[str, list[tuple[float, int, float, bool, int, int, str, int]]] = {
    "us_pfrp": [(55, 15 * DAY, 999, False, 5, 0, "row", 2160),
                (55, 3 * DAY, 999, False, 0, 0, "row", 2160)],
    "us_psrp": [(40, 5 * DAY, 999, False, 0, 0, "row and 4 h over 55", 2160)],
    "us_vector": [(40, 14 * DAY, 999, True, 0, 0, "row and mean over 45", 2160)],
    "us_nop": [(55, 15 * DAY, 76.7, False, 5, 0, "row", 2160),
               (55, 3 * DAY, 76.7, False, 0, 0, "row", 2160)],
    "us_nop_5021": [(55, 3 * DAY, 999, False, 0, 0, "row", 2160)],
    "us_california": [(55, 15 * DAY, 999, False, 5, 0, "row", 2160),
                      (55, 3 * DAY, 999, False, 0, 0, "row", 2160)],
    "ca_ccme": [(55, 15 * DAY, 999, False, 5, 0, "row", 2160),
                (55, 3 * DAY, 999, False, 0, 0, "row", 2160)],
    "eu_142_2011": [(70, 60, 999, False, 0, 0, "row", 60)],
    "eu_2019_1009": [(70, 3 * DAY, 999, False, 0, 0, "row", 2160),
                     (65, 5 * DAY, 999, False, 0, 0, "row", 2160),
                     (60, 7 * DAY, 999, False, 0, 0, "row", 2160),
                     (55, 14 * DAY, 999, False, 0, 0, "row", 2160)],
    "uk_catering": [(60, 2 * DAY, 999, False, 0, 0, "row", 60),
                    (70, 60, 999, False, 0, 0, "row", 60),
                    (60, 8 * DAY, 999, False, 3, 2 * DAY, "row", 2160)],
    "uk_pas100": [(65, 7 * DAY, 80, False, 2, 0, "sum", 2160)],
    "de_bioabfv": [(55, 14 * DAY, 999, False, 0, 0, "row", 2160),
                   (60, 6 * DAY, 999, False, 0, 0, "row", 2160),
                   (65, 3 * DAY, 999, False, 0, 0, "row", 2160)],
    "ch": [(55, 21 * DAY, 999, False, 0, 0, "row", 2160),
           (60, 7 * DAY, 999, False, 0, 0, "row", 2160)],
    "at": [(65, 3 * DAY, 999, False, 0, 0, "twice", 2160)],
    "dk": [(55, 14 * DAY, 999, False, 0, 0, "row", 2160)],
    "au_as4454": [(55, 3 * DAY, 999, False, 3, 0, "before each turn", 2160)],
    "au_as4454_high_risk": [(55, 15 * DAY, 999, False, 5, 0, "row", 2160)],
}  # fmt: skip

Minutes = NDArray[np.float64]
Read = dict[str, list[tuple[int, float]]]


def coldest_by_minute(read: Read, length: int, gap: int) -> tuple[Minutes, Minutes]:
    """For each minute the coldest and the warmest spot; nan where one is not measured."""
    cold, warm = np.full(length, 1e9), np.full(length, -1e9)
    for pairs in read.values():
        lowest, highest = np.full(length, np.nan), np.full(length, np.nan)
        ordered = sorted(pairs)
        for (t0, c0), (t1, c1) in pairwise(ordered):
            if t1 - t0 > gap:
                continue
            lowest[t0:t1], highest[t0:t1] = min(c0, c1), max(c0, c1)
        cold = np.where(np.isnan(lowest) | np.isnan(cold), np.nan, np.minimum(cold, lowest))
        warm = np.where(np.isnan(highest) | np.isnan(warm), np.nan, np.maximum(warm, highest))
    return cold, warm


def runs_of(hot: list[bool]) -> list[tuple[int, int]]:
    """(first minute, minute after the last) of every unbroken run, one minute after another."""
    runs, begun = [], None
    for minute, is_hot in enumerate([*hot, False]):
        if is_hot and begun is None:
            begun = minute
        elif not is_hot and begun is not None:
            runs.append((begun, minute))
            begun = None
    return runs


def spaced(turns: list[int], apart: int) -> int:
    """The most turns so far apart, by trying every first turn and going on from it."""
    best = 0
    for first in range(len(turns)):
        count, last = 1, turns[first]
        for t in turns[first + 1 :]:
            if t - last >= apart:
                count, last = count + 1, t
        best = max(best, count)
    return best


def counted(
    asked: tuple[float, int, float, bool, int, int, str, int], read: Read, turns: list[int],
    wet: list[bool] | None = None,
) -> bool:  # fmt: skip
    """Whether a history meets what is asked, counted minute by minute."""
    c, least, top, strictly, need, apart, way, gap = asked
    length = max((t for pairs in read.values() for t, _ in pairs), default=0)
    cold, warm = coldest_by_minute(read, length, gap)
    with np.errstate(invalid="ignore"):
        hot = list(((cold > c) if strictly else (cold >= c)) & (warm <= top))
    if wet is not None:
        hot = [a and b for a, b in zip(hot, wet, strict=True)]
    runs = runs_of(hot)
    apart = max(apart, DAY)  # at most one turn a day
    if way == "before each turn":
        good = 0
        for k, t in enumerate(turns):
            since = turns[k - 1] if k else 0
            longest = run = 0
            for minute in range(since, min(t, length)):
                run = run + 1 if hot[minute] else 0
                longest = max(longest, run)
            good += longest >= least
        return good >= need
    if way == "twice":
        return sum((b - a) // least for a, b in runs) >= 2
    if way == "sum":
        inside = [t for t in turns if runs and runs[0][0] <= t <= runs[-1][1]]
        return sum(hot) >= least and spaced(inside, apart) >= need
    for a, b in runs:
        if b - a < least or spaced([t for t in turns if a <= t <= b], apart) < need:
            continue
        if way == "row":
            return True
        part = (cold[a:b] > 55).astype(float) if "55" in way else cold[a:b]
        sums = np.concatenate([[0.0], np.cumsum(part)])
        windows = sums[least:] - sums[:-least]
        if "55" in way and windows.max() >= 240:
            return True
        if "45" in way and windows.max() / least > 45:
            return True
    return False


def random_history(rng: np.random.Generator) -> tuple[Read, list[int]]:
    """Two to four spots over up to forty days; hot enough to be near what rules ask for."""
    days = int(rng.integers(3, 41))
    centre, spread = rng.choice([43, 57, 61, 67, 72]), rng.choice([0.5, 3.0, 8.0])
    fine = bool(rng.random() < 0.2)  # a logger, every half hour or so, for a few days
    read: Read = {}
    for k in range(int(rng.integers(1, 5))):
        if fine:
            steps = rng.integers(20, 70, size=int(rng.integers(3, 150)))
        else:
            steps = rng.choice([720, 1440, 1500, 2160, 2161, 4320], size=2 * days,
                               p=[0.25, 0.5, 0.15, 0.06, 0.02, 0.02])  # fmt: skip
        start = int(rng.choice([0, 0, 0, 300]))
        times = start + np.concatenate([[0], np.cumsum(steps)])
        times = times[times <= days * DAY]
        temps = np.round(rng.normal(centre, spread, size=times.size), 1)
        dips = rng.random(times.size) < 0.04
        temps[dips] -= 15
        read[f"spot {k}"] = [(int(t), float(c)) for t, c in zip(times, temps, strict=True)]
    turns = sorted({int(t) for t in rng.integers(0, days * DAY, size=int(rng.integers(0, 14)))})
    return read, turns


def test_the_count_knows_every_rule() -> None:
    assert {k: len(r.options) for k, r in rules().items()} == {k: len(o) for k, o in ASKED.items()}


def test_two_hundred_random_histories_counted_minute_by_minute() -> None:
    rng = np.random.default_rng(20260502)
    met = dict.fromkeys(ASKED, 0)
    for _ in range(200):
        read, turns = random_history(rng)
        spots = {name: ([t / 60 for t, _ in p], [c for _, c in p]) for name, p in read.items()}
        when = [(t / 60, t / 60) for t in turns]
        for key, options in ASKED.items():
            for option, asked in zip(rules()[key].options, options, strict=True):
                found = clock(option, spots, when)
                here = counted(asked, read, turns)
                assert found.met == here, (key, option.words, read, turns)
                met[key] += here
    assert sum(n > 0 for n in met.values()) >= 15, met  # the histories are near what is asked


def wet_by_minute(samples: list[tuple[int, float]], least: float, length: int) -> list[bool]:
    """Whether it was surely moist enough: by the samples around a minute, one within a week."""
    made = []
    for minute in range(length):
        before = [(t, m) for t, m in samples if t <= minute]
        after = [(t, m) for t, m in samples if t > minute]
        near = [m for part in (before[-1:], after[:1]) for _, m in part]
        week = any(t - 7 * DAY <= minute < t + 7 * DAY for t, _ in samples)
        made.append(week and min(near) >= least)
    return made


def test_moisture_counted_minute_by_minute() -> None:
    rng = np.random.default_rng(20260503)
    met = {"de_bioabfv": 0, "uk_pas100": 0}
    for _ in range(60):
        days = int(rng.integers(4, 18))
        c = float(rng.choice([56, 61, 66, 70]))
        read: Read = {
            f"spot {k}": [(d * DAY, c - 12 * float(rng.random() < 0.01)) for d in range(days + 1)]
            for k in range(3)
        }
        samples = sorted(
            (int(t), float(rng.choice([0.3, 0.45, 0.6], p=[0.1, 0.15, 0.75])))
            for t in rng.choice((days + 3) * DAY, size=int(rng.integers(0, 5)), replace=False)
        )
        turns = sorted({int(t) for t in rng.integers(0, days * DAY, size=5)})
        history = History(
            {name: ([t / 60 for t, _ in p], [c for _, c in p]) for name, p in read.items()},
            turns=tuple((t / 60, t / 60) for t in turns),
            moistures=tuple((t / 60, m) for t, m in samples),
        )
        for key, least in (("de_bioabfv", 0.40), ("uk_pas100", 0.51)):
            wet = wet_by_minute(samples, least, days * DAY)
            here = any(counted(asked, read, turns, wet) for asked in ASKED[key])
            found = judge(rules()[key], {}, history)
            assert (found.verdict == "met") == here, (key, found, samples)
            met[key] += here
    assert min(met.values()) >= 5, met


# --- one more probe ------------------------------------------------------------------------------

temps = st.floats(30, 85, allow_nan=False).map(lambda c: round(c, 1))
series = st.lists(st.tuples(st.integers(0, 40 * 48), temps), min_size=1, max_size=45)
steady_hot = st.tuples(
    st.integers(2, 45), st.sampled_from([56.0, 60.0, 66.0, 72.0]), st.lists(st.integers(0, 44))
).map(lambda x: [(48 * d, x[1]) for d in range(x[0]) if d not in x[2][:2]] or [(0, x[1])])
spot = st.one_of(series, steady_hot)


def _spots(pairs: list[list[tuple[int, float]]]) -> dict[str, tuple[list[float], list[float]]]:
    return {f"s{k}": ([t / 2 for t, _ in one], [c for _, c in one]) for k, one in enumerate(pairs)}


@given(
    known=st.lists(spot, min_size=1, max_size=3), more=spot,
    turns=st.lists(st.tuples(st.integers(0, 1000), st.integers(0, 72)), max_size=7),
    wet=st.lists(st.tuples(st.integers(0, 1000), st.sampled_from([0.35, 0.45, 0.55])), max_size=6),
    now_h=st.floats(0, 1500),
)  # fmt: skip
@settings(max_examples=150, deadline=None)
def test_one_more_probe_never_turns_a_fail_into_a_pass(
    known: list[list[tuple[int, float]]], more: list[tuple[int, float]],
    turns: list[tuple[int, int]], wet: list[tuple[int, float]], now_h: float,
) -> None:  # fmt: skip
    done = tuple((float(a), float(a + span)) for a, span in turns)
    every = {"windrow": True, "static_aerated": True, "in_vessel": True, "closed_reactor": True,
             "housed_windrow": True}  # fmt: skip
    about = {"turns": done, "cn": (30.0, 30.0), "now_h": now_h,
             "moistures": tuple((float(h), m) for h, m in wet)}  # fmt: skip
    for one in rules().values():
        # how many points a rule asks for is apart: too few of them is no fail, but cannot be told
        heat = replace(one, least_spots=0, skin_m=None)
        for asked, bad in ((heat, ("not met", "cannot tell")), (one, ("not met",))):
            before = judge(asked, every, History(_spots(known), **about))  # type: ignore[arg-type]
            after = judge(asked, every, History(_spots([*known, more]), **about))  # type: ignore[arg-type]
            assert before.verdict not in bad or after.verdict != "met", one.key


def test_the_longest_of_several_stretches_is_told_and_the_first_one_ends_the_wait() -> None:
    temps = [60.0] * 4 + [50.0] + [60.0] * 6
    spots = {"a": ([24.0 * d for d in range(11)], temps)}
    found = clock(rules()["us_nop_5021"].options[0], spots)
    assert (found.hours, found.done_h) == (120.0, 72.0)


@given(known=spot, down=st.lists(st.floats(0, 20), min_size=45, max_size=45))
@settings(max_examples=100, deadline=None)
def test_a_colder_copy_of_a_spot_changes_nothing_for_the_better(
    known: list[tuple[int, float]], down: list[float]
) -> None:
    colder = [(t, c - d) for (t, c), d in zip(known, down, strict=False)]
    for one in rules().values():
        for option in one.options:
            before = clock(option, _spots([known]))
            after = clock(option, _spots([known, colder]))
            assert before.met or not after.met
            if option.window_c is None and option.mean_c is None:
                assert after.hours <= before.hours + 1e-6, option.words


@given(
    made=st.lists(st.lists(st.tuples(st.integers(0, 60), st.integers(0, 12), temps), min_size=1,
                           max_size=8), min_size=1, max_size=2),
    share=st.lists(st.floats(0, 1), min_size=16, max_size=16),
)  # fmt: skip
@settings(max_examples=150, deadline=None)
def test_what_is_sure_of_rough_times_holds_whenever_they_were(
    made: list[list[tuple[int, int, float]]], share: list[float]
) -> None:
    from heapwright.science.hygiene import course, sure_course

    part = iter(share)
    names = {f"s{k}": one for k, one in enumerate(made)}
    rough = {n: ([float(a) for a, _, _ in p], [float(a + w) for a, w, _ in p])
             for n, p in names.items()}  # fmt: skip
    true = {n: ([a + w * next(part) for a, w, _ in p], [c for *_, c in p])
            for n, p in names.items()}  # fmt: skip
    sure, real = sure_course(true, rough, gap_h=18), course(true, gap_h=18)
    for moment in np.arange(0.13, 73, 0.37):
        low, high = (_at(sure, x, moment) for x in (sure.low_c, sure.high_c))
        if np.isfinite(low):
            assert _at(real, real.low_c, moment) >= low
            assert _at(real, real.high_c, moment) <= high


def _at(found: Course, values: Minutes, moment: float) -> float:
    k = int(np.searchsorted(found.edges_h, moment, side="right")) - 1
    return float(values[k]) if 0 <= k < values.size else float("nan")


@pytest.mark.parametrize("gap", [1.0, 36.0])
def test_no_reading_counts_beyond_its_gap(gap: float) -> None:
    from heapwright.science.hygiene import course, hours_at

    spots = {"a": ([0, gap, 2 * gap + 0.01], [60.0, 60.0, 60.0])}
    assert hours_at(course(spots, gap_h=gap), 55) == gap
