"""The register of quantities, and the only place where typed text becomes a number.

Holds: one row per quantity (key, symbol, unit it is kept in, meaning, allowed range), `Ranged`
(a typical value with a low and a high), and `parse` / `show` for text as people write it.
Units: everything inside the program is kept in the unit of its register row.
Conventions: fractions are 0 to 1 inside and per cent on screen; temperatures are degrees C;
temperature differences have quantities of their own, because 8 C of difference is 14 F, not 46.
"""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from heapwright.errors import QuantityError

__all__ = [
    "REGISTER",
    "Quantity",
    "Ranged",
    "parse",
    "parse_number",
    "quantity",
    "show",
    "two_digits",
]


@dataclass(frozen=True, slots=True)
class Quantity:
    """One registered quantity.

    key : name used for parameters, columns and plan values; symbol : as in the docs;
    unit : the unit kept (pint spelling); low, high : allowed range in that unit;
    shown : short unit on screen; meaning : one sentence.
    """

    key: str
    symbol: str
    unit: str
    low: float
    high: float
    shown: str
    meaning: str

    def check(self, value: float, *, field: str | None = None, typed: object = None) -> float:
        """*value* if it is a finite number inside the range, else `QuantityError`."""
        if math.isfinite(value) and self.low <= value <= self.high:
            return value
        raise QuantityError(
            f"{self.meaning or self.key} must lie within "
            f"{_plain(self.low * self.shown_factor)} to "
            f"{_plain(self.high * self.shown_factor)} {self.shown}".rstrip(),
            field=field or self.key,
            value=_plain(value) if typed is None else typed,
            way_out=self._hint(value, str(typed or "")),
        )

    @property
    def shown_factor(self) -> float:
        """What a kept value is multiplied by on screen: 100 for per cent, else 1."""
        return 100.0 if self.shown == "%" else 1.0

    def _hint(self, value: float, typed: str) -> str:
        if not math.isfinite(value):
            return "Give a finite number, or leave it out if it is not known"
        if self.unit == "" and self.high <= 1 and 1 < value <= 100 and "%" not in typed:
            return f"Per cent given? Write {_plain(value)} % or {_plain(value / 100)}"
        if self.unit == "degC" and value > self.high:
            return f"Degrees F given? Write {_plain(value)} F"
        return "Check the number and its unit"


@dataclass(frozen=True, slots=True)
class Ranged:
    """A number with its range: typical, low and high, in one unit.

    The range is meant as about nine in ten: one value in ten lies outside. ``low`` may equal
    ``high`` for a number taken as exact. Raises `QuantityError` unless low <= typical <= high.

    Examples
    --------
    >>> Ranged(0.5, 0.45, 0.6).scaled(100)
    Ranged(typical=50.0, low=45.0, high=60.0)
    """

    typical: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not (self.low <= self.typical <= self.high):
            raise QuantityError(
                "a range must run from low over typical to high",
                field="range",
                value=f"{self.low} / {self.typical} / {self.high}",
                way_out="Write the smaller number first, as in 45-55 %",
            )

    @classmethod
    def exact(cls, value: float) -> Ranged:
        """A number without a range."""
        return cls(value, value, value)

    @property
    def is_exact(self) -> bool:
        """True when low and high coincide."""
        return self.low == self.high

    def scaled(self, factor: float) -> Ranged:
        """Each of the three numbers times a factor >= 0."""
        return Ranged(self.typical * factor, self.low * factor, self.high * factor)


