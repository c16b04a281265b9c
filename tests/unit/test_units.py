"""Text as people write it, and the register behind it."""

from __future__ import annotations

import pytest

from heapwright import units
from heapwright.errors import QuantityError
from heapwright.units import REGISTER, Ranged, parse, quantity, show


@pytest.mark.parametrize(
    ("text", "key", "value"),
    [
        ("3 ft 6 in", "length_m", 1.0668),
        ("3 ft", "length_m", 0.9144),
        ("40 cm", "depth_m", 0.4),
        ("131 F", "temp_c", 55.0),
        ("55", "temp_c", 55.0),
        ("-5 °C", "air_temp_c", -5.0),
        ("14.4 F", "diff_c", 8.0),
        ("12 %", "moisture_wb", 0.12),
        ("0,45", "moisture_wb", 0.45),
        ("2 weeks", "interval_d", 14.0),
        ("400 lb/yd3", "bulk_density_kg_m3", 237.3106),
        ("5 US gal", "water_l", 18.92706),
        ("5 imp gal", "water_l", 22.73045),
        ("1 yd3", "volume_m3", 0.764555),
        ("1.5 hours", "minutes", 90.0),
        (12, "mass_kg", 12.0),
        ("4 US gal/min", "flow_l_min", 15.141647),
        ("41.3 S", "latitude_deg", -41.3),
        ("51,2° N", "latitude_deg", 51.2),
        ("0.9 W", "longitude_deg", -0.9),
        ("5.1 E", "longitude_deg", 5.1),
    ],
)
def test_what_people_write(text: str | float, key: str, value: float) -> None:
    assert parse(text, key).typical == pytest.approx(value, rel=1e-6)


def test_ranges() -> None:
    assert parse("45-55 %", "moisture_wb") == Ranged(0.5, 0.45, 0.55)
    assert parse("45 to 55 %", "moisture_wb") == Ranged(0.5, 0.45, 0.55)
    assert parse("50 ± 5 %", "moisture_wb") == Ranged(0.5, 0.45, 0.55)
    about = parse("about 10 kg", "mass_kg")
    assert (about.low, about.typical, about.high) == (8.0, 10.0, 12.0)
    assert parse("9 barrows", "volume_m3", extra={"barrow": 0.1}).typical == pytest.approx(0.9)


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        ("140", "temp_c", "Degrees F given"),
        ("12", "moisture_wb", "Per cent given"),
        ("5 gallons", "water_l", "US gal or imp gal"),
        ("40 furlongs", "moisture_wb", "does not fit"),
        ("40 kg", "length_m", "does not fit"),
        ("hot", "temp_c", "no number found"),
        ("nan", "temp_c", "no number found"),
        ("55-45 %", "moisture_wb", "smaller one"),
        ("1e9 m", "length_m", "must lie within"),
        (True, "mass_kg", "a number was expected"),
        ("4 gal/min", "flow_l_min", "US gal or imp gal"),
        ("41.3 W", "latitude_deg", "does not fit"),
        ("0.9 N", "longitude_deg", "does not fit"),
        ("-41.3 S", "latitude_deg", "a minus and a letter"),
        ("1,000 litres", "volume_m3", "Write 1000 or 1.000"),
        ("5; drop table heap", "mass_kg", "does not fit"),
    ],
)
def test_what_cannot_be_read_says_the_way_out(text: str | float, key: str, words: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse(text, key, field="it")
    assert words in caught.value.message
    assert caught.value.message.startswith("it")


def test_unknown_quantity_names_near_ones() -> None:
    with pytest.raises(QuantityError, match="moisture_wb"):
        quantity("moisture")


def test_a_range_runs_upwards() -> None:
    with pytest.raises(QuantityError):
        Ranged(1.0, 2.0, 3.0)


def test_everyday_factors_are_those_of_pint() -> None:
    registry = units._pint()
    for (typed, kept), factor in units._EVERYDAY.items():
        target = registry.Unit(kept) if kept else registry.dimensionless
        assert (1.0 * registry.Unit(typed)).to(target).magnitude == pytest.approx(factor)


def test_every_row_of_the_register_is_whole() -> None:
    for row in REGISTER.values():
        assert row.low < row.high
        assert row.meaning
        if row.unit:
            units._pint().Unit(row.unit)


def test_shown_numbers_are_rounded_to_what_is_known() -> None:
    assert show(54.37, "temp_c") == "54 C"
    assert show(0.5, "moisture_wb") == "50 %"
    assert show(-0.2, "temp_c") == "0 C"
    assert show(0.37, "volume_m3") == "0.37 m3"
