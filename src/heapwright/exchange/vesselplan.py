"""Vessels of a laboratory in a plan file: tables ``[[vessel]]`` as vessels of the simulator.

Units: as in `heapwright.engine.vessel`; ages in days. Conventions: keys stand in `plankeys`; every
error names the vessel, the key and the line; what was taken for granted stands in ``said``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from math import log
from typing import Any, NoReturn

from heapwright.domain.material import Ingredient, Measured
from heapwright.domain.when import local_zone, parse_when
from heapwright.engine.scenario import Action
from heapwright.engine.vessel import Vessel
from heapwright.errors import HeapwrightError, PlanError
from heapwright.exchange.planread import PlanTables
from heapwright.science.feedstocks import feedstock, feedstocks, match
from heapwright.units import Ranged, parse

__all__ = ["PlannedVessel", "planned_vessels"]

_OWN = {
    "moisture": "moisture_wb", "cn": "cn_ratio", "nitrogen": "nitrogen_dm", "carbon": "carbon_dm",
    "lignin": "lignin_vs", "ash": "ash_dm", "bulk_density": "bulk_density_kg_m3",
}  # fmt: skip
#: what a charge of unnamed material is taken for: the one whose C:N is nearest (own choice)
_BY_CN = (
    "food_scraps_kitchen_mixed", "mixed_yard_trimmings", "arborist_chips_green_with_leaves_twigs",
    "wood_chips_shavings_hardwood",
)  # fmt: skip
#: keys of the plan by the field of `Vessel` that a complaint names
_KEY_OF = {
    "dry_kg": "mass", "moisture_wb": "moisture", "wall_resistance_k_w": "wall_resistance",
    "wall_r_m2k_w": "wall_r", "wall_area_m2": "wall_area", "air_l_min": "air_flow",
    "air_rh": "air_humidity", "room_c": "room", "start_c": "start", "reflux": "water_back",
    "actions, moistened to": "moistened",
}  # fmt: skip
_USUAL_ROOM = 20.0
_A_KG = re.compile(r"(?:/|\bper\b|\ba\b)\s*kg\b.*$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class PlannedVessel:
    """A vessel of a plan: name; vessel; ingredient : what it holds; leafiness : leaf among its
    chips, None for the usual; filled : aware, None where the plan does not say; hold_out : its
    readings stay out of a fit; said : what was assumed."""

    name: str
    vessel: Vessel
    ingredient: Ingredient
    leafiness: float | None
    filled: datetime | None
    hold_out: bool
    said: tuple[str, ...]


def planned_vessels(tables: PlanTables) -> tuple[PlannedVessel, ...]:
    """All vessels of a plan, none where it has no ``[[vessel]]``.

    Raises `PlanError` that names vessel, key and line for what is missing, doubled or cannot be.
    """
    made = tuple(_One(tables, index).read() for index in range(len(tables.rows("vessel"))))
    names = [v.name.lower() for v in made]
    for index, name in enumerate(names):
        if name in names[:index]:
            raise PlanError(
                "two vessels have the same name", where=tables.lines.where("vessel", index, "name"),
                field="vessel name", value=made[index].name, way_out="Give each its own",
            )  # fmt: skip
    return made


class _One:
    """One table ``[[vessel]]``."""

    def __init__(self, tables: PlanTables, index: int) -> None:
        self.tables, self.index = tables, index
        self.name = str(tables.get("vessel", "name", index=index))
        self.said: list[str] = []

    def read(self) -> PlannedVessel:
        moisture = self.one("moisture")
        if moisture is None:
            self.fail("moisture", "the moisture when filled is needed", 'Write moisture = "55 %"')
        dry = self._dry(moisture)
        ingredient = self._ingredient(dry, moisture)
        try:
            vessel = self._vessel(dry, moisture)
        except PlanError:
            raise
        except HeapwrightError as error:
            self.fail(_KEY_OF.get(error.field or "", error.field or "name"), error.what,
                      _in_keys(error.way_out), error.value)  # fmt: skip
        hold_out = bool(self.get("hold_out"))
        return PlannedVessel(
            self.name,
            vessel,
            ingredient,
            self.one("leafiness"),
            self._filled(),
            hold_out,
            tuple(self.said),
        )

    # --- values ----------------------------------------------------------------------------------

    def get(self, key: str) -> Any:
        try:
            return self.tables.get("vessel", key, index=self.index)
        except PlanError as error:
            self.fail(key, error.what, error.way_out, error.value)

    def one(self, key: str) -> float | None:
        found = self.get(key)
        return None if found is None else float(found.typical)

    def fail(
        self, key: str, what: str, way_out: str | None = None, value: object = None
    ) -> NoReturn:
        raise PlanError(
            what, where=self.tables.lines.where("vessel", self.index, key),
            field=f"vessel {self.name}, {key}", value=value, way_out=way_out,
        ) from None  # fmt: skip

    # --- parts -----------------------------------------------------------------------------------

    def _dry(self, moisture: float) -> float:
        wet, dry = self.one("mass"), self.one("dry_mass")
        if (wet is None) == (dry is None):
            self.fail("mass", "give the mass of the charge, either wet or dry",
                      'Write mass = "20 kg" or dry_mass = "9 kg", and not both')  # fmt: skip
        if dry is not None:
            return dry
        assert wet is not None
        return wet * (1.0 - moisture)

    def _ingredient(self, dry: float, moisture: float) -> Ingredient:
        like, ratio = self.get("material"), self.one("cn")
        if like is not None:
            try:
                row = match(like)
            except HeapwrightError as error:
                self.fail("material", error.what, error.way_out, like)
        elif ratio is None:
            self.fail("cn", "nothing says what the vessel holds",
                      'Write cn = 30, or material = "food scraps"')  # fmt: skip
        else:
            row = feedstock(min(_BY_CN, key=lambda k: abs(log(_cn(k) / ratio))))
            self.said.append(f"material not named: taken as {row.name}, by its C:N of {ratio:g}")
        own = {
            name: Measured(found, basis="wet" if key == "moisture" else "dry")
            for key, name in _OWN.items()
            if (found := self.get(key)) is not None
        }
        if "cn" in self.tables.rows("vessel")[self.index] and "nitrogen_dm" in own:
            self.fail("nitrogen", "C:N and nitrogen say the same thing twice", "Leave one out")
        wet = dry / (1.0 - moisture) if moisture < 1 else dry
        return Ingredient(self.name, like=row.key, mass_kg=Ranged.exact(wet), measured=own)

    def _vessel(self, dry: float, moisture: float) -> Vessel:
        room = self.get("room")
        if room is None:
            room = ((0.0, _USUAL_ROOM),)
            self.said.append(f"temperature of the room not given: {_USUAL_ROOM:g} C")
        humidity = self.one("air_humidity")
        air = self._air(dry)
        kept = self.get("moisture_kept") or ()
        if air is None and not kept:
            self.said.append("no air is blown through it: it breathes by itself and loses no water")
        elif humidity is None and air is not None:
            self.said.append("humidity of the air put through not given: 50 %")
        wetted = self.get("moistened") or ()
        back = self.one("water_back")
        return Vessel(
            self.name, dry, moisture,
            wall_resistance_k_w=self.one("wall_resistance"), wall_r_m2k_w=self.one("wall_r"),
            wall_area_m2=self.one("wall_area"), air_l_min=air,
            air_rh=0.5 if humidity is None else humidity, room_c=_hours(room),
            start_c=self.one("start"), held=bool(self.get("held")), reflux=back or 0.0,
            actions=tuple(Action(day, "moistened", wet) for day, wet in wetted),
            moisture_kept=_hours(kept),
        )  # fmt: skip

    def _air(self, dry: float) -> float | None:
        """Air [litres a minute] for the whole charge."""
        text = self.get("air_flow")
        if text is None:
            return None
        each = _A_KG.search(text)
        if each and not re.search(r"dry|dm|ts", each[0], re.IGNORECASE):
            self.fail("air_flow", "a kg of what, wet or dry", "Write 0.3 L/min per kg dry", text)
        try:
            flow = parse(text[: each.start()] if each else text, "air_flow_l_min").typical
        except HeapwrightError as error:
            self.fail("air_flow", error.what, "Write 0.5 L/min, or 0.3 L/min per kg dry", text)
        return flow * dry if each else flow

    def _filled(self) -> datetime | None:
        text = self.get("filled")
        if text is None:
            return None
        zone = local_zone(self.tables.get("place", "time_zone"))
        try:
            when = parse_when(text, now=self.tables.now, zone=zone, field="filled")
        except HeapwrightError as error:
            self.fail("filled", error.what, error.way_out, text)
        return when.middle.astimezone(UTC)


def _hours(pairs: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    return tuple((24.0 * day, value) for day, value in pairs)


def _cn(key: str) -> float:
    typical = feedstocks()[key].spans["cn_ratio"].typical
    assert typical is not None
    return typical


def _in_keys(way_out: str | None) -> str | None:
    """A way out in the keys of the plan instead of the fields of `Vessel`."""
    if way_out is None:
        return None
    for field, key in (*_KEY_OF.items(), ("held=True", "held = true")):
        way_out = way_out.replace(field, key)
    return way_out