_INF = math.inf
_ROWS: tuple[tuple[str, str, str, float, float, str, str], ...] = (
    # key, symbol, unit, low, high, shown, meaning
    ("temp_c", "T", "degC", -40, 95, "C", "temperature inside a heap"),
    ("air_temp_c", "Ta", "degC", -50, 55, "C", "air temperature in the shade near the heaps"),
    ("excess_c", "dT", "delta_degC", -60, 90, "C", "degrees above air"),
    ("diff_c", "d", "delta_degC", 0, 90, "C", "difference of temperatures"),
    (
        "mean_excess_c",
        "mean dT",
        "delta_degC",
        -60,
        90,
        "C",
        "mean degrees above air over a window",
    ),
    (
        "peak_excess_c",
        "peak dT",
        "delta_degC",
        -60,
        90,
        "C",
        "highest degrees above air in a window",
    ),
    ("degree_hours_40", "S40", "", 0, 1e6, "C h", "degree-hours above 40 C over a window"),
    ("degree_hours_55", "S55", "", 0, 1e6, "C h", "degree-hours above 55 C over a window"),
    ("days_above_40", "t40", "day", 0, 3660, "d", "days above 40 C in a window"),
    ("days_above_55", "t55", "day", 0, 3660, "d", "days above 55 C in a window"),
    ("days_to_peak", "tp", "day", 0, 3660, "d", "days until the highest reading"),
    ("half_cooling_d", "th", "day", 0, 3660, "d", "days from the peak until halfway back to air"),
    ("age_d", "t", "day", 0, 3660, "d", "age of a heap since it was built"),
    ("duration_d", "t", "day", 0, 3660, "d", "a length of time"),
    ("interval_d", "t", "day", 0.01, 400, "d", "time from one occasion to the next"),
    ("volume_m3", "V", "m**3", 1e-4, 5000, "m3", "volume of material"),
    ("container_l", "V", "litre", 0.1, 5000, "L", "volume of a barrow, bucket or bin"),
    ("length_m", "l", "m", 0.001, 500, "m", "a length on a tape"),
    ("depth_m", "z", "m", 0.0, 5, "m", "depth below the skin of a heap, along the probe"),
    ("pipe_distance_m", "a", "m", 0.0, 20, "m", "distance to the nearest vent pipe"),
    ("diameter_m", "D", "m", 0.001, 5, "m", "diameter of a pipe"),
    ("hole_mm", "d_h", "mm", 0.5, 200, "mm", "diameter of a hole in a pipe"),
    ("mass_kg", "m", "kg", 0.0, 5e6, "kg", "mass as it lies, wet"),
    ("dry_mass_kg", "m_d", "kg", 0.0, 5e6, "kg", "dry mass"),
    ("water_l", "W", "litre", 0.0, 1e6, "L", "water given to a heap"),
    ("water_per_m3_l", "w", "litre/m**3", 0.0, 5000, "L/m3", "water given for each cubic metre"),
    ("flow_l_min", "Q", "litre/minute", 0.01, 500, "L/min", "flow of a hose"),
    ("minutes", "tau", "minute", 0.0, 1e5, "min", "minutes of work"),
    ("moisture_wb", "M", "", 0.0, 1.0, "%", "water as a fraction of wet mass (wet basis)"),
    ("moisture_db", "M_d", "", 0.0, 20.0, "%", "water over dry mass (dry basis)"),
    ("carbon_dm", "C", "", 0.0, 1.0, "%", "carbon as a fraction of dry matter"),
    ("nitrogen_dm", "N", "", 0.0, 0.5, "%", "nitrogen as a fraction of dry matter"),
    ("nutrient_frac", "N_p", "", 0.0, 1.0, "%", "nitrogen as a fraction of a product as sold"),
    ("ash_dm", "A", "", 0.0, 1.0, "%", "ash as a fraction of dry matter"),
    ("vs_dm", "VS", "", 0.0, 1.0, "%", "volatile solids as a fraction of dry matter"),
    ("lignin_vs", "X", "", 0.0, 1.0, "%", "lignin as a fraction of volatile solids"),
    ("degradable_vs", "B", "", 0.0, 1.0, "%", "degradable share of volatile solids"),
    ("cn_ratio", "C:N", "", 0.5, 2000, "", "mass of carbon over mass of nitrogen"),
    (
        "bulk_density_kg_m3",
        "BD",
        "kg/m**3",
        5,
        2000,
        "kg/m3",
        "wet mass of loose material per volume",
    ),
    ("free_air_frac", "FAS", "", 0.0, 1.0, "%", "free air space as a fraction of volume"),
    (
        "oxygen_demand_kg_m3",
        "OD",
        "kg/m**3",
        0.0,
        2000,
        "kg/m3",
        "oxygen to rot all that can rot, per volume of mix",
    ),
    ("nitrogen_dose_kg", "N", "kg", 0.0, 1e5, "kg", "nitrogen added as fertiliser"),
    ("o2_frac", "y", "", 0.0, 0.21, "%", "oxygen as a mole fraction of dry gas"),
    ("co2_frac", "y_c", "", 0.0, 0.5, "%", "carbon dioxide as a mole fraction of dry gas"),
    ("leafiness", "L", "", 0.0, 1.0, "%", "leaf in a load, judged by eye"),
    ("pressure_pa", "P", "Pa", 3e4, 1.2e5, "Pa", "air pressure"),
    ("vapour_pressure_pa", "p_v", "Pa", 0.0, 1.2e5, "Pa", "partial pressure of water vapour"),
    ("humidity_ratio", "w", "", 0.0, 100.0, "kg/kg", "mass of vapour per mass of dry air"),
    ("relative_humidity", "RH", "", 0.0, 1.0, "%", "relative humidity of the air"),
    ("wind_m_s", "u", "m/s", 0.0, 60, "m/s", "wind speed"),
    ("rain_mm", "R", "mm", 0.0, 1000, "mm", "rain"),
    ("slope_frac", "s", "", 0.0, 1.0, "%", "fall of the ground over its run"),
    ("latitude_deg", "phi", "degree", -90, 90, "deg", "latitude, north positive"),
    ("longitude_deg", "lambda", "degree", -180, 180, "deg", "longitude, east positive"),
    ("altitude_m", "z", "m", -450, 6000, "m", "height above the sea"),
    ("ph", "pH", "", 0, 14, "", "pH"),
    ("count", "n", "", 0, 1e12, "", "a count"),
    ("came_up", "g", "", 0.0, 1.0, "%", "seedlings that came up, as a fraction of seeds sown"),
    ("microbes", "m", "", 0, 1e6, "", "microbes counted in one field of view"),
    ("hyphae_mm", "h", "mm", 0, 1e4, "mm", "length of hyphae in one field of view"),
    ("hypha_um", "dh", "um", 0.1, 200, "um", "diameter of a piece of hypha"),
    ("slide_mm2", "As", "mm**2", 1e-6, 1e4, "mm2", "area of a field of view or of a cover slip"),
    ("drop_ml", "Vd", "ml", 1e-4, 100, "mL", "suspension under a cover slip"),
    ("dry_share", "DS", "", 0.0, 1.0, "%", "dry matter as a fraction of the fresh mass"),
    ("dilution_ml_g", "D", "ml/g", 0.1, 1e12, "mL/g", "suspension that holds a gram of compost"),
    ("reheat_c", "dTr", "delta_degC", -5, 75, "C", "rise above air of a sample in a vessel"),
    ("respiration", "Rc", "", 0.0, 200, "mg CO2-C/g/d", "carbon breathed out by organic matter"),
    ("oxygen_uptake", "Ro", "", 0.0, 50, "mg O2/g/h", "oxygen taken up by organic matter"),
    ("sour", "Rw", "", 0.0, 50, "mg O2/g/h", "oxygen taken up by organic matter in water"),
    ("at4", "AT4", "", 0.0, 500, "mg O2/g", "oxygen taken up by dry matter in four days"),
    ("germination_index", "GI", "", 0.0, 5.0, "%", "cress: share up times length, over control"),
    ("emergence", "ge", "", 0.0, 5.0, "%", "seedlings that came up, over those of a control"),
    ("vigour", "gv", "", 0.0, 10.0, "%", "growth of seedlings, over that of a control"),
    ("bean_signs", "sb", "", 0, 3, "", "signs of weedkiller in bean pots, 0 none to 3 severe"),
    ("nh4_n_mg_kg", "NH4-N", "mg/kg", 0.0, 1e5, "ppm", "ammonium nitrogen in the dry matter"),
    ("no3_n_mg_kg", "NO3-N", "mg/kg", 0.0, 1e5, "ppm", "nitrate nitrogen in the dry matter"),
    ("vfa_mg_kg", "VFA", "mg/kg", 0.0, 1e6, "ppm", "volatile fatty acids in the dry matter"),
    ("nh4_no3_ratio", "NH4:NO3", "", 0.0, 1e6, "", "ammonium nitrogen over nitrate nitrogen"),
    ("salts_ds_m", "EC", "dS/m", 0.0, 100, "dS/m", "electrical conductivity of an extract"),
    ("smell_score", "ss", "", 1, 5, "", "smell, 1 stinks to 5 earth of a wood"),
    ("look_score", "sl", "", 1, 5, "", "look, 1 as it was built to 5 dark crumbs"),
    ("overs_frac", "o", "", 0.0, 1.0, "%", "mass that stays over the finest mesh of a sieve"),
    ("colour_l", "L*", "", 0, 100, "", "lightness L* of a picture, 0 black to 100 white"),
    ("colour_a", "a*", "", -150, 150, "", "a* of a picture, green to red"),
    ("colour_b", "b*", "", -150, 150, "", "b* of a picture, blue to yellow"),
    ("particle_d10_mm", "d10", "mm", 1e-3, 2000, "mm", "size that a tenth of pieces is finer than"),
    ("particle_d50_mm", "d50", "mm", 1e-3, 2000, "mm", "size that half of pieces is finer than"),
    ("particle_d90_mm", "d90", "mm", 1e-3, 2000, "mm", "size that nine tenths are finer than"),
    ("ratio", "r", "", 0, 1e6, "", "a ratio without unit"),
    ("dry_loss", "L", "", -0.2, 0.99, "%", "dry matter lost, as a fraction of the first"),
    ("air_flow_l_min", "Qa", "litre/minute", 0.0, 1e6, "L/min", "air put through a vessel"),
    ("resistance_k_w", "R", "kelvin/watt", 1e-4, 1e5, "K/W", "heat resistance of a whole wall"),
    ("wall_r_m2k_w", "Rm", "m**2*kelvin/watt", 1e-3, 1e3, "m2K/W", "heat resistance of 1 m2"),
    ("area_m2", "A", "m**2", 1e-4, 1e4, "m2", "area of a surface"),
    ("money", "", "", 0, 1e9, "", "an amount of money, in the keeper's own currency"),
)

