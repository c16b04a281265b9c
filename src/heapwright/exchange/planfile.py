"""Plan files (TOML): text to `Trial`, with file, line, key, value and the way out in every error.

Conventions: keys and their units are declared in `plankeys`; a number may be written bare in the
unit of its register row or as text with any fitting unit.
"""

from __future__ import annotations

import re
import tomllib
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from heapwright.domain.heap import Heap, Spot
from heapwright.domain.material import Ingredient, Measured
from heapwright.domain.trial import Locked, Place, RoundRule, Trial, WaterRule
from heapwright.domain.way import Treatment, Vent
from heapwright.domain.when import local_zone, parse_when
from heapwright.errors import HeapwrightError, PlanError
from heapwright.exchange.planread import Lines, PlanTables
from heapwright.science.hygiene import rule
from heapwright.stats.outcomes import OUTCOMES
from heapwright.units import REGISTER, Ranged, parse

__all__ = ["read_plan", "read_plan_tables", "read_plan_text"]

_OVERRIDES = {
    "moisture": "moisture_wb",
    "carbon": "carbon_dm",
    "nitrogen": "nitrogen_dm",
    "cn": "cn_ratio",
    "bulk_density": "bulk_density_kg_m3",
    "lignin": "lignin_vs",
}


def read_plan(path: Path, *, now: datetime) -> Trial:
    """The plan in the file at *path*.

    Raises `PlanError` naming file, line, key, value and the way out. *now* (aware) settles
    relative dates.
    """
    return read_plan_text(_text(path), now=now, name=str(path))


def read_plan_tables(path: Path, *, now: datetime) -> tuple[Trial, PlanTables]:
    """The plan in the file at *path* and its tables, which may hold vessels of a laboratory.

    Raises as `read_plan`.
    """
    builder = _Builder(*_toml(_text(path), str(path)), now)
    return builder.trial(), builder


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise PlanError(
            "there is no such file",
            field="plan",
            value=str(path),
            way_out="Make one with: heapwright plan example > plan.toml",
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise PlanError(
            f"it cannot be read as text ({type(error).__name__})",
            field="plan",
            value=str(path),
            way_out="Save it as plain text in UTF-8",
        ) from None


def read_plan_text(text: str, *, now: datetime, name: str = "plan") -> Trial:
    """The plan in *text*; *name* stands in errors. Raises `PlanError`, for vessels too."""
    raw, lines = _toml(text, name)
    builder = _Builder(raw, lines, now)
    if "vessel" in raw:
        raise PlanError(
            "vessels of a laboratory are no part of a trial",
            where=lines.where("vessel"),
            field="vessel",
            way_out="Only heapwright check-forecast takes them; leave [[vessel]] out here",
        )
    return builder.trial()


def _toml(text: str, name: str) -> tuple[dict[str, Any], Lines]:
    try:
        return tomllib.loads(text), Lines(text, name)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at line (\d+), column \d+\)", str(error))
        where = f"{name}, line {found[1]}" if found else name
        raise PlanError(
            "this line is not TOML: " + re.sub(r"\s*\(at .*\)$", "", str(error)),
            where=where,
            way_out='Write key = "text" or key = number, and put text in quotes',
        ) from None


