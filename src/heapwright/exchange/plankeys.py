"""Every key a plan file may hold: the one list that parser, example and reference page share.

Conventions: a table written ``[name]`` stands once, ``[[name]]`` may stand many times. ``reads``
says how a value is read: ``text``, ``whole`` (a whole number), ``yes/no``, ``date``, ``names``
(a list of names), ``age`` (``"5 days"`` or ``"5-55 days"``), ``choice``, ``course`` of a quantity
(one value, or a list of [day, value]), or a registered quantity, whose text may carry a range and
any fitting unit.
"""

from __future__ import annotations

from dataclasses import dataclass

from heapwright.domain.heap import SHAPES
from heapwright.domain.way import KINDS

__all__ = ["ALL", "TABLES", "VESSEL", "Key", "Table"]


@dataclass(frozen=True, slots=True)
class Key:
    """One key: name, how it is read, its meaning, an example; required and locked or not."""

    name: str
    reads: str
    meaning: str
    example: str
    required: bool = False
    locked: bool = False
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Table:
    """One table of a plan: its name, whether it may stand many times, and its keys."""

    name: str
    many: bool
    meaning: str
    keys: tuple[Key, ...]

    @property
    def header(self) -> str:
        """``[name]`` or ``[[name]]``."""
        return f"[[{self.name}]]" if self.many else f"[{self.name}]"

    def key(self, name: str) -> Key | None:
        """The key called *name*, or None."""
        return next((k for k in self.keys if k.name == name), None)