#: Every registered quantity by key.
REGISTER: Mapping[str, Quantity] = {row[0]: Quantity(*row) for row in _ROWS}


def quantity(key: str) -> Quantity:
    """The register row of *key*; raises `QuantityError` naming near keys if there is none."""
    try:
        return REGISTER[key]
    except KeyError:
        import difflib

        near = difflib.get_close_matches(key, REGISTER, n=3)
        raise QuantityError(
            "no such quantity is registered",
            field="quantity",
            value=key,
            way_out=f"Did you mean {' or '.join(near)}" if near else "See the list of quantities",
        ) from None


# --- text to number ----------------------------------------------------------------------------

_NUMBER = r"[-+]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][-+]?\d+)?"
_RANGE = re.compile(
    rf"^(?P<about>about|around|roughly|circa|ca\.?|~)?\s*(?P<a>{_NUMBER})\s*"
    rf"(?:(?:-|–|to|\.\.)\s*(?P<b>{_NUMBER})|(?:±|\+-|\+/-)\s*(?P<pm>{_NUMBER}))?\s*(?P<unit>.*)$",
    re.IGNORECASE,
)
_ALIASES = {
    "%": "percent", "per cent": "percent", "pct": "percent", "percent": "percent",
    "c": "degC", "°c": "degC", "celsius": "degC", "deg c": "degC", "degc": "degC",
    "degrees c": "degC", "degree c": "degC", "degrees celsius": "degC", "k": "kelvin",
    "f": "degF", "°f": "degF", "fahrenheit": "degF", "deg f": "degF", "degf": "degF",
    "degrees f": "degF", "degree f": "degF", "degrees fahrenheit": "degF",
    "m3": "m**3", "m^3": "m**3", "m³": "m**3", "cubic metre": "m**3", "cubic metres": "m**3",
    "cubic meter": "m**3", "cubic meters": "m**3", "cu m": "m**3", "cbm": "m**3",
    "yd3": "yard**3", "yd^3": "yard**3", "cubic yard": "yard**3", "cubic yards": "yard**3",
    "cu yd": "yard**3", "ft3": "foot**3", "ft^3": "foot**3", "cubic foot": "foot**3",
    "cubic feet": "foot**3", "cu ft": "foot**3",
    "l": "litre", "litres": "litre", "liters": "litre", "liter": "litre", "ltr": "litre",
    "l/min": "litre/minute", "lpm": "litre/minute", "litres per minute": "litre/minute",
    "us gal": "US_liquid_gallon", "us gallon": "US_liquid_gallon",
    "us gallons": "US_liquid_gallon", "imp gal": "imperial_gallon",
    "imperial gallon": "imperial_gallon", "imperial gallons": "imperial_gallon",
    "uk gallon": "imperial_gallon", "uk gallons": "imperial_gallon", "uk gal": "imperial_gallon",
    "feet": "foot", "ft": "foot", "'": "foot", "in": "inch", "inches": "inch", '"': "inch",
    "yd": "yard", "yds": "yard", "yards": "yard", "cm": "cm", "mm": "mm", "metre": "m",
    "metres": "m", "meter": "m", "meters": "m", "kg": "kg", "kilo": "kg", "kilos": "kg",
    "t": "tonne", "tonnes": "tonne", "lb": "pound", "lbs": "pound", "pounds": "pound",
    "kg/m3": "kg/m**3", "lb/yd3": "pound/yard**3", "lb/ft3": "pound/foot**3", "g/l": "g/litre",
    "l/m3": "litre/m**3", "d": "day", "days": "day", "day": "day", "week": "week",
    "weeks": "week", "month": "month", "months": "month", "h": "hour", "hours": "hour",
    "min": "minute", "mins": "minute", "minutes": "minute", "mph": "mile/hour",
    "km/h": "km/hour", "kmh": "km/hour", "ppm": "ppm", "deg": "degree", "°": "degree",
    "um": "um", "µm": "um", "μm": "um", "micron": "um", "microns": "um", "ml": "ml",
    "mm2": "mm**2", "mm^2": "mm**2", "mm²": "mm**2", "um2": "um**2", "µm2": "um**2",
    "m2": "m**2", "m^2": "m**2", "m²": "m**2", "cm2": "cm**2", "k/w": "kelvin/watt",
    "m2k/w": "m**2*kelvin/watt", "m2 k/w": "m**2*kelvin/watt", "m²k/w": "m**2*kelvin/watt",
    "m² k/w": "m**2*kelvin/watt",
    "m/s": "m/s", "g/kg": "g/kg", "mg/g": "mg/g", "": "",
}  # fmt: skip
_AMBIGUOUS = {
    "gal": "gallon", "gallon": "gallon", "gallons": "gallon",
}  # fmt: skip
_TEMPERATURES = {"degC", "degF", "kelvin"}
#: Letters that say on which side of the equator or of Greenwich a place lies.
_SIDES = {
    ("latitude_deg", "n"): 1, ("latitude_deg", "s"): -1,
    ("longitude_deg", "e"): 1, ("longitude_deg", "w"): -1,
}  # fmt: skip
#: Factors of everyday units to the unit kept, so that a plain command need not load pint; a test
#: holds them against pint.
_EVERYDAY = {
    ("percent", ""): 0.01, ("cm", "m"): 0.01, ("mm", "m"): 0.001, ("m", "m"): 1.0,
    ("litre", "litre"): 1.0, ("litre", "m**3"): 0.001, ("m**3", "m**3"): 1.0, ("kg", "kg"): 1.0,
    ("day", "day"): 1.0, ("week", "day"): 7.0, ("hour", "day"): 1 / 24,
    ("minute", "minute"): 1.0, ("hour", "minute"): 60.0, ("litre/minute", "litre/minute"): 1.0,
    ("kg/m**3", "kg/m**3"): 1.0, ("degree", "degree"): 1.0, ("mm", "mm"): 1.0, ("m/s", "m/s"): 1.0,
}  # fmt: skip


