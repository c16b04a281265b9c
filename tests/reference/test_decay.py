"""Decay factors, temperature limits and stoichiometry against outside numbers.

Where a formula is quoted from memory, its evaluation is a check of arithmetic against a separate
evaluation, and says so in its source.
"""

from __future__ import annotations

import numpy as np
import pytest

from heapwright.errors import QuantityError
from heapwright.science import decay
from heapwright.science.stoichiometry import formula, higher_heat, of_substance, oxidation

HAUG = "Haug 1993 (formula from memory; evaluated apart from this code)"
NOKES = "Stombaugh and Nokes 1996 (from memory)"
HAUG_1980 = "Haug 1980 formulas, as in Polprasert 2007; numbers computed apart from this code"


@pytest.mark.reference(source=HAUG, where="k/k20 by temperature, as printed")
@pytest.mark.parametrize(
    ("temp_c", "factor", "tol"),
    [(5, 0.38, 0.005), (20, 1, 0.005), (40, 3.6, 0.06), (50, 6.7, 0.06), (60, 11.9, 0.06),
     (65, 15.2, 0.06), (80, 1.0, 0.4)],
)  # fmt: skip
def test_haug_temperature(temp_c: float, factor: float, tol: float) -> None:
    assert decay.haug_temperature(temp_c) == pytest.approx(factor, abs=tol)


@pytest.mark.reference(source=HAUG, where="peak 17.9 at 71-72 C")
def test_haug_temperature_peaks_too_hot_for_chips() -> None:
    temps = np.arange(60, 85, 0.1)
    found = decay.haug_temperature(temps)
    assert 70.5 <= temps[int(np.argmax(found))] <= 72.5
    assert found.max() == pytest.approx(17.9, abs=0.06)


@pytest.mark.reference(source=NOKES, where="T/30; 1 for 30-55 C; 2.833 - T/30 above, 0 at 85 C")
@pytest.mark.parametrize(
    ("temp_c", "factor"), [(0, 0), (15, 0.5), (30, 1), (42, 1), (55, 1), (70, 0.5), (85, 0)]
)
def test_stombaugh_temperature(temp_c: float, factor: float) -> None:
    assert decay.stombaugh_temperature(temp_c) == pytest.approx(factor, abs=0.001)


@pytest.mark.reference(source=NOKES, where="0 below 20 % wet basis, linear 20-40 %, 1 above")
@pytest.mark.parametrize(("wet", "factor"), [(0.1, 0), (0.2, 0), (0.3, 0.5), (0.4, 1), (0.7, 1)])
def test_stombaugh_moisture(wet: float, factor: float) -> None:
    assert decay.stombaugh_moisture(wet) == pytest.approx(factor, abs=1e-12)


@pytest.mark.reference(source=HAUG, where="moisture factor")
@pytest.mark.parametrize(
    ("wet", "factor"), [(0.30, 0.15), (0.40, 0.50), (0.45, 0.71), (0.50, 0.86), (0.60, 0.97)]
)
def test_haug_moisture(wet: float, factor: float) -> None:
    assert decay.haug_moisture(wet) == pytest.approx(factor, abs=0.006)


@pytest.mark.reference(source=HAUG, where="free air space factor")
@pytest.mark.parametrize(
    ("air", "factor"), [(0.10, 0.24), (0.15, 0.51), (0.20, 0.78), (0.25, 0.92), (0.30, 0.97)]
)
def test_haug_free_air(air: float, factor: float) -> None:
    assert decay.haug_free_air(air) == pytest.approx(factor, abs=0.006)


@pytest.mark.reference(source="Haug 1993 (from memory)", where="O2/(2 + O2), per cent by volume")
def test_haug_oxygen() -> None:
    assert decay.haug_oxygen(0.02) == 0.5
    assert decay.haug_oxygen(0.21) == pytest.approx(21 / 23, rel=1e-12)


@pytest.mark.reference(
    source="Richard, Walker and Gossett 2006 (abstract)",
    where="half-saturation -0.67 to 1.74 % by volume: the prior must reach down to what was seen",
)
def test_half_saturation_measured_is_within_a_factor_of_the_prior() -> None:
    low = decay.value("engine", "k_oxygen").low
    assert low <= 0.0174 <= decay.value("engine", "k_oxygen").high


@pytest.mark.reference(source="Miller 1989 (author from memory)", where="61 % wet basis at -20 kPa")
def test_matric_potential_moisture() -> None:
    assert decay.matric_moisture(-20.0) == pytest.approx(0.61, abs=0.005)
    assert decay.matric_moisture(0.0) == pytest.approx(0.6405, abs=1e-9)


@pytest.mark.reference(source="practice (form from memory)", where="1 at C:N <= 30, 30/(C:N) above")
@pytest.mark.parametrize(("ratio", "factor"), [(22, 1), (30, 1), (60, 0.5), (300, 0.1)])
def test_nitrogen_factor(ratio: float, factor: float) -> None:
    assert decay.nitrogen_factor(ratio) == pytest.approx(factor, rel=1e-12)