_K = Key
TABLES: tuple[Table, ...] = (
    Table("trial", False, "What this is about.", (
        _K("name", "text", "name of the trial, used in every command", '"Ferncombe 2026"', required=True),
        _K("question", "text", "the one question, in words", '"Does turning keep prunings hotter?"', locked=True),
        _K("starts", "date", "day the first heap is built; may be left out", "2026-05-01"),
        _K("seed", "whole", "seed of the draw of lots", "20260501", locked=True),
        _K("hygiene", "text", "key of the rule of heat that the heaps are held against on Finish and in the report; left out, none is shown there", '"us_nop"'),
        _K("invented", "yes/no", "true marks the data as invented on every page", "true"),
    )),
    Table("outcome", False, "What decides, fixed before building.", (
        _K("decides", "text", "the outcome that decides", '"mean_excess_c"', locked=True),
        _K("unit", "text", "unit it is shown in", '"C"', locked=True),
        _K("window", "age", "heap ages it is taken over", '"5-55 days"', locked=True),
        _K("ends", "date", "date from which findings may be claimed", "2026-07-01", locked=True),
        _K("matters", "text", "difference that would change what you do", '"8 C"', locked=True),
        _K("spread", "text", "how much heaps treated alike are assumed to differ (SD)", '"4 C"', locked=True),
        _K("spread_worth", "whole", "degrees of freedom that this is worth, as from your own earlier trials", "8", locked=True),
        _K("control", "text", "the way the others are held against", '"left alone"', locked=True),
        _K("also", "names", "outcomes reported beside the deciding one", '["peak_excess_c"]'),
    )),
    Table("place", False, "Where the heaps stand; all of it optional.", (
        _K("latitude", "latitude_deg", "north positive", "51.2"),
        _K("longitude", "longitude_deg", "east positive", "-2.9"),
        _K("time_zone", "text", "IANA name of the clock on the wall", '"Europe/London"'),
        _K("altitude", "altitude_m", "height above the sea", '"60 m"'),
        _K("slope", "slope_frac", "fall of the ground", '"3 %"'),
        _K("downhill", "names", "heaps from the top of the slope to the bottom", '["A", "B", "C"]'),
    )),
    Table("barrow", False, "Your barrow.", (
        _K("volume", "volume_m3", "what one load holds, with its spread", '"80-100 litres"'),
    )),
    Table("ingredient", True, "A material that goes in.", (
        _K("name", "text", "as you call it", '"shredded apple prunings"', required=True),
        _K("like", "text", "the nearest material of the table of materials", '"arborist chips green with leaves/twigs"'),
        _K("amount", "volume_m3", "how much there is in all", '"9 barrows"'),
        _K("mass", "mass_kg", "how much there is, if weighed", '"400 kg"'),
        _K("moisture", "moisture_wb", "your own measurement", '"48-52 %"'),
        _K("carbon", "carbon_dm", "your own measurement, of dry matter", '"47 %"'),
        _K("nitrogen", "nitrogen_dm", "your own measurement, of dry matter", '"0.6 %"'),
        _K("cn", "cn_ratio", "your own measurement", '"60-90"'),
        _K("bulk_density", "bulk_density_kg_m3", "your own measurement, as it lies", '"300 kg/m3"'),
        _K("lignin", "lignin_vs", "your own measurement, of volatile solids", '"20 %"'),
        _K("basis", "choice", "basis of the moisture given", '"wet"', choices=("wet", "dry")),
        _K("method", "text", "how it was measured", '"kitchen oven, 105 C, 3 samples"'),
    )),
    Table("way", True, "A way of managing a heap.", (
        _K("name", "text", "as you call it", '"turned"', required=True, locked=True),
        _K("kind", "choice", "what is done", '"turned"', required=True, locked=True, choices=KINDS),
        _K("first_after", "age", "turned: age of the first turn", '"5 days"', locked=True),
        _K("every", "age", "turned: days between turns", '"14 days"', locked=True),
        _K("pipes", "whole", "vented: pipes in one heap", "2", locked=True),
        _K("pipe_diameter", "diameter_m", "vented: outer diameter", '"10 cm"', locked=True),
        _K("pipe_spacing", "length_m", "vented: between neighbouring pipes", '"60 cm"', locked=True),
        _K("hole_rows", "whole", "vented: rows of holes along a pipe", "2", locked=True),
        _K("upright", "yes/no", "vented: pipes stand instead of lying", "false", locked=True),
        _K("vents", "choice", "vented: state at the build", '"open"', locked=True, choices=("open", "plugged")),
        _K("open_after", "age", "vented: age at which plugged pipes are opened", '"7 days"', locked=True),
        _K("pull_after", "age", "vented: age at which pipes are pulled", '"30 days"', locked=True),
        _K("factors", "names", "two or more things varied together, with this way's level of each", '["turning: every 14 days", "material: with grass"]', locked=True),
        _K("note", "text", "anything else that is done", '"breathable sheet"', locked=True),
    )),
    Table("heap", True, "One heap.", (
        _K("name", "text", "short name, as on its sign", '"A"', required=True),
        _K("way", "text", "name of its way; leave out to draw lots", '"turned"'),
        _K("volume", "volume_m3", "when built", '"1.2 m3"'),
        _K("shape", "choice", "shape on the ground", '"mound"', choices=SHAPES),
        _K("height", "length_m", "when built", '"1.1 m"'),
        _K("built", "text", "day (and hour) it was built", '"2026-05-01 10:00"'),
        _K("leafiness", "leafiness", "mean leafiness of its loads", '"25 %"'),
        _K("block", "text", "heaps of one block were built alike, side by side", '"north"'),
    )),
    Table("spot", True, "A named place for the probe, the same in every heap.", (
        _K("name", "text", "as on the round sheet", '"core"', required=True),
        _K("depth", "depth_m", "along the probe below the skin", '"40 cm"', required=True),
        _K("pipe_distance", "pipe_distance_m", "to the nearest pipe in vented heaps", '"25 cm"'),
        _K("position", "text", "where to push the probe in", '"top, straight down"'),
    )),
    Table("rounds", False, "When to walk with the probe.", (
        _K("every", "interval_d", "days between rounds", '"3 days"'),
        _K("at", "text", "sunrise or a clock time", '"sunrise"'),
        _K("first_after", "age", "age at the first round", '"1 day"'),
    )),
    Table("water", False, "How the heaps are watered.", (
        _K("target", "moisture_wb", "moisture aimed at, wet basis", '"50-60 %"'),
        _K("every", "interval_d", "days between squeeze checks", '"7 days"'),
        _K("flow", "flow_l_min", "what the hose gives at its working end", '"15 L/min"'),
        _K("equal", "yes/no", "all heaps get the same water", "true"),
    )),
)  # fmt: skip
#: vessels of a laboratory, which no trial has
VESSEL = Table("vessel", True, "A vessel of a laboratory; only for check-forecast.", (
    _K("name", "text", "as in the sheet of readings", '"V1"', required=True),
    _K("hold_out", "yes/no", "true keeps its readings out of the fit", "true"),
    _K("filled", "text", "day and hour it was filled, for a sheet with dates", '"2026-05-01 10:00"'),
    _K("mass", "mass_kg", "of the charge when filled, wet", '"20 kg"'),
    _K("dry_mass", "dry_mass_kg", "of the charge, instead of mass", '"9 kg"'),
    _K("moisture", "moisture_wb", "when filled, wet basis", '"55 %"', required=True),
    _K("material", "text", "the nearest material of the table; by cn if left out", '"food scraps"'),
    _K("cn", "cn_ratio", "carbon over nitrogen of the charge", "30"),
    _K("nitrogen", "nitrogen_dm", "of dry matter, instead of cn", '"1.5 %"'),
    _K("carbon", "carbon_dm", "of dry matter", '"45 %"'),
    _K("lignin", "lignin_vs", "of volatile solids", '"15 %"'),
    _K("ash", "ash_dm", "of dry matter", '"8 %"'),
    _K("bulk_density", "bulk_density_kg_m3", "as it lies, wet", '"400 kg/m3"'),
    _K("leafiness", "leafiness", "leaf among chips, share of the dry matter", '"10 %"'),
    _K("wall_resistance", "resistance_k_w", "heat resistance of the whole wall", '"1.5 K/W"'),
    _K("wall_r", "wall_r_m2k_w", "heat resistance of a square metre of it", '"2 m2K/W"'),
    _K("wall_area", "area_m2", "with wall_r", '"0.5 m2"'),
    _K("air_flow", "text", "air through it, for all or a kg of dry matter", '"0.3 L/min per kg dry"'),
    _K("air_humidity", "relative_humidity", "of that air", '"50 %"'),
    _K("water_back", "ratio", "share of the water in the air that left which runs back", "0.5"),
    _K("room", "course temp_c", "temperature around it", '[[0, "20 C"], [9, "24 C"]]'),
    _K("start", "temp_c", "of the charge when filled; the room if left out", '"22 C"'),
    _K("held", "yes/no", "a chamber that keeps its charge as warm as the room", "true"),
    _K("moistened", "course moisture_wb", "wetted by hand to this moisture", '[[6, "60 %"]]'),
    _K("moisture_kept", "course moisture_wb", "measured and imposed; held chambers only", '[[0, "57 %"], [7, "53 %"]]'),
))  # fmt: skip
#: all tables
ALL: tuple[Table, ...] = (*TABLES, VESSEL)