@functools.cache
def _pint() -> Any:
    import pint

    registry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    registry.define("percent = 0.01 = %")
    return registry


def parse_number(text: str, *, field: str) -> float:
    """A plain number from text, with a decimal point or comma; raises `QuantityError`.

    >>> parse_number("12,5", field="volume")
    12.5
    """
    cleaned = str(text).strip().replace(" ", "")
    if re.fullmatch(_NUMBER, cleaned) is None:
        raise QuantityError(
            "a number was expected", field=field, value=text, way_out="Write it as 12.5 or 12,5"
        )
    if re.fullmatch(r"[-+]?[1-9]\d{0,2},\d{3}", cleaned):
        raise QuantityError(
            "this may be thousands or a decimal comma",
            field=field,
            value=text,
            way_out=f"Write {cleaned.replace(',', '')} or {cleaned.replace(',', '.')}",
        )
    return float(cleaned.replace(",", "."))


def parse(
    text: str | float,
    key: str,
    *,
    field: str | None = None,
    extra: Mapping[str, float] | None = None,
    default_unit: str | None = None,
) -> Ranged:
    """Text as people write it, as a `Ranged` in the unit of quantity *key*.

    Parameters
    ----------
    text : str or float
        ``"12 barrows"``, ``"45-55 %"``, ``"about 40 cm"``, ``"131 F"``, ``"50 ± 5 %"``; a bare
        number is in ``default_unit`` if given, else in the unit of the register row.
    key : str
        A key of `REGISTER`.
    field : str, optional
        The name to use in an error.
    extra : mapping of str to float, optional
        Units of the keeper's own (``{"barrow": 0.09}``), in the unit of the register row.
    default_unit : str, optional
        Unit of a number without one, in the same spelling as a typed unit.

    Returns
    -------
    Ranged
        ``about`` widens to +- 20 %. Checked against the range of the register row.

    Raises
    ------
    QuantityError
        No number, an unknown or unfitting unit, or a value out of range.

    Examples
    --------
    >>> parse("45-55 %", "moisture_wb")
    Ranged(typical=0.5, low=0.45, high=0.55)
    >>> round(parse("131 F", "temp_c").typical, 1)
    55.0
    >>> parse("8 C", "diff_c").typical, round(parse("14.4 F", "diff_c").typical, 6)
    (8.0, 8.0)
    """
    row = quantity(key)
    field = field or key
    if isinstance(text, bool):
        raise QuantityError("a number was expected", field=field, value=text)
    if isinstance(text, (int, float)):
        text = repr(text)
    typed = str(text).strip()
    feet = re.fullmatch(rf"({_NUMBER})\s*(?:ft|feet|')\s*({_NUMBER})\s*(?:in|inches|\")", typed)
    if feet:
        typed = f"{float(feet[1]) + float(feet[2]) / 12} ft"
    match = _RANGE.match(typed)
    if match is None or match["a"] is None:
        raise QuantityError(
            "no number found",
            field=field,
            value=text,
            way_out=f"Write a number and a unit, as in {_example(row)}",
        )
    unit = match["unit"].strip() or (default_unit or "")
    convert = _converter(unit, row, extra or {}, field, text)
    a = parse_number(match["a"], field=field)
    if match["b"]:
        b = parse_number(match["b"], field=field)
        low, high = convert(a), convert(b)
        typical = (low + high) / 2
        if low > high:
            raise QuantityError(
                "the first number of a range must be the smaller one",
                field=field, value=text, way_out="Write it as 45-55 %",
            )  # fmt: skip
    elif match["pm"]:
        pm = parse_number(match["pm"], field=field)
        typical, low, high = convert(a), convert(a - pm), convert(a + pm)
    elif match["about"]:
        typical, low, high = convert(a), convert(a * 0.8), convert(a * 1.2)
        low, high = min(low, high), max(low, high)
        low, high = max(low, row.low), min(high, row.high)
    else:
        typical = low = high = convert(a)
    for part in (typical, low, high):
        row.check(part, field=field, typed=text)
    return Ranged(typical, low, high)


