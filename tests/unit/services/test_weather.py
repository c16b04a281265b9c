"""Weather from files, a described climate and the book: questions, units, traps."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pvlib
import pytest

from heapwright.domain.entries import Trail, Weather
from heapwright.domain.trial import Place
from heapwright.domain.when import When
from heapwright.errors import (
    EntryError,
    InputError,
    NotEnoughError,
    QuantityError,
    QuestionError,
    TableError,
)
from heapwright.services.weather import air_of_book, like_last_week, read_weather
from heapwright.store.book import Book

STATIONS = Path(pvlib.__file__).parent / "data"
GREENSBORO = STATIONS / "723170TYA.CSV"
FERNCOMBE = Place(latitude_deg=52.0, longitude_deg=-1.5, time_zone="Europe/London")


def _write(folder: Path, text: str, name: str = "weather.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def _hourly(hours: int, *, skip: range = range(0)) -> str:
    start = datetime(2026, 5, 3)
    rows = [
        f"{start + timedelta(hours=h):%Y-%m-%d %H:%M},{10 + h % 24},{60 + h % 5},{2 + h % 3},0.5"
        for h in range(hours)
        if h not in skip
    ]
    return "time,air (°C),RH (%),wind (km/h),rain (mm)\n" + "\n".join(rows) + "\n"


def test_an_hourly_sheet_with_units_asks_nothing(tmp_path: Path) -> None:
    series = read_weather(_write(tmp_path, _hourly(48)), answers={}, place=FERNCOMBE)
    assert series.count == 48
    # 3 May is summer time in London
    assert series.start == datetime(2026, 5, 2, 23, tzinfo=UTC)
    assert series.air_temp_c[:3].tolist() == [10.0, 11.0, 12.0]
    assert series.relative_humidity[1] == pytest.approx(0.61)
    assert series.wind_m_s[0] == pytest.approx(2 / 3.6)
    assert series.rain_mm.sum() == pytest.approx(24.0)
    assert series.sun_w_m2.max() > 300
    assert any("sun not known" in s for s in series.source)


def test_units_that_are_not_written_are_asked_all_at_once(tmp_path: Path) -> None:
    text = _hourly(48).replace("air (°C),RH (%),wind (km/h),rain (mm)", "air,rh,wind,rain")
    path = _write(tmp_path, text)
    with pytest.raises(QuestionError) as caught:
        read_weather(path, answers={})
    asked = {q.key: q for q in caught.value.questions}
    assert set(asked) == {"unit.air", "unit.rh", "unit.wind", "unit.rain", "zone", "latitude"}
    assert asked["unit.air"].default == "C"
    assert asked["unit.rh"].default == "%"
    answers = {"unit.air": "F", "unit.rh": "%", "unit.wind": "mph", "unit.rain": "inches",
               "zone": "UTC", "latitude": "52"}  # fmt: skip
    series = read_weather(path, answers=answers)
    assert series.air_temp_c[22] == pytest.approx(0.0)
    assert series.rain_mm[0] == pytest.approx(12.7)
    assert series.wind_m_s[0] == pytest.approx(2 * 0.44704)
    with pytest.raises(EntryError, match="none of the answers"):
        read_weather(path, answers={**answers, "unit.wind": "Beaufort"})
    with pytest.raises(EntryError, match="nothing asks"):
        read_weather(path, answers={**answers, "unit.snow": "cm"})


def test_wind_measured_low_is_brought_to_ten_metres(tmp_path: Path) -> None:
    path = _write(tmp_path, _hourly(30))
    low = read_weather(path, answers={"wind_height": "2 m"}, place=FERNCOMBE)
    high = read_weather(path, answers={}, place=FERNCOMBE)
    assert low.wind_m_s == pytest.approx(high.wind_m_s * 1.337, rel=0.002)


def test_short_gaps_are_bridged_and_long_ones_asked(tmp_path: Path) -> None:
    short = _write(tmp_path, _hourly(60, skip=range(30, 33)))
    series = read_weather(short, answers={}, place=FERNCOMBE)
    assert series.air_temp_c[29:34] == pytest.approx([15, 16, 17, 18, 19])
    assert any("3 hours of air_temp_c filled" in s for s in series.source)
    long = _write(tmp_path, _hourly(90, skip=range(30, 44)), "long.csv")
    with pytest.raises(QuestionError, match="14 hours"):
        read_weather(long, answers={}, place=FERNCOMBE)
    with pytest.raises(TableError, match="long gap"):
        read_weather(long, answers={"gaps": "stop"}, place=FERNCOMBE)
    filled = read_weather(long, answers={"gaps": "day-before"}, place=FERNCOMBE)
    assert filled.air_temp_c[30:44].tolist() == filled.air_temp_c[6:20].tolist()


def test_rows_every_ten_minutes_and_every_three_hours(tmp_path: Path) -> None:
    start = datetime(2026, 5, 3)
    fine = [f"{start + timedelta(minutes=10 * k):%Y-%m-%d %H:%M};{12 + k % 6},5;0,2"
            for k in range(6 * 24)]  # fmt: skip
    path = _write(tmp_path, "time;air (°C);rain (mm)\n" + "\n".join(fine))
    series = read_weather(path, answers={"zone": "UTC"}, place=Place(latitude_deg=50.0))
    assert series.count == 24
    assert series.air_temp_c == pytest.approx(15.0)
    assert series.rain_mm == pytest.approx(1.2)
    coarse = [f"{start + timedelta(hours=3 * k):%Y-%m-%d %H:%M},{12 + k},3.0" for k in range(8)]
    path = _write(tmp_path, "time,air (°C),rain (mm)\n" + "\n".join(coarse), "coarse.csv")
    series = read_weather(path, answers={"zone": "UTC"}, place=Place(latitude_deg=50.0))
    assert series.count == 24
    assert series.rain_mm == pytest.approx(1.0)
    assert series.air_temp_c[[0, 3, 6]].tolist() == [12.0, 13.0, 14.0]
    assert series.air_temp_c[1] == pytest.approx(12 + 1 / 3)


def test_daily_rows_become_hours(tmp_path: Path) -> None:
    rows = "\n".join(f"2026-05-{d:02d},{15 + d % 4},{5 + d % 3},{4.8 * (d % 2)}"
                     for d in range(1, 15))  # fmt: skip
    path = _write(tmp_path, "date,tmax (°C),tmin (°C),rain (mm)\n" + rows)
    series = read_weather(path, answers={}, place=FERNCOMBE)
    assert series.count == 14 * 24
    days = series.air_temp_c.reshape(14, 24)
    assert days.max(axis=1) == pytest.approx([15 + d % 4 for d in range(1, 15)], abs=0.25)
    assert series.rain_mm.sum() == pytest.approx(7 * 4.8)
    assert series.sun_w_m2.reshape(14, 24)[0].argmax() in (12, 13)
    with pytest.raises(QuestionError, match="latitude"):
        read_weather(path, answers={"zone": "UTC"})
    with pytest.raises(QuantityError, match="latitude"):
        read_weather(path, answers={"zone": "UTC", "latitude": "152"})


def test_exchanged_columns_and_bad_cells_are_named(tmp_path: Path) -> None:
    swapped = _write(tmp_path, "date,tmin (°C),tmax (°C)\n2026-05-01,15,5\n2026-05-02,15,5\n")
    with pytest.raises(InputError, match="exchanged"):
        read_weather(swapped, answers={}, place=FERNCOMBE)
    bad = _write(tmp_path, _hourly(30).replace(",15,65", ",warm,65"), "bad.csv")
    bad.write_text(_hourly(30).replace(" 05:00,15,", " 05:00,warm,"), encoding="utf-8")
    with pytest.raises(TableError, match=r"bad\.csv, line 7, column air"):
        read_weather(bad, answers={}, place=FERNCOMBE)
    backwards = _hourly(30).splitlines()
    backwards[3], backwards[4] = backwards[4], backwards[3]
    path = _write(tmp_path, "\n".join(backwards), "back.csv")
    with pytest.raises(TableError, match="forward"):
        read_weather(path, answers={}, place=FERNCOMBE)
    with pytest.raises(TableError, match="read"):
        read_weather(tmp_path / "none.csv", answers={})


def test_the_hour_that_comes_twice_in_autumn(tmp_path: Path) -> None:
    clock = ["00:00", "01:00", "01:00", "02:00", "03:00"]
    rows = "\n".join(f"2026-10-25 {c},{10 + k}" for k, c in enumerate(clock))
    path = _write(tmp_path, "time,air (°C)\n" + rows)
    series = read_weather(path, answers={}, place=FERNCOMBE)
    assert series.air_temp_c.tolist() == [10.0, 11.0, 12.0, 13.0, 14.0]


def test_greensboro_asks_for_the_unit_of_its_rain() -> None:
    with pytest.raises(QuestionError) as caught:
        read_weather(GREENSBORO, answers={})
    (question,) = caught.value.questions
    assert question.key == "rain_unit"
    assert "8,345" in question.text
    assert question.default == "tenths of mm"


@pytest.mark.reference(
    source="TMY3 Greensboro as carried by the pvlib wheel", where="rain column sums to 8,345 tenths"
)
def test_greensboro_is_one_year_in_order() -> None:
    series = read_weather(GREENSBORO, answers={"rain_unit": "tenths of mm"})
    assert series.rain_mm.sum() == pytest.approx(834.5)
    assert series.typical
    # hour 01 of 1 January ends at 01:00 at UTC-5
    assert series.start == datetime(2023, 1, 1, 5, tzinfo=UTC)
    assert series.air_temp_c[:2].tolist() == [10.0, 10.0]
    assert series.air_temp_c[22:25].tolist() == [5.0, 5.0, 3.9]
    assert series.count == 8760
    assert series.at(0.5).relative_humidity == 0.77
    assert series.pressure_pa[0] == 99300.0
    noon = series.sun_w_m2.reshape(365, 24).mean(axis=0).argmax()
    assert noon in (11, 12)
    sky = series.sky_temp_c - series.air_temp_c
    assert -16 < sky.mean() < -2
    july = series.covering(datetime(2026, 7, 1, tzinfo=UTC), datetime(2026, 7, 31, tzinfo=UTC))
    assert july.air_temp_c.mean() > 20


def test_sums_over_several_hours_are_spread() -> None:
    series = read_weather(STATIONS / "703165TY.csv", answers={"rain_unit": "tenths of mm"})
    assert 250 < series.rain_mm.sum() < 1500
    assert series.rain_mm.max() < 30
    assert (series.rain_mm >= 0).all()


def _epw(folder: Path) -> Path:
    head = [
        "LOCATION,Ferncombe,-,GBR,invented,000000,52.0,-1.5,0.0,60.0",
        "DESIGN CONDITIONS,0", "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0", "COMMENTS 1,invented", "COMMENTS 2,",
        "DATA PERIODS,1,1,Data,Sunday,1/1,12/31",
    ]  # fmt: skip
    rows = []
    for k in range(8760):
        day = datetime(2001 + k // 24 % 5, 1, 1) + timedelta(days=k // 24 % 365)
        stamp = datetime(2023, 1, 1) + timedelta(hours=k)
        sun = max(0.0, 400 * np.sin((k % 24 - 6) * np.pi / 12))
        rows.append(
            f"{day.year},{stamp.month},{stamp.day},{k % 24 + 1},60,?,{8 + 4 * (k % 24 > 12)}.0,5.0,"
            f"80,101000,0,0,{320 if k else 9999},{sun:.0f},0,0,0,0,0,0,180,3.0,5,5,10.0,77777,9,"
            f"999999999,10,0.1,0,88,0.2,{0.4 if k % 10 == 0 else 0},1"
        )
    path = folder / "ferncombe.epw"
    path.write_text("\n".join(head + rows) + "\n", encoding="utf-8")
    return path


def test_an_epw_file(tmp_path: Path) -> None:
    series = read_weather(_epw(tmp_path), answers={})
    assert series.start == datetime(2023, 1, 1, tzinfo=UTC)
    assert series.rain_mm.sum() == pytest.approx(876 * 0.4)
    assert series.air_temp_c[:14].tolist() == [8.0] * 13 + [12.0]
    # 320 W/m2 of long wave is a sky of about 1 C; the missing first hour is filled
    assert series.sky_temp_c == pytest.approx((320 / 5.670374e-8) ** 0.25 - 273.15, abs=0.01)
    assert any("1 missing hours" in s for s in series.source)
    broken = tmp_path / "short.epw"
    lines = _epw(tmp_path).read_text(encoding="utf-8").splitlines()
    broken.write_text("\n".join(lines[:3000]), encoding="utf-8")
    with pytest.raises(TableError, match="8760 hours"):
        read_weather(broken, answers={})


def test_a_described_climate(tmp_path: Path) -> None:
    path = _write(
        tmp_path,
        "latitude_deg = 52\nmean_c = [4,4,6,9,12,15,17,17,14,11,7,5]\n"
        "range_c = [6,6,8,9,10,10,10,10,9,7,6,5]\n"
        "rain_mm = [60,45,45,45,50,50,50,55,55,70,65,65]\n",
        "ferncombe.toml",
    )
    one, two = read_weather(path, answers={}, seed=4), read_weather(path, answers={}, seed=4)
    assert one.air_temp_c.tolist() == two.air_temp_c.tolist()
    assert "made up" in one.source[0]
    assert one.typical
    path.write_text("latitude_deg = 52\nmean = [1]\n", encoding="utf-8")
    with pytest.raises(TableError, match="needed key"):
        read_weather(path, answers={})
    path.write_text("latitude_deg = 52\nmean_c = 4\nrange_c = 3\nrain_mm = 2\n", encoding="utf-8")
    with pytest.raises(TableError, match="twelve"):
        read_weather(path, answers={})


def test_air_like_last_week() -> None:
    dawn = datetime(2026, 6, 1, 5, tzinfo=UTC)
    readings = [(dawn + timedelta(days=2 * k), 8.0 + k) for k in range(8)]
    until = readings[-1][0] + timedelta(days=30)
    series = like_last_week(readings, until=until, place=FERNCOMBE)
    last = readings[-1][0]
    assert series.end >= until
    at = (last - series.start).total_seconds() / 3600
    assert series.at(at).air_temp_c == pytest.approx(15.0, abs=0.5)
    # a dawn reading is the low of a day, not its mean
    week = series.air_temp_c[: 7 * 24]
    assert week.mean() > 15.0
    later = series.air_temp_c[7 * 24 : 14 * 24]
    assert later.tolist() == week.tolist()
    text = " ".join(series.source)
    assert "like the week to 2026-06-15" in text
    assert "repeated" in text
    with pytest.raises(NotEnoughError, match="reading of the air"):
        like_last_week([], until=until)


def test_air_of_the_book(tmp_path: Path, now: datetime) -> None:
    book = Book(tmp_path / "book.sqlite")

    def entry(name: str, when: When, value: float, quantity: str = "air_temp_c") -> Weather:
        return Weather(id=name, trial="Ferncombe", when=when, value=value, quantity=quantity,
                       trail=Trail(name))  # fmt: skip

    moment = datetime(2026, 6, 2, 5, tzinfo=UTC)
    entries = [
        entry("a", When.instant(moment), 9.5),
        entry("b", When(moment, moment + timedelta(days=1)), 12.0),
        entry("c", When.instant(moment + timedelta(days=1)), 3.0, "rain_mm"),
        entry("d", When.instant(moment - timedelta(days=1)), 8.0),
    ]
    with book.write() as link:
        book.ensure_trial("Ferncombe", now=now, link=link)
        book.add(entries, now=now, link=link)
    found = air_of_book(book, "Ferncombe")
    assert found == [(moment - timedelta(days=1), 8.0), (moment, 9.5)]
