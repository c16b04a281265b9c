"""Hyphae and cells under a microscope: lengths and counts into volumes, masses, and their ratio.

Units: hyphae and cells in micrometres, fields in mm2, lengths in a field in mm, suspensions in mL,
masses in mg a gram of dry compost. Conventions: thickness goes in as the mean square, since volume
goes with the square; a ratio is given only where its denominator is clear of zero; factors are
published numbers (values/microscopy.toml) that differ between workers, so answers carry their band.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from heapwright.errors import NotEnoughError, QuantityError
from heapwright.science.values import value
from heapwright.units import Ranged

__all__ = [
    "FACTOR_FOLD",
    "active_hyphae_mg",
    "carbon_fg",
    "coccus_volume",
    "crossed_length",
    "dry_mass_mg",
    "hypha_volume",
    "mass_factor_ratio",
    "mean_diameter",
    "mean_of_fields",
    "per_gram",
    "ratio_of_fields",
    "rod_volume",
    "root_mean_square_diameter",
    "spread_of_fields",
]

_FILE = "microscopy"
_UM3_PER_CM3 = 1e12
_FEWEST_FIELDS = 2


def _above_zero(name: str, number: float) -> float:
    if math.isfinite(number) and number > 0:
        return float(number)
    raise QuantityError("it must be above 0", field=name, value=f"{number:g}",
                        way_out="Measure it again, or leave it out")  # fmt: skip


def _not_below_zero(name: str, number: float) -> float:
    if math.isfinite(number) and number >= 0:
        return float(number)
    raise QuantityError("it is not below 0", field=name, value=f"{number:g}",
                        way_out="Write 0 where nothing was seen")  # fmt: skip


# --- volumes -------------------------------------------------------------------------------------


def hypha_volume(length_um: float, diameter_um: float) -> float:
    """Volume [um3] of a hypha, pi (d/2)^2 L, from its length >= 0 and diameter > 0 [um].

    Raises `QuantityError` outside. A cylinder; standard in the field (van Veen and Paul 1979).

    >>> round(hypha_volume(100.0, 2.0), 2)
    314.16
    """
    d = _above_zero("diameter", diameter_um)
    return math.pi * (d / 2) ** 2 * _not_below_zero("length", length_um)


def rod_volume(length_um: float, diameter_um: float) -> float:
    """Volume [um3] of a rod with round ends, pi (d/2)^2 (l - d/3), l >= d > 0 [um] over all.

    Raises `QuantityError` for a rod shorter than wide. A cylinder with two half spheres.

    >>> round(rod_volume(2.0, 0.5), 4)
    0.36
    """
    d = _above_zero("diameter", diameter_um)
    if not length_um >= d:
        raise QuantityError("a rod is at least as long as wide", field="rod", way_out=
                            "Write the length first, as in rod 1.2 x 0.6 um",
                            value=f"{length_um:g} x {d:g} um")  # fmt: skip
    return math.pi * (d / 2) ** 2 * (length_um - d / 3)


def coccus_volume(diameter_um: float) -> float:
    """Volume [um3] of a round cell, pi d^3/6, d > 0 [um]; `QuantityError` otherwise.

    >>> round(coccus_volume(1.0), 4)
    0.5236
    """
    return math.pi * _above_zero("diameter", diameter_um) ** 3 / 6


def _lengths(lengths: ArrayLike, diameters_um: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    long = np.atleast_1d(np.asarray(lengths, dtype=np.float64))
    wide = np.atleast_1d(np.asarray(diameters_um, dtype=np.float64))
    if long.shape != wide.shape or not long.size:
        raise QuantityError("each piece of hypha has a length and a diameter", field="pieces",
                            value=f"{long.size} lengths, {wide.size} diameters",
                            way_out="Write both, as in 0.4 mm at 4 um")  # fmt: skip
    if not (np.isfinite(long).all() and np.isfinite(wide).all() and (long > 0).all()
            and (wide > 0).all()):  # fmt: skip
        raise QuantityError("lengths and diameters are above 0", field="pieces",
                            way_out="Leave out what was not measured")  # fmt: skip
    return long, wide


def root_mean_square_diameter(lengths: ArrayLike, diameters_um: ArrayLike) -> float:
    """Diameter [um] of a hypha as long and as voluminous as all pieces together.

    The square root of the mean square, weighted by length (any unit, > 0); diameters > 0 [um].
    Raises `QuantityError` where they do not match. Worked example in reference/standards.md,
    section 8 (computed).

    >>> round(root_mean_square_diameter([1, 0.4, 2], [5, 4, 8]), 2)
    6.85
    """
    long, wide = _lengths(lengths, diameters_um)
    return float(np.sqrt((long * wide**2).sum() / long.sum()))


def mean_diameter(lengths: ArrayLike, diameters_um: ArrayLike) -> float:
    """Plain mean diameter [um], weighted by length: too small for a volume, shown beside.

    >>> round(mean_diameter([1, 0.4, 2], [5, 4, 8]), 2)
    6.65
    """
    long, wide = _lengths(lengths, diameters_um)
    return float((long * wide).sum() / long.sum())


def crossed_length(crossings: float, field_mm2: float, grid_mm: float) -> float:
    """Length of hyphae in a field [mm] from crossings with the lines of a grid: pi N A/(2 H).

    crossings >= 0; field_mm2 : area of the field, > 0; grid_mm : length of all lines of the grid in
    it together, > 0. Hyphae must lie in every direction alike. Source: Olson 1950 (name seen,
    formula from memory).

    >>> round(crossed_length(10, 0.16, 4.0), 3)
    0.628
    """
    n = _not_below_zero("crossings", crossings)
    return math.pi * n * _above_zero("field", field_mm2) / (2 * _above_zero("grid", grid_mm))


# --- from a field to a gram ----------------------------------------------------------------------


def per_gram(
    a_field: float, *, cover_mm2: float, field_mm2: float, ml_per_g: float, drop_ml: float,
    dry_share: float,
) -> float:  # fmt: skip
    """What a gram of dry compost holds of what a field shows on average.

    a field x (cover area / field area) x dilution / (drop x dry share).

    Parameters
    ----------
    a_field : float
        Number, or length in any unit, in a mean field; >= 0.
    cover_mm2, field_mm2 : float
        Area that the drop is spread over (cover slip or filter), and of one field [mm2], > 0.
    ml_per_g : float
        Suspension that holds one gram of fresh compost [mL/g], over all dilutions, > 0.
    drop_ml : float
        Suspension under the cover slip [mL], > 0.
    dry_share : float
        Dry matter over fresh mass, above 0 to 1 (1 gives the answer for a gram of fresh compost).

    Raises
    ------
    QuantityError
        Any of them out of range, or a field larger than the cover.

    References
    ----------
    Dilution arithmetic, reference/standards.md section 8.

    Examples
    --------
    >>> per_gram(12, cover_mm2=324, field_mm2=0.16, ml_per_g=100, drop_ml=0.05, dry_share=0.5)
    97200000.0
    """
    if not 0 < dry_share <= 1:
        raise QuantityError("dry matter is above 0 and at most all of it", field="dry share",
                            value=f"{dry_share:g}", way_out="Write it as 45 %")  # fmt: skip
    field, cover = _above_zero("field", field_mm2), _above_zero("cover", cover_mm2)
    if field > cover:
        raise QuantityError("a field is not larger than the cover slip", field="field",
                            value=f"{field:g} of {cover:g} mm2",
                            way_out="Give areas in mm2, or the field's diameter")  # fmt: skip
    dilution = _above_zero("dilution", ml_per_g) / _above_zero("drop", drop_ml)
    return _not_below_zero("a field", a_field) * (cover / field) * dilution / dry_share


def dry_mass_mg(volume_um3: float, kind: str) -> Ranged:
    """Dry mass [mg] of a volume [um3, >= 0] of ``fungi`` or ``bacteria``, with the factor's range.

    Factors of van Veen and Paul 1979 (seen).

    >>> found = dry_mass_mg(1e9, "fungi")
    >>> round(found.typical, 2), round(found.low, 2), round(found.high, 2)
    (0.33, 0.11, 0.41)
    """
    factor = value(_FILE, f"dry_per_volume.{kind}").ranged
    return factor.scaled(_not_below_zero("volume", volume_um3) / _UM3_PER_CM3 * 1e3)


def active_hyphae_mg(length_m: float) -> float:
    """Dry mass [mg] of a length [m, >= 0] of hyphae stained as active (FDA).

    Section 9.3e-6 mm2, 1.1 g/mL, 15 % dry: Berg and Soderstrom 1979 (seen).

    >>> round(active_hyphae_mg(100.0), 3)
    0.153
    """
    section, wet, dry = (
        value(_FILE, f"active_hyphae.{k}").value for k in ("section", "wet_density", "dry_share")
    )
    volume_mm3 = _not_below_zero("length", length_m) * 1e3 * section
    return volume_mm3 * wet * dry  # g/mL is mg/mm3


def carbon_fg(volume_um3: float, kind: str) -> Ranged:
    """Carbon [fg] in a volume [um3, >= 0] of ``fungi`` or ``bacteria``.

    Fungi 130 fg/um3 (Bakken and Olsen 1983); bacteria 310 (Fry 1990), low end 220 (Bratbak and
    Dundas 1984); all from memory.

    >>> carbon_fg(1.0, "bacteria")
    Ranged(typical=310.0, low=220.0, high=310.0)
    """
    volume = _not_below_zero("volume", volume_um3)
    best = value(_FILE, f"carbon_per_volume.{kind}").value
    low = value(_FILE, "carbon_per_volume.bacteria_lower").value if kind == "bacteria" else best
    return Ranged(best, low, best).scaled(volume)


def mass_factor_ratio() -> Ranged:
    """Mass of fungi over that of bacteria in equal volumes, with the ends of both ranges.

    0.33 over 0.8, so 2.4 times less fungi than where one factor serves for both
    (van Veen and Paul 1979, seen).

    >>> round(mass_factor_ratio().typical, 2)
    0.41
    """
    fungi = value(_FILE, "dry_per_volume.fungi")
    bacteria = value(_FILE, "dry_per_volume.bacteria")
    return Ranged(fungi.value / bacteria.value, fungi.low / bacteria.high,
                  fungi.high / bacteria.low)  # fmt: skip


#: how many times the choice of factors alone changes a ratio of fungi to bacteria
FACTOR_FOLD = 1.0 / mass_factor_ratio().typical


# --- fields --------------------------------------------------------------------------------------


def spread_of_fields(counts: Sequence[float]) -> tuple[float, float, float]:
    """Mean, variance, and clumping k of counts in fields; k is infinite where chance is enough.

    counts : >= 0, at least two fields (`NotEnoughError`). The variance of a negative binomial is
    mean + mean^2/k: a small k says that cells lie in clumps. By moments; most of the variance lies
    between fields (Kirchman et al. 1982, seen), so more fields help, and counting again does not.

    >>> spread_of_fields([12, 18, 9, 21])
    (15.0, 30.0, 15.0)
    >>> spread_of_fields([10, 11, 9])[2]
    inf
    """
    found = _by_field(counts)
    mean, variance = float(found.mean()), float(found.var(ddof=1))
    return mean, variance, mean**2 / (variance - mean) if variance > mean else math.inf


def _by_field(values: Sequence[float]) -> np.ndarray:
    """Two fields or more, each 0 or above."""
    found = np.asarray(values, dtype=np.float64)
    if found.size < _FEWEST_FIELDS:
        raise NotEnoughError(
            "one field does not show how far fields differ", field="fields", value=found.size,
            way_out="Look at a second field at least, better at ten",
        )  # fmt: skip
    if not (np.isfinite(found).all() and (found >= 0).all()):
        raise QuantityError("what a field shows is 0 or more", field="fields", way_out="Correct it")
    return found


def mean_of_fields(values: Sequence[float], seen: float) -> tuple[float, float]:
    """Mean of what fields show and its standard error, never less than chance in counting gives.

    values : by field, >= 0, in any unit, at least two fields (`NotEnoughError`);
    seen : how many things were met in all fields together (cells, pieces of hypha, crossings): the
    mean is not surer than a count of so many.

    >>> mean, error = mean_of_fields([0.4, 0.6, 0.5, 0.5], seen=16)
    >>> round(mean, 3), round(error, 3)
    (0.5, 0.125)
    """
    found = _by_field(values)
    mean = float(found.mean())
    chance = mean / math.sqrt(seen) if seen > 0 else 0.0
    return mean, max(math.sqrt(float(found.var(ddof=1)) / found.size), chance)


def ratio_of_fields(
    above: Sequence[float], below: Sequence[float], *, seen_above: float, seen_below: float,
    reach: float, paired: bool,
) -> tuple[float, float, float]:  # fmt: skip
    """Mean of one thing over mean of another, both by field, with its range: low, ratio, high.

    The delta rule on logs; Fieller's condition decides whether there is a ratio at all: where the
    denominator is no farther from zero than *reach* of its standard errors, there is none.

    Parameters
    ----------
    above, below : sequence of float, >= 0
        By field: volume of hyphae and of cells, say; each at least two fields.
    seen_above, seen_below : float
        How many things were met in all fields of each, as in `mean_of_fields`.
    reach : float
        Standard errors that the range spans to each side, > 0 (a t quantile).
    paired : bool
        Whether both were seen in the same fields, in the same order.

    Raises
    ------
    NotEnoughError
        Fewer than two fields, nothing above, or a denominator that is near zero.

    References
    ----------
    Fieller 1954, J. R. Stat. Soc. B 16, 175-185 (from memory).

    Examples
    --------
    >>> low, mid, high = ratio_of_fields([4, 6, 5, 5], [10, 12, 8, 10], seen_above=20,
    ...                                  seen_below=40, reach=3.18, paired=False)
    >>> round(low, 2), round(mid, 2), round(high, 2)
    (0.21, 0.5, 1.19)
    """
    (top, top_error), (bottom, bottom_error) = (
        mean_of_fields(above, seen_above), mean_of_fields(below, seen_below)
    )  # fmt: skip
    if not top > 0:
        raise NotEnoughError("no hypha was met in any field", field="ratio",
                             way_out="Look at more fields, or dilute less")  # fmt: skip
    if not bottom > reach * bottom_error:
        raise NotEnoughError(
            "too few cells were counted, or too unevenly, for their number to be clear of zero",
            field="ratio", way_out="Count more fields, or dilute less",
        )  # fmt: skip
    square = (top_error / top) ** 2 + (bottom_error / bottom) ** 2
    if paired:  # what goes together is left wider than need be, what goes against is widened
        n = len(above)
        together = float(np.cov(_by_field(above), _by_field(below), ddof=1)[0, 1]) / n
        square = max(square, square - 2 * together / (top * bottom))
    wide = math.exp(reach * math.sqrt(square))
    return top / bottom / wide, top / bottom, top / bottom * wide