def show(value: float, key: str, *, digits: int | None = None) -> str:
    """*value* of quantity *key* as it stands on a screen: rounded, with its unit.

    >>> show(0.5, "moisture_wb"), show(54.37, "temp_c")
    ('50 %', '54 C')
    """
    row = quantity(key)
    value = value * row.shown_factor
    if digits is None:
        size = abs(value)
        digits = 0 if size >= 20 or row.unit.endswith("degC") else 1 if size >= 1 else 2
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    if text == "-0":
        text = "0"
    return f"{text} {row.shown}".strip()


def two_digits(value: float) -> str:
    """*value* to two digits, written out: never as a power of ten, however large.

    >>> two_digits(0.367), two_digits(119.2), two_digits(2.0)
    ('0.37', '120', '2')
    """
    short = f"{value:.2g}"
    return f"{float(short):.0f}" if "e+" in short else short


def _converter(
    unit: str, row: Quantity, extra: Mapping[str, float], field: str, typed: object
) -> Any:
    """A function from numbers in the typed *unit* to numbers in the unit of *row*."""
    bare = unit.strip().lower().rstrip(".")
    for own, size in extra.items():
        if bare in (own, own + "s", own + "es"):
            return lambda number: number * size
    if bare == "":
        return lambda number: number
    side = _SIDES.get((row.key, bare.strip("° ")))
    if side is not None:
        return lambda number: _on_side(number, side, field, typed)
    measure = bare.partition("/")[0].strip()
    if measure in _AMBIGUOUS:
        raise QuantityError(
            f"a {_AMBIGUOUS[measure]} is 3.785 L in the US and 4.546 L in Britain",
            field=field,
            value=typed,
            way_out="Write US gal or imp gal, or litres",
        )
    name = _ALIASES.get(bare) or _ALIASES.get(bare.rstrip("s"))
    over, slash, under = bare.partition("/")
    if name is None and slash:
        top, bottom = (_ALIASES.get(part.strip()) for part in (over, under))
        name = f"{top}/{bottom}" if top and bottom else None
    if name is None:
        name = unit if re.fullmatch(r"[A-Za-z_]+[A-Za-z0-9_*/ ^]*", unit) else None
    everyday = _EVERYDAY.get((name or "", row.unit))
    if everyday is not None:
        return lambda number: number * everyday
    try:
        if name is None:
            raise ValueError
        if row.unit == "degC" and name in _TEMPERATURES:
            if name == "degC":
                return lambda number: number
            if name == "degF":
                return lambda number: (number - 32) / 1.8
            return lambda number: number - 273.15
        if row.unit == "delta_degC" and name in _TEMPERATURES:
            step = 1 / 1.8 if name == "degF" else 1.0
            return lambda number: number * step
        registry = _pint()
        target = registry.Unit(row.unit) if row.unit else registry.dimensionless
        source = registry.Unit(name)
        factor = float((1.0 * source).to(target).magnitude)
    except Exception:
        raise QuantityError(
            f"the unit {unit!r} does not fit {row.meaning}",
            field=field,
            value=typed,
            way_out=f"Write it as in {_example(row)}",
        ) from None
    return lambda number: number * factor


def _on_side(number: float, side: int, field: str, typed: object) -> float:
    """Degrees with their letter as degrees with their sign; both at once is refused."""
    if number < 0:
        raise QuantityError(
            "a minus and a letter both say the side",
            field=field,
            value=typed,
            way_out="Write 41.3 S or -41.3",
        )
    return number * side


def _example(row: Quantity) -> str:
    return {
        "degC": "55 C or 131 F", "delta_degC": "8 C or 14 F", "m**3": "1.2 m3 or 9 barrows",
        "litre": "80 litres or 5 US gal", "m": "40 cm or 3 ft", "day": "5 days", "kg": "12 kg",
        "minute": "20 minutes", "kg/m**3": "300 kg/m3", "litre/minute": "15 L/min",
        "kelvin/watt": "1.5 K/W", "m**2*kelvin/watt": "2 m2K/W", "m**2": "0.5 m2",
        "": "45 %" if row.shown == "%" else "30",
    }.get(row.unit, f"5 {row.shown}")  # fmt: skip


def _plain(value: float) -> str:
    return f"{value:g}"
