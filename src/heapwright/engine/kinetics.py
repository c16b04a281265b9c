"""Constants of decay in the simulator, read from science/values, and the classes of matter.

Units: rates in 1/d as published (the tables for the kernels hold 1/s), fractions, degrees C.
Conventions: a set is a plain frozen object; `Kinetics.with_` gives another with some values
changed. Classes of matter have a fixed order, in which the pools of every ingredient stand.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.parameters import check_names
from heapwright.errors import QuantityError
from heapwright.science.decay import Cardinal, group_curve
from heapwright.science.stoichiometry import Oxidation, of_substance
from heapwright.science.values import value

__all__ = ["CLASSES", "DAY_S", "FERMENTS", "REACHABLE", "SUBSTANCE", "Kinetics", "oxidations"]

Floats = NDArray[np.float64]

DAY_S = 86400.0
#: the classes of matter, in the order of the pools of an ingredient
CLASSES = (
    "soluble", "protein", "fat", "hemicellulose", "cellulose", "lignin",
    "hemicellulose out of reach", "cellulose out of reach", "protein out of reach",
    "fat out of reach",
)  # fmt: skip
#: the substance whose formula stands for each class
SUBSTANCE = (
    "carbohydrate", "protein", "fat", "carbohydrate", "carbohydrate", "lignin", "carbohydrate",
    "carbohydrate", "protein", "fat",
)  # fmt: skip
#: classes that turn to acids without air; fat and lignin wait for it
FERMENTS = (True, True, False, True, True, False, True, True, True, False)
#: classes whose carbon counts for the nitrogen factor
REACHABLE = (True, True, True, True, True, False, False, False, False, False)


@functools.cache
def oxidations() -> tuple[Oxidation, ...]:
    """Complete oxidation of each class, in the order of `CLASSES`."""
    return tuple(of_substance(name) for name in SUBSTANCE)


@dataclass(frozen=True, slots=True)
class Kinetics:
    """One value for every constant of decay; names and units as in ``kinetics.toml``.

    Curves are `Cardinal`; k_oxygen is that of the oxygen solver (``engine.toml``).
    """

    k_soluble: float
    k_protein: float
    k_fat: float
    k_chip: float
    k_leaf: float
    k_slow: float
    k_tissue: float
    tissue_q10: float
    tissue_dies: float
    fungal_rate: float
    start_bacteria: float
    start_fungi: float
    mu_bacteria: float
    mu_fungi: float
    death: float
    floor_bacteria: float
    floor_fungi: float
    moisture_midpoint: float
    moisture_slope: float
    limiting_cn: float
    biomass_yield: float
    biomass_decay: float
    biomass_cn: float
    anoxic_share: float
    anoxic_heat: float
    k_acid: float
    heat_per_oxygen: float
    compost_ph: float
    ammonia_escape: float
    k_oxygen: float
    mesophilic: Cardinal
    thermophilic: Cardinal
    thermophilic_actinomycetes: Cardinal
    wood_fungi: Cardinal
    thermophilic_fungi: Cardinal

    @classmethod
    def published(cls) -> Kinetics:
        """The middle values of ``kinetics.toml``."""
        return _published()

    def with_(self, **changes: float | Cardinal) -> Kinetics:
        """The same with some values changed.

        Raises `QuantityError` for an unknown name, a number that is negative or not finite, or a
        share above 1.

        >>> Kinetics.published().with_(k_chip=0.06).k_chip
        0.06
        """
        check_names(self, changes)
        for name, new in changes.items():
            if isinstance(new, Cardinal) != isinstance(getattr(self, name), Cardinal):
                raise QuantityError("a curve is a Cardinal, the rest are numbers", field=name)
            if not isinstance(new, Cardinal):
                _check(name, new)
        return replace(self, **changes)  # type: ignore[arg-type]


_SHARES = (
    "fungal_rate", "start_bacteria", "start_fungi", "floor_bacteria", "floor_fungi",
    "moisture_midpoint", "biomass_yield", "anoxic_share", "anoxic_heat", "ammonia_escape",
)  # fmt: skip
_ABOVE_ZERO = ("tissue_q10", "limiting_cn", "biomass_cn", "k_oxygen", "heat_per_oxygen")


def _check(name: str, new: float) -> None:
    """Refuse what no constant of decay can be."""
    if not (np.isfinite(new) and new >= 0) or (name in _ABOVE_ZERO and new == 0):
        raise QuantityError("a constant of decay is a number from 0 up", field=name, value=new)
    if name in _SHARES and new > 1:
        raise QuantityError("a share lies between 0 and 1", field=name, value=new)
    if name == "biomass_yield" and new > 0.7:
        raise QuantityError(
            "more microbes than the carbon of their food allows", field=name, value=new
        )


@functools.cache
def _published() -> Kinetics:
    curves = (
        "mesophilic", "thermophilic", "thermophilic_actinomycetes", "wood_fungi",
        "thermophilic_fungi",
    )  # fmt: skip
    found: dict[str, Any] = {
        f.name: value("kinetics", f.name).value
        for f in fields(Kinetics)
        if f.name not in (*curves, "k_oxygen")
    }
    found |= {name: group_curve(name) for name in curves}
    return Kinetics(k_oxygen=value("engine", "k_oxygen").value, **found)
