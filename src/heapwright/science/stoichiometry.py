"""What one kilogram of a substance takes and gives when it is oxidised, from its formula.

Units: kg per kg of substance, J/kg. Conventions: nitrogen leaves as ammonia, water is liquid:
CaHbOcNd + (a + (b - 3d)/4 - c/2) O2 -> a CO2 + (b - 3d)/2 H2O + d NH3. Heat follows from oxygen.
"""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass

from heapwright.errors import QuantityError
from heapwright.science.values import raw, value

__all__ = ["Oxidation", "formula", "higher_heat", "of_substance", "oxidation"]

_ELEMENTS = ("C", "H", "O", "N")


@dataclass(frozen=True, slots=True)
class Oxidation:
    """Complete oxidation of 1 kg: all in kg per kg of substance, heat in J/kg.

    oxygen taken; carbon_dioxide, water and ammonia given; carbon and nitrogen held.
    """

    oxygen: float
    carbon_dioxide: float
    water: float
    ammonia: float
    carbon: float
    nitrogen: float
    heat: float


@functools.cache
def formula(substance: str) -> str:
    """The formula of a named substance of ``kinetics.toml``; `QuantityError` if there is none.

    >>> formula("protein")
    'C16H24O5N4'
    """
    table = raw("kinetics")["formula"]
    if substance not in table:
        raise QuantityError(
            "no formula is kept for this substance",
            field="substance",
            value=substance,
            way_out="One of " + ", ".join(sorted(table)),
        )
    return str(table[substance]["formula"])


def _atoms(text: str) -> dict[str, float]:
    """Numbers of atoms of C, H, O and N in a formula without brackets."""
    if re.fullmatch(r"(?:[CHON](?:\d+(?:\.\d+)?)?)+", text) is None:
        raise QuantityError(
            "a formula of C, H, O and N was expected",
            field="formula",
            value=text,
            way_out="Write it as in C6H10O5",
        )
    counts = dict.fromkeys(_ELEMENTS, 0.0)
    for element, number in re.findall(r"([CHON])(\d+(?:\.\d+)?)?", text):
        counts[element] += float(number) if number else 1.0
    return counts


def _mass(element: str) -> float:
    return value("kinetics", f"molar_mass.{element.lower()}").value


def oxidation(text: str) -> Oxidation:
    """Complete oxidation of the substance with that formula, nitrogen leaving as ammonia.

    Raises `QuantityError` for what is no formula of C, H, O and N. Mass closes to the last digit
    (test_stoichiometry_closes). Source: balance of elements; heat per oxygen as in
    ``kinetics.toml``.

    >>> found = oxidation("C6H10O5")
    >>> round(found.oxygen, 2), round(found.carbon_dioxide, 2), round(found.water, 2)
    (1.18, 1.63, 0.56)
    """
    n = _atoms(text)
    c, h, o, nn = (_mass(e) for e in _ELEMENTS)
    total = n["C"] * c + n["H"] * h + n["O"] * o + n["N"] * nn
    free = n["H"] - 3 * n["N"]
    oxygen = (n["C"] + free / 4 - n["O"] / 2) * 2 * o / total
    return Oxidation(
        oxygen=oxygen,
        carbon_dioxide=n["C"] * (c + 2 * o) / total,
        water=free / 2 * (2 * h + o) / total,
        ammonia=n["N"] * (nn + 3 * h) / total,
        carbon=n["C"] * c / total,
        nitrogen=n["N"] * nn / total,
        heat=oxygen * value("kinetics", "heat_per_oxygen").value,
    )


@functools.cache
def of_substance(substance: str) -> Oxidation:
    """Oxidation of a named substance: carbohydrate, protein, fat, lignin, acid, bacteria, ...

    >>> round(of_substance("lignin").oxygen, 1)
    1.9
    """
    return oxidation(formula(substance))


def higher_heat(text: str) -> float:
    """Higher heating value [J/kg] of a formula, by Channiwala and Parikh 2002 (from memory).

    Within about 1.5 % for biomass (the authors); a second opinion on `Oxidation.heat`.

    >>> round(higher_heat("C6H10O5") / 1e6, 1)
    17.7
    """
    n = _atoms(text)
    total = sum(n[e] * _mass(e) for e in _ELEMENTS)
    names = {"C": "carbon", "H": "hydrogen", "O": "oxygen", "N": "nitrogen"}
    terms = (
        value("kinetics", f"higher_heat.{names[e]}").value * n[e] * _mass(e) / total
        for e in _ELEMENTS
    )
    return 1e6 * sum(terms)
