"""Rain, watering, drainage and the water between particles: parameters and the call.

Units: SI, degrees C, litres for what is poured. Conventions: rain falls straight down, so every top
face of the staircase gets its own area of it; rain is as warm as the air (snow is left out, and so
is run-off from frozen or crusted skins). Poured water is spread evenly over the top, or over all
cells when it is mixed in at a turn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.engine.kernels import water as kernel
from heapwright.engine.parameters import Parameters, check_names
from heapwright.engine.process import Process
from heapwright.errors import QuantityError
from heapwright.science.heapphysics import field_capacity as capacity_of
from heapwright.science.values import value
from heapwright.units import quantity

__all__ = [
    "PROCESS", "Water", "WaterParameters", "moisten", "rain_and_watering", "water_parameters",
]  # fmt: skip

Floats = NDArray[np.float64]
_DAY_S = 86400.0
_UP = 5

PROCESS = Process(
    name="water: rain, watering, uptake, seepage, drainage, capillary exchange",
    reads=(
        "enthalpy_j", "water_m", "water_f", "pools", "ash", "biomass", "acid",
    ),
    writes=("enthalpy_j", "water_m", "water_f"),
    sources=(
        "two domains, held and free, with bypass: own choice of this project",
        "their times: own choices for a willow heap whose core dried while its top got wet "
        "(Whittaker et al. 2017)",
        "field capacity 1.5-2.0 of chips, 2.2-3.0 of leafy material (from memory)",
    ),
    note="water runs straight down, no run-off along the skin; rain as warm as the air; no snow",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class WaterParameters:
    """The priors of the liquid water; see ``heapphysics.toml``.

    bypass : share of falling water that runs through, 0 to 1; uptake_d, slow_drainage_d [day];
    most_held : over field capacity, 1 or more; free_speed [m/s]; capillary [m2/s], 0 or more.
    Raises `QuantityError` for what cannot be.
    """

    bypass: float
    uptake_d: float
    slow_drainage_d: float
    most_held: float
    free_speed: float
    capillary: float

    def __post_init__(self) -> None:
        for f in fields(self):
            low = {"bypass": 0.0, "capillary": 0.0, "most_held": 1.0}.get(f.name, 1e-12)
            high = 1.0 if f.name == "bypass" else math.inf
            number = getattr(self, f.name)
            if not (math.isfinite(number) and low <= number <= high):
                raise QuantityError(
                    f"this parameter of the water lies between {low:g} and {high:g}",
                    field=f.name, value=number, way_out="See the list of values and their ranges",
                )  # fmt: skip

    @classmethod
    def published(cls) -> WaterParameters:
        """The medians of ``heapphysics.toml``.

        >>> WaterParameters.published().bypass
        0.75
        """
        names = ("bypass", "uptake", "slow_drainage", "most_held", "free_speed", "capillary")
        return cls(*(value("heapphysics", f"water.{n}").value for n in names))

    def with_(self, **changes: float) -> WaterParameters:
        """The same with some values changed."""
        check_names(self, changes)
        return replace(self, **changes)


def water_parameters(par: Parameters, water: WaterParameters, dx_m: float) -> Floats:
    """The parameter row of the water kernel for cells of *dx_m*, in the order of its indices."""
    return np.array(
        [
            water.bypass,
            water.uptake_d * _DAY_S,
            water.slow_drainage_d * _DAY_S,
            dx_m / water.free_speed,
            water.capillary / dx_m**2,
            water.most_held,
            par.cp_dry_matter,
            par.cp_water,
            value("heapphysics", "heat_capacity_ice").value,
            value("heapphysics", "heat_of_fusion").value,
        ]
    )


def rain_and_watering(
    targets: NDArray[np.uint64],
    kg: float,
    *,
    joule_per_kg: float,
    water_in: Floats,
    water_in_j: Floats,
) -> None:
    """Add *kg* of water, spread evenly over the cells *targets*, to what arrives at each cell.

    targets : one entry for every top face (rain, watering) or every cell (mixed in); water_in [kg]
    and water_in_j [J] : fields (N,), added to.
    """
    if kg > 0 and targets.size:
        np.add.at(water_in, targets, kg / targets.size)
        np.add.at(water_in_j, targets, kg / targets.size * joule_per_kg)


class Water:
    """The liquid water of a heap, as the stepper calls it: ``Stepper(..., water=Water(0.1))``.

    Parameters
    ----------
    leafy_share : leaf in the dry matter, 0 to 1, one number or a field; sets field capacity.
    field_capacity : [kg/kg dry], one number or a field, goes before leafy_share.
    parameters : `WaterParameters`; by default the published ones.

    ``rain_kg``, ``poured_kg`` and ``drained_kg`` hold the sums so far. Raises `QuantityError` for
    a field capacity outside 0.05 to 10.
    """

    def __init__(
        self,
        leafy_share: ArrayLike = 0.0,
        *,
        field_capacity: ArrayLike | None = None,
        parameters: WaterParameters | None = None,
    ) -> None:
        keeps = capacity_of(leafy_share) if field_capacity is None else field_capacity
        self.field_capacity = np.asarray(keeps, dtype=np.float64)
        if not np.all((self.field_capacity >= 0.05) & (self.field_capacity <= 10)):
            raise QuantityError(
                "material keeps 0.05 to 10 kg of water a kg of dry mass", field="field_capacity",
                value=field_capacity, way_out="Chips keep about 1.8, leafy material 2.6",
            )  # fmt: skip
        self.parameters = parameters or WaterParameters.published()
        self.rain_kg = self.poured_kg = self.drained_kg = 0.0
        self._waiting: list[_Pour] = []
        self._mesh: Any = None
        self._fc = self._par = np.zeros(0)
        self._top: NDArray[np.uint64] = np.zeros(0, dtype=np.uint64)

    def pour(
        self,
        litres: float,
        *,
        temp_c: float | None = None,
        mixed: bool = False,
        over_s: float = 1800.0,
    ) -> None:
        """Water the heap from the next step on, evenly over *over_s* seconds (0: all at once).

        temp_c : of the water, by default that of the air; mixed : into all of it, as at a turn,
        instead of over the top. Raises `QuantityError` for what cannot be poured.
        """
        quantity("water_l").check(litres, field="litres")
        if temp_c is not None and not 0 <= temp_c <= 100:
            raise QuantityError("water is poured at 0 to 100 C", field="temp_c", value=temp_c)
        if not (math.isfinite(over_s) and over_s >= 0):
            raise QuantityError("watering takes 0 s or longer", field="over_s", value=over_s)
        self._waiting.append(_Pour(float(litres), float(litres), temp_c, mixed, over_s))

    @property
    def waiting_kg(self) -> float:
        """Water still to be poured."""
        return sum(p.left for p in self._waiting)

    def __call__(self, host: Any, air: Any, dt: float) -> None:
        """Move the water of *host* over dt [s] and enter it into its ledger.

        ``host.cover`` is the share of the rain that a cover sheds.
        """
        self._fit(host)
        s, w, m = host.state, host.work, host.mesh
        w["water_in"][:] = 0.0
        w["water_in_j"][:] = 0.0
        fell = air.rain_kg_m2_s * dt * (1.0 - host.cover) * m.dx_m**2 * self._top.size
        heat = self._arrive(host, self._top, fell, air.temp_c)
        poured = 0.0
        for pour in self._waiting:
            kg = pour.due(dt)
            poured += kg
            warmth = air.temp_c if pour.temp_c is None else pour.temp_c
            heat += self._arrive(host, m.cells if pour.mixed else self._top, kg, warmth)
        self._waiting = [pour for pour in self._waiting if pour.left > 0]
        drained = np.zeros(2)
        kernel.water_step(
            m.runs, m.sy, m.sz, m.active.ravel(), dt, w["dry"], s.water_m, s.water_f,
            s.enthalpy_j, self._fc, self._par, w["water_in"], w["water_in_j"], w["water_ratio"],
            w["water_c"], w["water_liquid"], w["water_down"], w["water_down_j"], drained,
        )  # fmt: skip
        self.rain_kg += fell
        self.poured_kg += poured
        self.drained_kg += float(drained[kernel.KG])
        water, energy = host.ledger.water, host.ledger.energy
        water.add("rain", fell)
        water.add("watering", poured)
        water.add("drained", -float(drained[kernel.KG]))
        energy.add("rain and watering", heat)
        energy.add("drained", -float(drained[kernel.JOULE]))

    def _arrive(self, host: Any, targets: NDArray[np.uint64], kg: float, temp_c: float) -> float:
        """Let *kg* arrive on *targets* at a temperature, at least 0 C; returns its heat [J]."""
        each = host.par.cp_water * max(temp_c, 0.0)
        w = host.work
        rain_and_watering(
            targets, kg, joule_per_kg=each, water_in=w["water_in"], water_in_j=w["water_in_j"]
        )
        return float(kg * each)

    def _fit(self, host: Any) -> None:
        """Make lists and parameters fit a new or changed mesh."""
        m = host.mesh
        if self._mesh is m:
            return
        self._mesh = m
        self._top = host.fcell[host.fdir == _UP].astype(np.uint64)
        self._fc = np.array(np.broadcast_to(self.field_capacity, (m.size,)))
        self._par = water_parameters(host.par, self.parameters, m.dx_m)


def moisten(host: Any, moisture_wb: float, temp_c: float) -> float:
    """Mix water of *temp_c* into every cell that is drier than *moisture_wb*; returns litres.

    As one does while turning, until a handful feels right: all of it is taken up, up to what the
    material keeps (its field capacity).
    """
    s, w, c = host.state, host.work, host.mesh.cells
    dry = w["dry"][c]
    wanted = dry * min(moisture_wb / (1.0 - moisture_wb), float(np.min(host.water.field_capacity)))
    more = np.maximum(wanted - w["water"][c], 0.0)
    heat = more * host.par.cp_water * max(temp_c, 0.0)
    s.water_m[c] += more
    w["water"][c] += more
    s.enthalpy_j[c] += heat
    host.freezing.temperature(host)
    host.ledger.water.add("watering", float(more.sum()))
    host.ledger.energy.add("rain and watering", float(heat.sum()))
    return float(more.sum())


@dataclass(slots=True)
class _Pour:
    """Water still to come: litres in all and left, its temperature, and how it is given."""

    litres: float
    left: float
    temp_c: float | None
    mixed: bool
    over_s: float

    def due(self, dt: float) -> float:
        """What arrives within dt [kg]; taken off what is left."""
        share = 1.0 if dt >= self.over_s else dt / self.over_s
        now = min(self.left, self.litres * share)
        if self.left - now < 1e-9 * self.litres:
            now = self.left
        self.left -= now
        return now
