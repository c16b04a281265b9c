"""A compost vessel of a laboratory as it is stated: its charge, its wall, the air through it.

Units: SI, degrees C, hours, kg of the whole charge, W per K; air in litres a minute at room
conditions; oxygen as mole fraction. Conventions: a plain frozen description; what happens in it is
in `heapwright.engine.vesselrun`. Absurd input is refused here.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.scenario import Action
from heapwright.errors import InputError
from heapwright.units import quantity

__all__ = ["Vessel", "within"]

Floats = NDArray[np.float64]
#: most litres a minute a kg of dry matter: own choice, far above what reactors get
_MOST_AIR = 100.0


@dataclass(frozen=True, slots=True)
class Vessel:
    """A vessel and what it holds when filled.

    Parameters
    ----------
    name : str
        As it is called in the table it comes from.
    dry_kg : float
        Dry mass of the whole charge, 0.001 to 10 000 kg.
    moisture_wb : float
        Water when filled, wet basis, 0.02 to 0.95.
    wall_resistance_k_w : float, optional
        Of the whole wall with its films [K/W], above 0; ``inf`` lets no heat through. Give it, or
        ``wall_r_m2k_w`` with ``wall_area_m2``; not needed where ``held``.
    air_l_min : float or None
        Air put through [litres a minute at room conditions], 0 (shut) to 100 a kg of dry matter.
        A flow that is stated a kg of dry matter is multiplied by ``dry_kg``. None: the vessel is
        open and breathes by itself; oxygen stays at ``oxygen`` and no vapour leaves.
    air_rh : float
        Relative humidity of the air that comes in, at room temperature, 0 to 1.
    room_c : float or tuple of (hours, degrees C)
        Temperature around it; pairs are joined by straight lines, hours rising.
    start_c : float, optional
        Of the charge when filled; that of the room unless given.
    held : bool
        A climate chamber: the charge is always as warm as the room.
    reflux : float
        Share of the water that the air took up which comes back, 0 to 1, liquid and at room
        temperature. Its heat is gone.
    oxygen : float
        Mole fraction, 0 to 0.21; only where ``air_l_min`` is None.
    actions : tuple of Action
        Only ``moistened``: water at room temperature is mixed in up to that moisture. What is due
        after the end of a run is not done.
    wall_r_m2k_w, wall_area_m2 : float, optional
        Resistance of a square metre [m2 K/W] and area [m2] of the wall.
    gas_l : float, optional
        Gas in pores and head space [litres]; 3 a kg of dry matter unless given (own choice).
    moisture_kept : tuple of (hours, moisture)
        Moisture on wet basis that was measured and is imposed, joined by straight lines, hours
        rising; water comes and goes as that asks. Only where ``held`` and without air through.

    Raises
    ------
    InputError, QuantityError
        What cannot be.

    Examples
    --------
    >>> Vessel("A", 2.0, 0.6, wall_r_m2k_w=2.0, wall_area_m2=0.5, air_l_min=1.0).wall_w_k
    0.25
    """

    name: str
    dry_kg: float
    moisture_wb: float
    wall_resistance_k_w: float | None = None
    air_l_min: float | None = None
    air_rh: float = 0.5
    room_c: float | tuple[tuple[float, float], ...] = 20.0
    start_c: float | None = None
    held: bool = False
    reflux: float = 0.0
    oxygen: float = 0.18
    actions: tuple[Action, ...] = ()
    wall_r_m2k_w: float | None = None
    wall_area_m2: float | None = None
    gas_l: float | None = None
    moisture_kept: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        within("dry_kg", self.dry_kg, 1e-3, 1e4)
        within("moisture_wb", self.moisture_wb, 0.02, 0.95, "Give it on wet basis")
        self._check_wall()
        if self.air_l_min is not None:
            within(
                "air_l_min", self.air_l_min, 0.0, _MOST_AIR * self.dry_kg,
                "Give litres a minute for the whole charge",
            )  # fmt: skip
        quantity("relative_humidity").check(self.air_rh, field="air_rh")
        self._check_room()
        within("reflux", self.reflux, 0.0, 1.0)
        quantity("o2_frac").check(self.oxygen, field="oxygen")
        if self.gas_l is not None:
            within("gas_l", self.gas_l, 1e-3, 1e6)
        for action in self.actions:
            if action.kind != "moistened":
                raise InputError(
                    "a vessel can only be moistened", field="actions", value=action.kind
                )
            within("actions, moistened to", action.amount, 0.02, 0.95, "Give it on wet basis")
        self._check_kept()

    def _check_kept(self) -> None:
        if not self.moisture_kept:
            return
        hours = [hour for hour, _ in self.moisture_kept]
        if not all(b > a for a, b in itertools.pairwise(hours)):
            raise InputError(
                "hours rise from pair to pair", field="moisture_kept",
                value=", ".join(f"{hour:g}" for hour in hours),
            )  # fmt: skip
        for _, wet in self.moisture_kept:
            within("moisture_kept", wet, 0.02, 0.95, "Give it on wet basis")
        if not self.held or self.air_l_min is not None or self.actions:
            raise InputError(
                "moisture is kept only in a held chamber without air through it or moistening",
                field="moisture_kept", way_out="Leave it out, or give held=True and no air_l_min",
            )  # fmt: skip

    def _check_wall(self) -> None:
        by_area = self.wall_r_m2k_w is not None or self.wall_area_m2 is not None
        whole = self.wall_r_m2k_w is not None and self.wall_area_m2 is not None
        stated = self.wall_resistance_k_w is not None
        if by_area and (stated or not whole):
            raise InputError(
                "the wall is given as a whole, or by a square metre with its area",
                field="wall_r_m2k_w" if self.wall_r_m2k_w is not None else "wall_area_m2",
                way_out="Give wall_resistance_k_w, or both wall_r_m2k_w and wall_area_m2",
            )
        if not (stated or whole or self.held):
            raise InputError(
                "nothing says how much heat the wall lets through", field="wall_resistance_k_w",
                way_out="Give it, or held=True for a chamber that keeps the temperature",
            )  # fmt: skip
        for field in ("wall_resistance_k_w", "wall_r_m2k_w", "wall_area_m2"):
            number = getattr(self, field)
            if number is not None and not number > 0:
                raise InputError("this is above 0", field=field, value=f"{number:g}")

    def _check_room(self) -> None:
        pairs = self.room_c if isinstance(self.room_c, tuple) else ((0.0, self.room_c),)
        hours = [hour for hour, _ in pairs]
        rising = all(b > a for a, b in itertools.pairwise(hours))
        if not (pairs and rising and all(map(math.isfinite, hours))):
            raise InputError(
                "hours of the room rise from pair to pair", field="room_c",
                value=", ".join(f"{hour:g}" for hour in hours),
                way_out="Give (hours, degrees C) in the order of time",
            )  # fmt: skip
        for _, temp in pairs:
            quantity("temp_c").check(temp, field="room_c")
        if self.start_c is None:
            return
        quantity("temp_c").check(self.start_c, field="start_c")
        if self.held:
            raise InputError(
                "a held charge starts as warm as the room", field="start_c", value=self.start_c,
                way_out="Leave it out, and give the temperatures as room_c",
            )  # fmt: skip

    @property
    def wall_w_k(self) -> float:
        """Heat through the whole wall [W/K]; 0 where none is stated."""
        if self.wall_r_m2k_w is not None and self.wall_area_m2 is not None:
            return self.wall_area_m2 / self.wall_r_m2k_w
        return 0.0 if self.wall_resistance_k_w is None else 1.0 / self.wall_resistance_k_w

    def room(self, hours: NDArray[np.floating]) -> Floats:
        """Temperature of the room [degrees C] at some hours; before and after, that of the end."""
        pairs = self.room_c if isinstance(self.room_c, tuple) else ((0.0, self.room_c),)
        at, temps = zip(*pairs, strict=True)
        return np.asarray(np.interp(hours, at, temps), dtype=np.float64)


def within(field: str, number: float, low: float, high: float, way_out: str | None = None) -> None:
    """Refuse a number outside its limits, or none."""
    if not low <= number <= high:
        raise InputError(
            f"give {low:g} to {high:g}", field=field, value=f"{number:g}", way_out=way_out
        )