@pytest.mark.reference(
    source="Michel, Reddy and Forney 1993 (losses seen; rates computed)",
    where="losses over 43 days: cellulose, hemicellulose, acid-insoluble",
)
@pytest.mark.parametrize(
    ("lost", "rate"),
    [(0.61, 0.022), (0.74, 0.031), (0.78, 0.035), (0.57, 0.020), (0.79, 0.036), (0.82, 0.040),
     (0.40, 0.012), (0.49, 0.016), (0.42, 0.013)],
)  # fmt: skip
def test_rates_of_leaf_and_grass_fractions(lost: float, rate: float) -> None:
    assert decay.rate_from_loss(lost, days=43) == pytest.approx(rate, abs=0.0006)


@pytest.mark.reference(
    source="Forests 2022 13(3):459 (losses seen; rates computed)",
    where="poplar chips, dry matter lost 4.2, 6.4 and 9.8 % after 1, 2 and 4 weeks",
)
@pytest.mark.parametrize(("lost", "days", "rate"), [(4.2, 7, 61), (6.4, 14, 47), (9.8, 28, 37)])
def test_rate_of_poplar_chips(lost: float, days: float, rate: float) -> None:
    found = decay.rate_from_loss(lost / 100, days=days)
    assert found * 1e4 == pytest.approx(rate, abs=0.6)


# --- temperature limits --------------------------------------------------------------------------


@pytest.mark.reference(
    source="curve 2/57/78 evaluated apart from this code with the equation of Rosso et al. 1993",
    where="lumped single curve",
)
@pytest.mark.parametrize(
    ("temp_c", "factor"),
    [(20, 0.21), (30, 0.45), (40, 0.73), (50, 0.94), (55, 0.99), (60, 0.99), (65, 0.89),
     (70, 0.68), (75, 0.32)],
)  # fmt: skip
def test_lumped_curve(temp_c: float, factor: float) -> None:
    found = decay.cardinal(temp_c, decay.group_curve("lumped"))
    assert found == pytest.approx(factor, abs=0.006)


@pytest.mark.reference(source="Deacon, Fungal Biology, ch. 11", where="no fungus above 62-65 C")
@pytest.mark.parametrize("name", ["wood_fungi", "thermophilic_fungi"])
def test_no_fungus_lives_above_its_limit(name: str) -> None:
    assert decay.group_curve(name).t_max <= 62
    assert decay.cardinal(62.0, decay.group_curve(name)) == 0


@pytest.mark.reference(source="Deacon, Fungal Biology, ch. 11", where="highest temperatures")
@pytest.mark.parametrize(
    ("t_max", "species"),
    [(62, "Thermomyces lanuginosus"), (55, "Chaetomium thermophile"), (55, "Humicola insolens"),
     (52, "Aspergillus fumigatus"), (40, "Coprinus cinereus")],
)  # fmt: skip
def test_fungal_curves_span_the_species(t_max: float, species: str) -> None:
    highest = decay.group_curve("thermophilic_fungi").t_max
    cool = decay.group_curve("wood_fungi").t_max
    assert cool - 2 <= t_max <= highest + 2, species


@pytest.mark.reference(
    source="Tuomela et al. 2000, Biores. Technol. 72:169",
    where="thermophilic fungi and lignin decay best at 40-50 C",
)
def test_thermophilic_fungi_are_best_at_40_to_50() -> None:
    assert 40 <= decay.group_curve("thermophilic_fungi").t_opt <= 50


@pytest.mark.reference(
    source="Kaiser 1996; Sole-Mauri et al. 2007; general (from memory)",
    where="mesophilic 5 / 35-38 / 45-48, thermophilic 25-30 / 55-60 / 75-80 C",
)
def test_bacterial_curves_lie_in_the_general_ranges() -> None:
    cool, hot = decay.group_curve("mesophilic"), decay.group_curve("thermophilic")
    assert cool.t_min <= 5
    assert 35 <= cool.t_opt <= 38
    assert 45 <= cool.t_max <= 48
    assert 25 <= hot.t_min <= 30
    assert 55 <= hot.t_opt <= 60
    assert decay.value("kinetics", "curve.thermophilic.t_max").high >= 75


