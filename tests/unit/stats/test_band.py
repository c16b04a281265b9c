"""The band over heap age: what it refuses, what it is made of, and what it says."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest

from heapwright.errors import InputError, NotEnoughError, UnknownNameError
from heapwright.stats import band as module
from heapwright.stats import dunnett
from heapwright.stats.band import Band, band_critical, pooled_spread, time_bands
from heapwright.stats.bandwords import Span, spans, when_differed
from heapwright.stats.claims import TEMPERATURE_CAVEAT
from heapwright.stats.contrast import t_quantile
from heapwright.stats.naive import Study, null_readings
from heapwright.stats.prior import SpreadPrior
from heapwright.stats.series import HeapExcess, HeapSeries, excess_series

DAYS = np.linspace(3, 60, 20)
PRIOR = SpreadPrior()


def heap(name: str, age: object, excess: object) -> HeapExcess:
    t, y = np.asarray(age, dtype=float), np.asarray(excess, dtype=float)
    return HeapExcess(name, t, y, y + 10, np.full(t.size, 10.0), ())


def ways(*groups: list[float], age: object = DAYS) -> dict[str, dict[str, HeapExcess]]:
    """Flat heaps at the given levels, ways named left, turned, covered."""
    t, names = np.asarray(age, dtype=float), iter("ABCDEFGHIJKL")
    return {
        way: {n: heap(n, t, np.full(t.size, v)) for v in group for n in [next(names)]}
        for way, group in zip(("left", "turned", "covered"), groups, strict=False)
    }


def drawn(difference: list[float], age: list[float], half: float = 10.0, many: int = 1) -> Band:
    t, d = np.array(age), np.array(difference, dtype=float)
    return Band(
        "B", "A", ("b", "d"), ("a", "c"), t, d, half, 4.0, 12.0, 3.0, None, many, ()
    )  # fmt: skip


def forget() -> None:
    module._largest.cache_clear()
    module._critical.cache_clear()


# --- what it refuses -----------------------------------------------------------------------------


@pytest.mark.parametrize("ended", [True, False])
def test_one_heap_of_a_way_is_refused_and_why(ended: bool) -> None:
    for groups in ([20.0], [30.0]), ([20.0, 21.0], [30.0]), ([20.0], [30.0, 31.0]):
        with pytest.raises(NotEnoughError, match="one heap of way") as caught:
            time_bands(ways(*groups), "left", ended=ended, end_date="1 May")
        assert "whims of that heap" in str(caught.value)
        assert "second heap" in str(caught.value.way_out)
    with pytest.raises(NotEnoughError, match="no heap of way turned"):
        time_bands(ways([20.0, 21.0], []), "left", ended=True)


def test_nonsense_is_refused_with_the_way_out() -> None:
    two = ways([20.0, 21.0], [30.0, 31.0])
    with pytest.raises(UnknownNameError, match="Choose one of left, turned"):
        time_bands(two, "vented", ended=True)
    with pytest.raises(NotEnoughError, match="only one way"):
        time_bands(ways([20.0, 21.0]), "left", ended=True)
    with pytest.raises(InputError, match="end date must be named"):
        time_bands(two, "left", ended=False)
    with pytest.raises(InputError, match="A: a heap stands under two ways"):
        time_bands({**two, "turned": {**two["turned"], "A": two["left"]["A"]}}, "left", ended=True)
    with pytest.raises(InputError, match="two ages or more"):
        pooled_spread([1.0], [3.0], 2, PRIOR)
    with pytest.raises(InputError, match="at least one heap"):
        band_critical(DAYS, 0, [2], 12.0, prior=PRIOR)
    with pytest.raises(InputError, match="degrees of freedom"):
        band_critical(DAYS, 2, [2], 0.0, prior=PRIOR)


def test_a_window_that_a_heap_does_not_cover_is_refused_by_name() -> None:
    data = ways([20.0, 21.0], [30.0, 31.0])
    data["turned"]["D"] = heap("D", DAYS[2:], np.full(18, 31.0))
    with pytest.raises(NotEnoughError, match="heap D does not cover day 3 to day 60"):
        time_bands(data, "left", ended=True, window=(3, 60))
    shared = time_bands(data, "left", ended=True)[0]
    assert (shared.age_d[0], shared.age_d[-1]) == (9, 60)
    inner = time_bands(data, "left", ended=True, window=(10, 50))[0]
    assert (inner.age_d[0], inner.age_d[-1]) == (10, 50)


def test_before_the_end_there_is_a_curve_and_no_band() -> None:
    two = ways([20.0, 21.0], [60.0, 61.0])
    band = time_bands(two, "left", ended=False, end_date="1 September 2026")[0]
    assert band.difference_c == pytest.approx(np.full(20, 40.0))
    assert band.half_width_c is None
    assert band.low_c is None
    assert band.high_c is None
    assert (band.critical, band.df, band.spread_c) == (None, None, None)
    assert spans(band) == ()
    assert when_differed(band) == (
        f"So far: no claim before 1 September 2026. {TEMPERATURE_CAVEAT}"
    )


# --- what it is made of --------------------------------------------------------------------------


def test_straight_lines_between_rounds_and_only_shared_ages() -> None:
    data = {
        "left": {"A": heap("A", [0, 10, 30], [0, 20, 20]), "B": heap("B", [2, 30], [10, 10])},
        "turned": {"C": heap("C", [0, 20], [30, 50]), "D": heap("D", [1, 20, 40], [30, 30, 0])},
    }
    band = time_bands(data, "left", ended=True)[0]
    assert band.age_d.tolist() == [2, 10, 20]
    # turned: (32 + 30) / 2, (40 + 30) / 2, (50 + 30) / 2; left: (4 + 10) / 2, 15, 15
    assert band.difference_c == pytest.approx([31 - 7, 35 - 15, 40 - 15])
    assert band.low_c is not None
    assert band.high_c is not None
    assert band.high_c - band.low_c == pytest.approx(np.full(3, 2 * (band.half_width_c or 0)))


def test_the_spread_by_hand() -> None:
    # two ages a day apart: correlations by hand, weights a half each
    total = 16 + 0.8 + 2.25 + 4.25 / 3
    apart = (12.0 + 4.8 * math.exp(-1 / 30) + 2.25 * math.exp(-1 / 3)) / total
    worth = 1 / (0.5 + 0.5 * apart**2)
    s, df = pooled_spread([[30.0, 50.0], [0.0, 0.0]], [5, 6], 2, PRIOR)
    assert df == pytest.approx(8 + 2 * worth)
    assert s**2 == pytest.approx(
        [(8 * total + worth * 40) / (8 + 2 * worth), 8 * total / (8 + 2 * worth)]
    )


def test_the_band_is_spread_times_critical() -> None:
    data = ways([20.0, 24.0, 22.0], [40.0, 47.0])
    band = time_bands(data, "left", ended=True)[0]
    within = np.full(20, 8.0 + 24.5)
    s, df = pooled_spread(within, DAYS, 3, PRIOR)
    critical = band_critical(DAYS, 3, [2], df, prior=PRIOR)
    assert band.df == pytest.approx(df)
    assert band.half_width_c == pytest.approx(critical * float(s) * math.sqrt(1 / 3 + 1 / 2))
    assert band.assumptions


def test_it_assumes_the_wandering_of_the_simulation_study() -> None:
    s = Study()
    assert (
        s.fixed_share, s.slow_d, s.quick_d,
    ) == (module._FIXED_SHARE, module._SLOW_D, module._QUICK_D)  # fmt: skip
    assert s.quick_sd_c**2 == module._QUICK_VAR
    assert pytest.approx((s.reading_sd_c**2 + s.probe_sd_c**2) / s.spots) == module._READING_VAR


def test_the_same_input_gives_the_same_band_bit_for_bit() -> None:
    data = ways([20.0, 24.0], [40.0, 47.0], [30.0, 33.0])
    first = time_bands(data, "left", ended=True)
    forget()
    np.random.default_rng(1).normal(size=10)
    again = time_bands(data, "left", ended=True)
    assert [b.half_width_c for b in first] == [b.half_width_c for b in again]
    assert all((a.difference_c == b.difference_c).all() for a, b in zip(first, again, strict=True))


def test_order_of_ways_and_heaps_does_not_matter() -> None:
    data = ways([20.0, 24.0], [40.0, 47.0, 41.0], [30.0, 33.0])
    other = {way: dict(reversed(heaps.items())) for way, heaps in reversed(data.items())}
    a = {b.way: b for b in time_bands(data, "left", ended=True)}
    b = {b.way: b for b in time_bands(other, "left", ended=True)}
    assert set(a) == set(b) == {"turned", "covered"}
    for way, band in a.items():
        assert band.half_width_c == pytest.approx(b[way].half_width_c, abs=1e-9)
        assert band.difference_c == pytest.approx(b[way].difference_c, abs=1e-9)


def test_critical_lies_between_one_age_and_bonferroni() -> None:
    at = {n: band_critical(np.linspace(3, 60, n), 3, [3], 15.2, prior=PRIOR) for n in (2, 5, 20)}
    assert t_quantile(0.95, 15.2) < at[2] < at[5] < at[20] < t_quantile(1 - 0.05 / 20, 15.2)
    many = [band_critical(DAYS, 3, [3] * k, 15.2, prior=PRIOR) for k in (1, 2, 3)]
    assert many == sorted(many)
    assert many[2] < t_quantile(1 - 0.05 / 60, 15.2)
    assert many[2] > dunnett.critical_value(3, [3, 3, 3], 15.2)


def test_critical_against_a_plain_simulation() -> None:
    """The wandering from the full correlation matrix and another source of chance."""
    rng, trials, n0, ns, df = np.random.default_rng(7), 60_000, 2, [3, 4], 14.0
    lag = np.abs(DAYS[:, None] - DAYS)
    matrix = 12.0 + 4.8 * np.exp(-lag / 30) + 2.25 * np.exp(-lag / 3) + 4.25 / 3 * np.eye(20)
    root = np.linalg.cholesky(matrix / matrix[0, 0])
    mean = [rng.normal(size=(trials, 20)) @ root.T / math.sqrt(n) for n in (n0, *ns)]
    s = np.sqrt(rng.chisquare(df, trials) / df)[:, None]
    t = [
        np.abs(m - mean[0]) / s / math.sqrt(1 / n + 1 / n0)
        for m, n in zip(mean[1:], ns, strict=True)
    ]
    critical = band_critical(DAYS, n0, ns, df, prior=PRIOR)
    outside = (np.maximum(*t).max(axis=1) > critical).mean()
    assert outside == pytest.approx(0.05, abs=0.004)


def test_another_stream_of_chance_hardly_moves_it(monkeypatch: pytest.MonkeyPatch) -> None:
    here = band_critical(DAYS, 3, [3], 15.2, prior=PRIOR)
    for seed in (1, 2, 3):
        monkeypatch.setattr(module, "_SEED", seed)
        forget()
        assert band_critical(DAYS, 3, [3], 15.2, prior=PRIOR) == pytest.approx(here, abs=0.02)
    monkeypatch.undo()
    forget()


def test_heaps_read_hours_apart_are_one_round() -> None:
    together = ways([20.0, 24.0], [40.0, 47.0])
    apart = {
        way: {n: heap(n, DAYS + 0.1 * (ord(n) - 65), e.excess_c) for n, e in heaps.items()}
        for way, heaps in together.items()
    }
    a = time_bands(together, "left", ended=True)[0]
    b = time_bands(apart, "left", ended=True)[0]
    assert b.age_d.size > 70
    assert b.critical == pytest.approx(a.critical, abs=0.03)


def test_fast_enough_for_a_page() -> None:
    age = np.arange(3, 60, 1 / 24)
    data = ways([20.0, 24.0], [40.0, 47.0], age=age)
    time_bands(ways([20.0, 24.0], [40.0, 47.0]), "left", ended=True)
    start = time.perf_counter()
    time_bands(data, "left", ended=True)
    assert time.perf_counter() - start < 5


# --- what it says --------------------------------------------------------------------------------


def test_spans_end_where_the_lines_cross() -> None:
    found = spans(drawn([0, 20, 0, -30, -30], [0, 10, 20, 30, 40]))
    assert found == (
        Span(5.0, 15.0, True),
        Span(pytest.approx(20 + 10 / 3), 40.0, False),  # type: ignore[arg-type]
    )
    assert spans(drawn([10, 10], [0, 10])) == ()


@pytest.mark.parametrize(
    ("difference", "age", "said"),
    [
        (
            [0, 20, 20, 0],
            [3, 21.2, 21.6, 59],
            "B (b, d) ran warmer than A (a, c) between about day 12 and day 41; "
            "before and after it cannot be told.",
        ),
        (
            [-20, -20, 0],
            [3.25, 20, 30],
            "B (b, d) ran cooler than A (a, c) from day 3.2, the first age read in every heap, to "
            "about day 25; after that it cannot be told.",
        ),
        (
            [0, 20, 20],
            [3, 20, 60.4],
            "B (b, d) ran warmer than A (a, c) from about day 11 to day 60.4, the last age read in "
            "every heap; before that it cannot be told.",
        ),
        (
            [20, 20],
            [3, 60],
            "B (b, d) ran warmer than A (a, c) at every age from day 3 to day 60.",
        ),
        (
            [0, 10, -10],
            [3, 20, 60],
            "At no age from day 3 to day 60 can it be told whether B (b, d) ran warmer or cooler "
            "than A (a, c).",
        ),
        (
            [0, 20, 0, -20, 0],
            [0, 10, 20, 30, 41],
            "B (b, d) ran warmer than A (a, c) between about day 5 and day 15, and cooler than "
            "A (a, c) between about day 25 and day 36; at other ages it cannot be told.",
        ),
    ],
)
def test_sentences(difference: list[float], age: list[float], said: str) -> None:
    text = when_differed(drawn(difference, age))
    assert text == (
        f"{said} The 95 % band holds for all ages together and reaches 10 degrees to either side. "
        f"{TEMPERATURE_CAVEAT}"
    )


def test_rounding_out_never_closes_a_gap_nor_leaves_the_ages_read() -> None:
    # out until 20.2, in until 20.8, out again
    close = when_differed(drawn([0, 20, 9.8, 20, 0], [0, 10, 20.5, 31, 41]))
    found = spans(drawn([0, 20, 9.8, 20, 0], [0, 10, 20.5, 31, 41]))
    assert len(found) == 2
    assert f"day {found[0].to_d:.1f}" in close
    assert f"day {found[1].from_d:.1f}" in close
    # crossing at 3.3 would round out to day 3, where not every heap was read
    edge = when_differed(drawn([9, 19, 0], [3.2, 4.2, 30]))
    assert "between about day 3.3 and day" in edge


def test_nothing_is_ever_said_to_be_alike_or_to_have_begun() -> None:
    rng = np.random.default_rng(3)
    for _ in range(200):
        text = when_differed(drawn(list(rng.normal(0, 12, 8)), list(np.arange(3, 67, 8.0))))
        assert not any(w in text for w in ("alike", "same", "equal", "became", "began", "until"))
        assert "cannot be told" in text or "can it be told" in text or "every age" in text
        assert text.endswith(TEMPERATURE_CAVEAT)


def test_labels_fahrenheit_and_more_ways() -> None:
    text = when_differed(
        drawn([0, 20, 0], [3, 20, 60], many=2), labels={"B": "turned weekly"}, shown_in="F"
    )
    assert text.startswith("Turned weekly (b, d) ran warmer than A (a, c)")
    assert "all ages and ways together and reaches 18 degrees F" in text


def test_from_readings_to_the_sentence() -> None:
    """Invented readings: turned heaps 25 C warmer until day 30, and a band that says so."""
    excess, _, _ = null_readings(np.random.default_rng(12), 1, heaps=6, sigma_c=3.0)
    air = (np.arange(-10, 70.0), np.full(80, 10.0))
    data: dict[str, dict[str, HeapExcess]] = {"left": {}, "turned": {}}
    for i, name in enumerate("ABCDEF"):
        warmer = 25.0 * (DAYS <= 30) if i >= 3 else 0.0
        rows = {f"s{k}": (DAYS, excess[0, i, :, k] + warmer + 10) for k in range(3)}
        series = excess_series(HeapSeries.of(name, rows), air)
        data["left" if i < 3 else "turned"][name] = series
    text = when_differed(time_bands(data, "left", ended=True)[0])
    assert text.startswith("Turned (D, E, F) ran warmer than left (A, B, C) from day 3, ")
    assert "after that it cannot be told" in text