class _Builder(PlanTables):
    """One pass over a parsed plan, table by table."""

    def trial(self) -> Trial:
        name = self.get("trial", "name")
        if name is None:
            raise PlanError(
                "a plan needs a [trial] table with a name",
                where=self.lines.name,
                field="trial",
                way_out='Write [trial] and, below it, name = "Ferncombe 2026"',
            )
        self.barrow = self.get("barrow", "volume") or self.barrow
        place = self._place()
        ways = self._many("way", self._way)
        starts = self.get("trial", "starts")
        try:
            return Trial(
                name=name,
                locked=self._locked(ways, starts),
                ways=ways,
                heaps=self._many("heap", lambda i: self._heap(i, place)),
                spots=self._many("spot", self._spot),
                ingredients=self._many("ingredient", self._ingredient),
                also=self._also(),
                place=place,
                water=self._water(),
                rounds=self._rounds(),
                barrow_m3=self.barrow,
                starts=starts,
                invented=bool(self.get("trial", "invented")),
                hygiene=self._hygiene(),
            )
        except HeapwrightError as error:
            if error.where:
                raise
            raise PlanError(
                error.what,
                where=self._guess_line(error),
                field=error.field,
                value=error.value,
                way_out=error.way_out,
            ) from None

    def _guess_line(self, error: HeapwrightError) -> str:
        """The line a complaint about the whole plan is best shown at."""
        spots = {
            "window": ("outcome", "window"),
            "ends": ("outcome", "ends"),
            "decides": ("outcome", "decides"),
            "matters": ("outcome", "matters"),
            "spread": ("outcome", "spread"),
            "trial name": ("trial", "name"),
            "heap": ("place", "downhill"),
        }
        if error.field == "way":
            for index, row in enumerate(self.rows("heap")):
                if str(row.get("way", "")) == str(error.value):
                    return self.lines.where("heap", index, "way")
            return self.lines.where("outcome", 0, "control")
        if error.field and error.field.endswith(" name") and error.field not in spots:
            table = error.field.split()[0]
            same = [i for i, row in enumerate(self.rows(table)) if row.get("name") == error.value]
            return self.lines.where(table, same[-1] if same else 0, "name")
        table, key = spots.get(error.field or "", ("trial", ""))
        return self.lines.where(table, 0, key)

    def _many(self, table: str, build: Any) -> Any:
        built = []
        for index, _ in enumerate(self.rows(table)):
            try:
                built.append(build(index))
            except HeapwrightError as error:
                if error.where:
                    raise
                key = (error.field or "").split()[-1] if error.field else ""
                raise PlanError(
                    error.what,
                    where=self.lines.where(table, index, key),
                    field=error.field,
                    value=error.value,
                    way_out=error.way_out,
                ) from None
        return tuple(built)

    def _locked(self, ways: tuple[Treatment, ...], starts: date | None) -> Locked:
        decides = self.get("outcome", "decides") or "mean_excess_c"
        if decides not in REGISTER:
            self.fail("no such outcome", "outcome", 0, "decides", decides, OUTCOMES)
        window: Ranged = self.get("outcome", "window") or Ranged(30, 5, 55)
        ends = self.get("outcome", "ends")
        if ends is None:
            first = starts or self.now.date()
            ends = first + timedelta(days=int(window.high) + 1)
        row = REGISTER[decides]
        control = self.get("outcome", "control")
        if control is None and ways:
            control = next((w.name for w in ways if w.kind == "left alone"), ways[-1].name)
        return Locked(
            question=self.get("trial", "question") or "What do these heaps do?",
            decides=decides,
            unit=self.get("outcome", "unit") or row.shown or "-",
            window_d=(window.low, window.high),
            ends=ends,
            matters=self._difference("matters", decides),
            spread=self._difference("spread", decides)
            if self.get("outcome", "spread") is not None
            else (4.0 if row.unit == "delta_degC" else None),
            control=control,
            ways=tuple((w.name, w.details) for w in ways),
            seed=1 if self.get("trial", "seed") is None else self.get("trial", "seed"),
            spread_worth=self.get("outcome", "spread_worth"),
        )

    def _difference(self, key: str, decides: str) -> float | None:
        """A difference of the deciding outcome, in the unit that outcome is kept in."""
        text = self.get("outcome", key)
        if text is None:
            return None
        reads = "diff_c" if REGISTER[decides].unit == "delta_degC" else decides
        try:
            return float(parse(text, reads, field=key).typical)
        except HeapwrightError as error:
            raise PlanError(
                error.what,
                where=self.lines.where("outcome", 0, key),
                field=key,
                value=repr(text),
                way_out=error.way_out,
            ) from None

    def _also(self) -> tuple[str, ...]:
        also: tuple[str, ...] = self.get("outcome", "also") or ()
        for name in also:
            # quantities that were allowed once still are, so that a locked plan can be read
            if name not in OUTCOMES and name not in REGISTER:
                self.fail("no such outcome", "outcome", 0, "also", name, OUTCOMES)
        return also

    def _hygiene(self) -> str:
        """The key of the rule of heat that the plan names; "" for none."""
        typed: str | None = self.get("trial", "hygiene")
        if typed is None:
            return ""
        try:
            return rule(typed).key
        except HeapwrightError as error:
            raise error.at(self.lines.where("trial", 0, "hygiene"), field="hygiene") from None

    def _place(self) -> Place:
        zone = self.get("place", "time_zone")
        try:
            local_zone(zone)
        except HeapwrightError as error:
            raise error.at(self.lines.where("place", 0, "time_zone")) from None
        return Place(
            latitude_deg=self.one("place", "latitude"),
            longitude_deg=self.one("place", "longitude"),
            time_zone=zone,
            slope_frac=self.one("place", "slope"),
            downhill=self.get("place", "downhill") or (),
            altitude_m=self.one("place", "altitude"),
        )

    def _way(self, index: int) -> Treatment:
        def one(key: str) -> float | None:
            return self.one("way", key, index=index)

        pipes = self.get("way", "pipes", index=index)
        vent = None
        if pipes is not None:
            vent = Vent(
                pipes=pipes,
                diameter_m=one("pipe_diameter") or 0.1,
                spacing_m=one("pipe_spacing"),
                hole_rows=self.get("way", "hole_rows", index=index) or 2,
                upright=bool(self.get("way", "upright", index=index)),
                state=self.get("way", "vents", index=index) or "open",
                open_after_d=one("open_after"),
                pull_after_d=one("pull_after"),
            )
        return Treatment(
            name=self.get("way", "name", index=index),
            kind=self.get("way", "kind", index=index),
            first_after_d=one("first_after"),
            every_d=one("every"),
            vent=vent,
            note=self.get("way", "note", index=index) or "",
            factors=self._factors(index),
        )

    def _factors(self, index: int) -> tuple[tuple[str, str], ...]:
        """Factor and level pairs of a way, written ``factor: level``."""
        made = []
        for text in self.get("way", "factors", index=index) or ():
            name, _, level = (part.strip() for part in text.partition(":"))
            if not name or not level:
                raise PlanError(
                    "a factor is written with its level",
                    where=self.lines.where("way", index, "factors"),
                    field="factors",
                    value=repr(text),
                    way_out='Write factors = ["turning: every 14 days", "material: with grass"]',
                )
            made.append((name, level))
        return tuple(made)

    def _heap(self, index: int, place: Place) -> Heap:
        name = self.get("heap", "name", index=index)
        built_text = self.get("heap", "built", index=index)
        built = None
        if built_text is not None:
            when = parse_when(
                built_text, now=self.now, zone=local_zone(place.time_zone), field="built"
            )
            built = when.middle.replace(microsecond=0)
        elif self.get("trial", "starts") is not None:
            zone = local_zone(place.time_zone)
            noon = datetime.combine(self.get("trial", "starts"), time(12), tzinfo=zone)
            built = noon.astimezone(UTC)
        order = [n.lower() for n in place.downhill]
        above = None
        if name.lower() in order and order.index(name.lower()) > 0:
            above = place.downhill[order.index(name.lower()) - 1]
        return Heap(
            name=name,
            way=self.get("heap", "way", index=index),
            volume_m3=self.get("heap", "volume", index=index),
            shape=self.get("heap", "shape", index=index),
            height_m=self.one("heap", "height", index=index),
            built=built,
            leafiness=self.one("heap", "leafiness", index=index),
            block=self.get("heap", "block", index=index),
            downhill_of=above,
        )

    def _spot(self, index: int) -> Spot:
        depth = self.one("spot", "depth", index=index)
        assert depth is not None
        return Spot(
            self.get("spot", "name", index=index),
            depth,
            self.one("spot", "pipe_distance", index=index),
            self.get("spot", "position", index=index) or "",
        )

    def _ingredient(self, index: int) -> Ingredient:
        method = self.get("ingredient", "method", index=index) or ""
        basis = self.get("ingredient", "basis", index=index) or "wet"
        own: dict[str, Measured] = {}
        for key, name in _OVERRIDES.items():
            reads = "moisture_db" if key == "moisture" and basis == "dry" else ""
            value = self.get("ingredient", key, index=index, reads=reads)
            if value is not None:
                own[name] = Measured(
                    value, method=method, basis=basis if key == "moisture" else "dry"
                )
        return Ingredient(
            name=self.get("ingredient", "name", index=index),
            like=self.get("ingredient", "like", index=index),
            mass_kg=self.get("ingredient", "mass", index=index),
            measured=own,
            **self._amount(index),
        )

    def _amount(self, index: int) -> dict[str, Ranged | None]:
        """The amount of an ingredient as ``loads`` when counted in barrows, else as volume."""
        text = str(self.rows("ingredient")[index].get("amount", ""))
        if not re.search(r"barrow|load", text, re.IGNORECASE):
            return {"volume_m3": self.get("ingredient", "amount", index=index)}
        try:
            return {"loads": parse(text, "count", extra={"barrow": 1.0, "load": 1.0})}
        except HeapwrightError as error:
            raise PlanError(
                error.what,
                where=self.lines.where("ingredient", index, "amount"),
                field="amount",
                value=repr(text),
                way_out="Write it as 9 barrows or 0.8 m3",
            ) from None

    def _rounds(self) -> RoundRule:
        at = self.get("rounds", "at") or "sunrise"
        if at != "sunrise" and not re.fullmatch(r"([01]?\d|2[0-3]):[0-5]\d", at):
            raise PlanError(
                "rounds are walked at sunrise or at a clock time",
                where=self.lines.where("rounds", 0, "at"),
                field="at",
                value=repr(at),
                way_out='Write at = "sunrise" or at = "07:30"',
            )
        return RoundRule(
            every_d=self.one("rounds", "every") or 3.0,
            at=at,
            first_after_d=self.one("rounds", "first_after") or 0.0,
        )

    def _water(self) -> WaterRule:
        equal = self.get("water", "equal")
        return WaterRule(
            target_wb=self.get("water", "target"),
            every_d=self.one("water", "every"),
            flow_l_min=self.one("water", "flow"),
            equal=True if equal is None else equal,
        )
