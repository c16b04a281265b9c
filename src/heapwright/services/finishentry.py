"""Tests of finish as people write them down, read into the number that is kept.

Units: those of the register rows (degrees C, mg CO2-C per g of organic matter and day, mg O2 per g
of organic matter and hour, mg/kg of dry matter, shares 0 to 1, scores). Conventions: the text stays
as typed and is read again for what the one number does not hold (dishes, pots, meshes, the
control); what was converted is said.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from heapwright.errors import EntryError, InputError
from heapwright.science import finish
from heapwright.science.finish import Dish
from heapwright.units import parse, parse_number, show

__all__ = [
    "READERS",
    "SIGNS",
    "WORDS",
    "Counted",
    "Pots",
    "Sieved",
    "read_counts",
    "read_pots",
    "read_sieve",
    "read_test",
]

#: Friendly names of the tests of finish, beside those of `doings.SAMPLE_WORDS`.
WORDS: dict[str, str] = {
    "reheating": "reheat_c", "self-heating": "reheat_c", "self heating": "reheat_c",
    "dewar": "reheat_c", "respiration": "respiration", "breathing": "respiration",
    "co2 test": "respiration", "oxygen uptake": "oxygen_uptake", "sour test": "sour",
    "at4": "at4", "germination index": "germination_index", "cress": "germination_index",
    "cress test": "germination_index", "gi": "germination_index", "emergence": "emergence",
    "seedlings against control": "emergence", "vigour": "vigour", "vigor": "vigour",
    "bean test": "bean_signs", "beans": "bean_signs", "bean pots": "bean_signs",
    "pea pots": "bean_signs", "ammonium": "nh4_n_mg_kg", "ammonia": "nh4_n_mg_kg",
    "nh4-n": "nh4_n_mg_kg", "nitrate": "no3_n_mg_kg", "no3-n": "no3_n_mg_kg",
    "ammonium over nitrate": "nh4_no3_ratio", "nh4:no3": "nh4_no3_ratio",
    "fatty acids": "vfa_mg_kg", "vfa": "vfa_mg_kg", "salts": "salts_ds_m",
    "salt": "salts_ds_m", "conductivity": "salts_ds_m", "ec": "salts_ds_m",
    "smell": "smell_score", "look": "look_score", "sieve": "overs_frac", "overs": "overs_frac",
}  # fmt: skip
#: How strong signs in a bean pot are, by the score kept.
SIGNS: tuple[str, ...] = ("none", "slight", "moderate", "severe")
_N = r"\d+(?:[.,]\d+)?"
_MG = {"mg": 1.0, "ug": 0.001}
_PER_G = {"g": 1.0, "kg": 1000.0}
_PER_DAY = {"d": 1.0, "day": 1.0, "h": 24.0, "hour": 24.0, "hr": 24.0}
_MG_O2_PER_MMOL = 32.0
_MG_C_PER_MMOL = 12.0


@dataclass(frozen=True, slots=True)
class Counted:
    """Dishes or pots of one entry: those with compost, and those of the control."""

    dishes: tuple[Dish, ...]
    controls: tuple[Dish, ...]


@dataclass(frozen=True, slots=True)
class Pots:
    """Bean pots of one entry: scores 0 to 3, of the control pots too, and the control's seeds that
    came up out of those sown (None: not written down)."""

    scores: tuple[int, ...]
    controls: tuple[int, ...]
    control_up: Dish | None


@dataclass(frozen=True, slots=True)
class Sieved:
    """What stayed on each mesh [mm to kg] and in the pan [kg]; or only a share over one mesh."""

    curve: tuple[tuple[float, float], ...]

    @property
    def overs(self) -> tuple[float, float]:
        """The finest mesh [mm] and the share of the mass over it."""
        mesh, finer = self.curve[-1]
        return mesh, 1.0 - finer


def read_test(
    key: str, text: str, *, basis: str = "", field: str | None = None, unit: str | None = None
) -> tuple[float, str]:
    """A test of finish as the number that is kept, and what must be said about it ("" if nothing).

    Parameters
    ----------
    key : str
        A key of `READERS`.
    text : str
        As written: "peak 46 C, air 22 C", "16 mg CO2/g/d", "18/20 24 mm, control 20/20 30 mm".
    basis : str, optional
        As given: ``co2`` or ``co2-c`` for breathing, ``wet`` is refused for ppm.
    field : str, optional
        The name to use in an error.
    unit : str, optional
        Unit of a number without one.

    Raises
    ------
    EntryError, QuantityError
        A text that cannot be read, or a value out of range.

    Examples
    --------
    >>> read_test("reheat_c", "peak 46 C, air 22 C")[0]
    24.0
    >>> value, said = read_test("respiration", "16 mg CO2/g/d")
    >>> round(value, 2), said
    (4.36, '16 mg CO2 is 4.36 mg CO2-C (times 12/44)')
    """
    try:
        return READERS[key](key, text.strip(), basis.strip().lower(), field or key, unit or "")
    except EntryError:
        raise
    except InputError as error:
        raise EntryError(
            error.what, field=field or key, value=text, way_out=error.way_out
        ) from None


# --- heat and gas ---------------------------------------------------------------------------------


def _reheat(key: str, text: str, basis: str, field: str, unit: str) -> tuple[float, str]:
    found = {
        name: re.search(rf"\b{name}\b\s*:?\s*(-?{_N})\s*(?:deg(?:rees)?\s*|°\s*)?([CF]?)\b",
                        text, re.IGNORECASE)
        for name in ("peak", "air")
    }  # fmt: skip
    peak, air = found["peak"], found["air"]
    if peak is None and air is None:
        bare = re.sub(r"\b(?:degrees?|deg)\b\.?(?!\s*[CF]\b)", "", text, flags=re.IGNORECASE)
        rise = parse(bare.strip(), key, field=field, default_unit=unit or None).typical
        _not_below_air(rise, text, field)
        return rise, f"class {finish.dewar_class(rise)} of the Dewar test"
    if peak is None or air is None:
        raise EntryError(
            "a peak is held against the air beside the vessel", field=field, value=text,
            way_out='Write "peak 46 C, air 22 C", or the rise alone, as in "24 C"',
        )  # fmt: skip
    # a letter that stands at one of the two holds for both
    letter = (peak[2] or air[2] or unit or "C").upper()
    high = parse(f"{peak[1]} {peak[2] or letter}", "temp_c", field=field).typical
    low = parse(f"{air[1]} {air[2] or letter}", "air_temp_c", field=field).typical
    rise = round(high - low, 6)
    _not_below_air(rise, text, field)
    parse(rise, key, field=field)
    return rise, (
        f"it warmed {show(rise, key)} above air: class {finish.dewar_class(rise)} of the Dewar test"
    )


def _not_below_air(rise: float, text: str, field: str) -> None:
    """Refuse a peak that lies below air by more than thermometers are off."""
    if rise < -finish.number("below_air_c").value:
        raise EntryError(
            "the peak lies below the air: were the two exchanged, or had the vessel not warmed "
            "through?", field=field, value=text,
            way_out='Write "peak 46 C, air 22 C", both read once the vessel had warmed through',
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Gas:
    """A rate: its number as written and per g and day, its gas ("" not said), whether in mmol,
    and whether no unit was written."""

    number: float
    per_g_day: float
    gas: str
    moles: bool
    bare: bool


_GAS = r"co2\s*-?\s*c|co2|o2"
_ORGANIC = (
    r"(?:\s*(?:of\s+)?(?:om|vs|organic\s+matter|volatile\s+solids)"
    r"|\s*\((?:om|vs|organic\s+matter)\))?"
)
_RATE = re.compile(
    rf"(?:(?P<before>{_GAS})\s*:?\s+)?(?P<number>-?{_N})\s*(?P<unit>mg|ug|mmol)\s*"
    rf"(?P<gas>{_GAS})?\s*(?:/|\bper\b)\s*(?P<mass>kg|g)\b{_ORGANIC}"
    r"\s*(?:/|\bper\b|\band\b)\s*(?P<time>day|d|hour|hr|h)\b",
    re.IGNORECASE,
)
_JAR = re.compile(
    r"[\s,;]*(?:\(?\b(?:in|from)?\s*(?:an?\s+)?(?:sealed\s+)?jar\)?)\s*$", re.IGNORECASE
)
#: What a rate may not count per, and what it is then called.
_OTHER_MASS = re.compile(r"(?:\b|(?<=[\d/]))(?:dm|dw|fm|fw|ts|dry|fresh|wet|soil)\b", re.IGNORECASE)


def _rate(text: str, unit: str, field: str, example: str) -> _Gas:
    """A rate of gas, the whole text against one pattern; raises `EntryError` for anything else."""
    plain = _JAR.sub("", text.translate(str.maketrans("₂µμ", "2uu")).strip())
    bare = re.fullmatch(rf"-?{_N}", plain) is not None
    if bare and not unit.strip():
        number = parse_number(plain, field=field)
        return _Gas(number, number, "", moles=False, bare=True)
    said = f"{plain} {unit.translate(str.maketrans('₂µμ', '2uu')).strip()}" if bare else plain
    found = _RATE.fullmatch(said)
    if found is None and _OTHER_MASS.search(said):
        raise EntryError(
            "the published classes count per g of organic matter", field=field, value=text,
            way_out="Divide by the share of organic matter (100 % less the ash) and write it as in "
            f'"{example}"',
        )  # fmt: skip
    if found is None:
        raise EntryError(
            "this cannot be read as one number with mg, ug or mmol, per g or kg of organic matter, "
            "and per day or hour", field=field, value=text, way_out=f'Write it as in "{example}"',
        )  # fmt: skip
    before, gas = (re.sub(r"[\s-]", "", found[g] or "").lower() for g in ("before", "gas"))
    if before and gas and before != gas:
        raise EntryError(
            "two gases are named", field=field, value=text, way_out=f'Write it as in "{example}"'
        )
    number = parse_number(found["number"], field=field)
    rate = number * _MG.get(found["unit"].lower(), 1.0) / _PER_G[found["mass"].lower()]
    rate *= _PER_DAY[found["time"].lower()]
    return _Gas(
        number, round(rate, 12), before or gas, moles=found["unit"].lower() == "mmol", bare=False
    )


def _breath(key: str, text: str, basis: str, field: str, unit: str) -> tuple[float, str]:
    """Carbon dioxide as mg CO2-C per g of organic matter and day; a millimole is 12 mg of it."""
    example = finish.assay(key).typed
    rate = _rate(text, unit, field, example)
    given = {"co2": "co2", "co2-c": "co2c", "c": "co2c"}.get(basis, "")
    if rate.gas == "o2":
        raise EntryError(
            "this is oxygen, and breathing is counted in carbon dioxide", field=field, value=text,
            way_out=f'Log it as oxygen uptake, or write it as in "{example}"',
        )  # fmt: skip
    if rate.gas and given and rate.gas != given:
        raise EntryError(
            "the text and the basis name two gases, which differ 3.67 times", field=field,
            value=f"{text}, basis {basis}", way_out=f'Leave the basis out, as in "{example}"',
        )  # fmt: skip
    gas = rate.gas or given
    if not gas:
        raise EntryError(
            "it is not said whether this is carbon dioxide or its carbon, which differ 3.67 times",
            field=field, value=text,
            way_out="Write 16 mg CO2/g/d, or 4.4 mg CO2-C/g/d (both per g of organic matter)",
        )  # fmt: skip
    amount = rate.per_g_day
    if rate.moles:
        value = amount * _MG_C_PER_MMOL
        remark = f"{text} is {value:.3g} mg CO2-C per g and day (12 mg of carbon in a millimole)"
    elif gas == "co2":
        value = finish.co2_c(amount)
        remark = f"{amount:.3g} mg CO2 is {value:.3g} mg CO2-C (times 12/44)"
    else:
        value = amount
        same = math.isclose(value, rate.number)
        remark = "" if same else f"{text} is {value:.3g} mg CO2-C per g and day"
    if rate.bare:
        remark += ("; " if remark else "") + "taken as mg per g of organic matter and day"
    if "jar" in text.lower():
        remark += ("; " if remark else "") + "a sealed jar ranks heaps and gives no class"
    return parse(value, key, field=field).typical, remark


def _oxygen(key: str, text: str, basis: str, field: str, unit: str) -> tuple[float, str]:
    """Oxygen as mg per g of organic matter and hour; a millimole is 32 mg of it."""
    example = finish.assay(key).typed
    rate = _rate(text, unit, field, example)
    if rate.gas not in ("", "o2") or basis not in ("", "o2"):
        raise EntryError(
            "oxygen is counted here, not carbon dioxide", field=field,
            value=f"{text}, basis {basis}" if basis else text,
            way_out=f'Log it as respiration, or write it as in "{example}"',
        )  # fmt: skip
    if rate.bare:
        said = "taken as mg O2 per g of organic matter and hour"
        return parse(rate.per_g_day, key, field=field).typical, said
    value = rate.per_g_day / _PER_DAY["h"] * (_MG_O2_PER_MMOL if rate.moles else 1.0)
    value = round(value, 12)  # a limit of 25 mmol/kg/h is kept by just that
    parse(value, key, field=field)
    same = math.isclose(value, rate.number)
    return value, "" if same else f"{text} is {value:.3g} mg O2 per g and hour"


def _four_days(key: str, text: str, basis: str, field: str, unit: str) -> tuple[float, str]:
    """Oxygen of four days as mg per g of dry matter."""
    bare = re.sub(r"\s*mg\s*o(?:2|₂)\s*/\s*g\s*(?:dm|dry matter|ts)?\s*$", "", text,
                  flags=re.IGNORECASE)  # fmt: skip
    return parse(bare, key, field=field).typical, ""


def _ppm(key: str, text: str, basis: str, field: str, unit: str) -> tuple[float, str]:
    """mg/kg of dry matter; on wet basis it is refused, because no dry share is known here."""
    if basis == "wet" or re.search(r"\b(?:wet|as is|as received|fresh)\b", text, re.IGNORECASE):
        raise EntryError(
            "the published classes count in the dry matter", field=field, value=text,
            way_out="Divide by the share of dry matter: 200 ppm wet at 60 % water is 500 ppm dry",
        )  # fmt: skip
    bare = re.sub(r"\b(?:dry(?: matter| basis)?|dm|d\.m\.)\b\.?", "", text, flags=re.IGNORECASE)
    return parse(bare.strip(), key, field=field, default_unit=unit or None).typical, ""


# --- seeds ----------------------------------------------------------------------------------------


def read_counts(text: str) -> Counted | None:
    """Dishes and controls of a text, as in ``18/20 24 mm, control 20/20 30 mm``; None where it
    holds no counts (a laboratory's per cent).

    Raises `EntryError` for counts that cannot be.

    >>> read_counts("18/20 24 mm, control 20/20 30 mm").controls
    (Dish(up=20, sown=20, length_mm=30.0),)
    """
    dishes: list[Dish] = []
    controls: list[Dish] = []
    into = dishes
    shape = re.compile(
        rf"(?P<control>controls?)|(?P<up>\d+)\s*(?:/|of|out of)\s*(?P<sown>\d+)"
        rf"(?:\s*(?:seeds|up|at|@|mean)?\s*(?P<mm>{_N})\s*(?P<unit>mm|cm))?",
        re.IGNORECASE,
    )
    try:
        for found in shape.finditer(text):
            if found["control"]:
                into = controls
                continue
            length = None
            if found["mm"]:
                length = parse_number(found["mm"], field="length")
                length *= 10.0 if found["unit"].lower() == "cm" else 1.0
            into.append(Dish(int(found["up"]), int(found["sown"]), length))
    except InputError as error:
        raise EntryError(
            error.what, field=error.field, value=error.value, way_out=error.way_out
        ) from None
    return Counted(tuple(dishes), tuple(controls)) if dishes or controls else None


def _index(key: str, text: str, basis: str, field: str, unit: str) -> tuple[float, str]:
    counted = read_counts(text)
    if counted is None:
        _only_share(text, field, "18/20 24 mm, control 20/20 30 mm")
        value = parse(text, key, field=field, default_unit=unit or "%").typical
        return value, "nothing is known of the control, which a laboratory looks at itself"
    value = finish.germination_index(counted.dishes, counted.controls)
    return parse(value, key, field=field).typical, (
        f"germination index {value:.0%}{_weak_control(counted)}".replace("%", " %")
    )


def _vigour(key: str, text: str, basis: str, field: str, unit: str) -> tuple[float, str]:
    """Mean length of the seedlings over that of the control's."""
    counted = read_counts(text)
    if counted is None:
        return _of_control(key, text, basis, field, unit)
    value = finish.vigour(counted.dishes, counted.controls)
    said = f"length {value:.0%} of the control{_weak_control(counted)}".replace("%", " %")
    return parse(value, key, field=field).typical, said


def _of_control(key: str, text: str, basis: str, field: str, unit: str) -> tuple[float, str]:
    """Seedlings of compost over those of the control, as a share."""
    counted = read_counts(text)
    if counted is None:
        example = "58/60 20 mm, control 60/60 24 mm" if key == "vigour" else "14/15, control 15/15"
        _only_share(text, field, example)
        bare = re.sub(r"\bof (?:the )?control\b", "", text, flags=re.IGNORECASE).strip()
        return parse(bare, key, field=field, default_unit=unit or "%").typical, ""
    if not counted.dishes or not counted.controls:
        raise EntryError(
            "seedlings are held against a control sown the same day", field=field, value=text,
            way_out="Write 14/15, control 15/15; without a control log them as: seedlings",
        )  # fmt: skip
    test, control = finish.pooled(counted.dishes), finish.pooled(counted.controls)
    if control.up == 0:
        raise EntryError(
            "nothing came up in the control, so there is nothing to hold it against",
            field=field, value=text, way_out="Sow again with fresh seed",
        )  # fmt: skip
    value = (test.up / test.sown) / (control.up / control.sown)
    said = f"{value:.0%} of the control{_weak_control(counted)}".replace("%", " %")
    return parse(value, key, field=field).typical, said


def _only_share(text: str, field: str, example: str) -> None:
    """Refuse words beside a share: a dish that was not understood is not dropped in silence."""
    if re.search(r"\bcontrol\b(?! *$)|\bmm\b|\bcm\b|/", re.sub(r"of (the )?control", "", text)):
        raise EntryError(
            "the dishes cannot be read", field=field, value=text, way_out=f"Write {example}"
        )


def _weak_control(counted: Counted) -> str:
    """A warning where the control germinated too poorly to hold anything against."""
    control = finish.pooled(counted.controls)
    share, least = control.up / control.sown, finish.number("control_up").ranged
    if share < least.low:
        return (
            f", but only {control.up} of {control.sown} came up in the control: it does not count"
        )
    if share < least.high:
        return f"; {control.up} of {control.sown} in the control are few"
    return ""


# --- bean pots, sieve, scores ---------------------------------------------------------------------


def read_pots(text: str) -> Pots:
    """Scores of bean pots: ``none slight, control none none none, control up 9/9``.

    Words or 0 to 3. Raises `EntryError`.

    >>> read_pots("0 1 2, control 0 0 0, control up 9/9").scores
    (0, 1, 2)
    """
    up = re.search(r"\b(?:controls?\s*)?(?:up|came up)\s*:?\s*(\d+)\s*(?:/|of)\s*(\d+)", text,
                   re.IGNORECASE)  # fmt: skip
    rest = text.replace(up[0], " ") if up else text
    pots: list[int] = []
    controls: list[int] = []
    into = pots
    for word in re.findall(r"[a-z]+|\d+(?:[./]\d+)*", rest.lower()):
        if word in ("control", "controls"):
            into = controls
        elif word in ("pots", "pot", "and"):
            continue
        elif word in SIGNS or word in ("0", "1", "2", "3"):
            into.append(SIGNS.index(word) if word in SIGNS else int(word))
        else:
            raise EntryError(
                "a pot is scored none, slight, moderate or severe", field="pots", value=word,
                way_out="Write none slight none, control none none none, control up 9/9",
            )  # fmt: skip
    if not pots:
        raise EntryError(
            "no pot with compost was scored", field="pots", value=text,
            way_out="Write none slight none, control none none none, control up 9/9",
        )  # fmt: skip
    try:
        grown = Dish(int(up[1]), int(up[2])) if up else None
    except InputError as error:
        raise EntryError(
            error.what, field="control up", value=error.value, way_out=error.way_out
        ) from None
    return Pots(tuple(pots), tuple(controls), grown)


def _beans(key: str, text: str, basis: str, field: str, unit: str) -> tuple[float, str]:
    if re.fullmatch(r"[0-3](?:\.\d+)?", text):  # a bare score, as a sheet keeps it
        text = f"{round(float(text))}"
    pots = read_pots(text)
    level, doubt = finish.signs(pots.scores, pots.controls)
    said = f"{SIGNS[int(level)]} signs" + (f", unsure: {doubt}" if doubt else "")
    if pots.control_up is None:
        said += (
            '; add how many of the control came up, as in "control up 9/9", or it does not count'
        )
    return level, said


def read_sieve(text: str) -> Sieved | None:
    """What a sieve gave: ``25 mm 0.4 kg, 12 mm 1.1 kg, pan 6.5 kg`` or ``12 % over 10 mm``; None
    for a share without a mesh.

    Raises `EntryError` for meshes without a pan and `InputError` for masses that cannot be.

    >>> read_sieve("12 % over 10 mm").overs[0]
    10.0
    """
    over = re.fullmatch(rf"\s*({_N})\s*%\s*(?:over|on|above)\s*({_N})\s*mm\s*", text, re.IGNORECASE)
    if over is not None:
        share = parse(f"{over[1]} %", "overs_frac").typical
        return Sieved(((parse_number(over[2], field="mesh"), 1.0 - share),))
    meshes = re.findall(rf"({_N})\s*mm\s*:?\s*({_N})\s*(kg|g)\b", text, re.IGNORECASE)
    if not meshes:
        return None
    pan = re.search(rf"\b(?:pan|through|finer|rest)\s*:?\s*({_N})\s*(kg|g)\b", text, re.IGNORECASE)
    if pan is None:
        raise EntryError(
            "what fell through is missing", field="pan", value=text,
            way_out="Write 25 mm 0.4 kg, 12 mm 1.1 kg, pan 6.5 kg",
        )  # fmt: skip
    kept: dict[float, float] = {}
    for mesh, mass, unit in meshes:
        at = parse_number(mesh, field="mesh")
        kept[at] = kept.get(at, 0.0) + _kg(mass, unit)
    return Sieved(finish.sieve_curve(kept, _kg(pan[1], pan[2])))


def _kg(mass: str, unit: str) -> float:
    return parse_number(mass, field="mass") * (0.001 if unit.lower() == "g" else 1.0)


def _sieve(key: str, text: str, basis: str, field: str, unit: str) -> tuple[float, str]:
    sieved = read_sieve(text)
    if sieved is None:
        return parse(text, key, field=field, default_unit=unit or "%").typical, (
            "the mesh is not said: write 12 % over 10 mm"
        )
    mesh, share = sieved.overs
    return share, f"{share:.0%} of the mass stayed over {mesh:g} mm".replace("%", " %")


def _score(key: str, text: str, basis: str, field: str, unit: str) -> tuple[float, str]:
    found = re.fullmatch(r"([1-5](?:[.,]5)?)(?:\s*(?:/|of)\s*5)?", text)
    if found is None:
        raise EntryError(
            "a score is a number from 1 to 5", field=field, value=text,
            way_out=finish.assay(key).how,
        )  # fmt: skip
    return parse_number(found[1], field=field), ""


def _plain(key: str, text: str, basis: str, field: str, unit: str) -> tuple[float, str]:
    return parse(text, key, field=field, default_unit=unit or None).typical, ""


Reader = Callable[[str, str, str, str, str], tuple[float, str]]
#: How the text of each test is read.
READERS: Mapping[str, Reader] = {
    "reheat_c": _reheat, "respiration": _breath, "oxygen_uptake": _oxygen, "sour": _oxygen,
    "at4": _four_days, "germination_index": _index, "emergence": _of_control, "vigour": _vigour,
    "bean_signs": _beans, "nh4_n_mg_kg": _ppm, "no3_n_mg_kg": _ppm, "vfa_mg_kg": _ppm,
    "nh4_no3_ratio": _plain, "salts_ds_m": _plain, "smell_score": _score, "look_score": _score,
    "overs_frac": _sieve,
}  # fmt: skip