@pytest.mark.reference(
    source="Rosso, Lobry and Flandrois 1993, J. Theor. Biol. 162:447",
    where="value 1 and slope 0 at the best temperature, 0 at the ends",
)
@pytest.mark.parametrize(
    "name",
    ["mesophilic", "thermophilic", "thermophilic_actinomycetes", "wood_fungi",
     "thermophilic_fungi", "lumped"],
)  # fmt: skip
def test_cardinal_curve_has_its_properties(name: str) -> None:
    curve = decay.group_curve(name)
    assert decay.cardinal(curve.t_opt, curve) == pytest.approx(1.0, abs=1e-12)
    around = decay.cardinal(np.array([-0.01, 0.01]) + curve.t_opt, curve)
    assert abs(around[1] - around[0]) < 1e-6
    ends = np.array([curve.t_min - 5, curve.t_min, curve.t_max, curve.t_max + 5])
    assert decay.cardinal(ends, curve).tolist() == [0, 0, 0, 0]
    temps = np.linspace(curve.t_min, curve.t_max, 500)
    values = decay.cardinal(temps, curve)
    assert values.min() >= 0
    assert values.max() <= 1 + 1e-12
    assert (np.diff(np.sign(np.diff(values))) != 0).sum() == 1  # one hump


@pytest.mark.reference(
    source="Rosso, Lobry and Flandrois 1993", where="valid shape needs t_opt > (t_min + t_max)/2"
)
def test_curves_of_no_valid_shape_are_refused() -> None:
    with pytest.raises(QuantityError, match="above the middle"):
        decay.Cardinal(0, 20, 60)
    with pytest.raises(QuantityError, match="between"):
        decay.Cardinal(10, 50, 50)


# --- stoichiometry -------------------------------------------------------------------------------


@pytest.mark.reference(source=HAUG_1980, where="O2, CO2 and water kg/kg, C %, heat at 14 MJ/kg O2")
@pytest.mark.parametrize(
    ("substance", "o2", "co2", "water", "carbon", "heat"),
    [
        ("carbohydrate", 1.18, 1.63, 0.56, 44, 16.6),
        ("protein", 1.50, 2.00, 0.31, 55, 21.0),
        ("fat", 2.82, 2.80, 1.03, 76, 39.5),
        ("wood", 1.41, 1.87, 0.54, 51, 19.7),
        ("grass", 1.24, 1.69, 0.52, 46, 17.3),
        ("garbage", 1.59, 1.95, 0.60, 53, 22.3),
        ("bacteria", 1.41, 1.95, 0.32, 53, 19.8),
        ("fungi", 1.36, 1.78, 0.51, 49, 19.0),
    ],
)
def test_stoichiometry(
    substance: str, o2: float, co2: float, water: float, carbon: float, heat: float
) -> None:
    found = of_substance(substance)
    assert found.oxygen == pytest.approx(o2, abs=0.0055)
    assert found.carbon_dioxide == pytest.approx(co2, abs=0.0055)
    assert found.water == pytest.approx(water, abs=0.0055)
    assert 100 * found.carbon == pytest.approx(carbon, abs=0.6)
    assert found.heat / 1e6 == pytest.approx(heat, abs=0.06)
    given = found.carbon_dioxide + found.water + found.ammonia
    assert given == pytest.approx(1 + found.oxygen, rel=1e-12)


@pytest.mark.reference(source="Channiwala and Parikh 2002 (from memory)", where="HHV MJ/kg")
@pytest.mark.parametrize(
    ("substance", "heat"),
    [("carbohydrate", 17.7), ("protein", 24.5), ("fat", 38.9), ("wood", 20.5), ("grass", 18.9),
     ("garbage", 23.7), ("bacteria", 22.8), ("fungi", 21.0)],
)  # fmt: skip
def test_higher_heat_is_a_second_opinion(substance: str, heat: float) -> None:
    found = higher_heat(formula(substance)) / 1e6
    assert found == pytest.approx(heat, abs=0.06)
    assert of_substance(substance).heat / 1e6 == pytest.approx(found, rel=0.15)


@pytest.mark.reference(source="general: lignin 1.9 kg O2/kg (from memory)", where="lignin")
def test_lignin() -> None:
    assert of_substance("lignin").oxygen == pytest.approx(1.9, abs=0.05)
    assert of_substance("lignin").carbon == pytest.approx(0.65, abs=0.02)


@pytest.mark.reference(
    source="Emerson et al. 1975 (from memory)", where="pKa of ammonium 9.25 at 25 C (any handbook)"
)
def test_ammonium_acid_constant() -> None:
    half = decay.ammonia_partition(25.0, ph=9.25) / decay.ammonia_partition(25.0, ph=14.0)
    assert half == pytest.approx(0.5, abs=0.005)


def test_what_is_no_substance_is_refused() -> None:
    with pytest.raises(QuantityError, match="One of acid"):
        formula("granite")
    with pytest.raises(QuantityError, match="formula"):
        oxidation("NaCl")
    with pytest.raises(QuantityError, match="above 0"):
        decay.monod(0.1, half=0.0)
    with pytest.raises(QuantityError, match="loss"):
        decay.rate_from_loss(1.0, days=3)
    with pytest.raises(QuantityError, match="C:N"):
        decay.nitrogen_factor(0.0)
    with pytest.raises(QuantityError, match="One of mesophilic"):
        decay.group_curve("yeasts")
