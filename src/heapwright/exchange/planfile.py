"""Plan files (TOML): text to `Trial`, with file, line, key, value and the way out in every error.

Conventions: keys and their units are declared in `plankeys`; a number may be written bare in the
unit of its register row or as text with any fitting unit.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from heapwright.domain.heap import Heap, Spot
from heapwright.domain.material import Ingredient, Measured
from heapwright.domain.trial import Locked, Place, RoundRule, Trial, WaterRule
from heapwright.domain.way import Treatment, Vent
from heapwright.domain.when import local_zone, parse_date, parse_when
from heapwright.errors import HeapwrightError, PlanError
from heapwright.exchange.plankeys import TABLES, Key, Table
from heapwright.units import REGISTER, Ranged, parse

__all__ = ["read_plan", "read_plan_text"]

_DEFAULT_BARROW = Ranged(0.09, 0.08, 0.105)
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
    try:
        text = path.read_text(encoding="utf-8")
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
    return read_plan_text(text, now=now, name=str(path))


def read_plan_text(text: str, *, now: datetime, name: str = "plan") -> Trial:
    """The plan in *text*; *name* stands in errors. Raises `PlanError`."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at line (\d+), column \d+\)", str(error))
        where = f"{name}, line {found[1]}" if found else name
        raise PlanError(
            "this line is not TOML: " + re.sub(r"\s*\(at .*\)$", "", str(error)),
            where=where,
            way_out='Write key = "text" or key = number, and put text in quotes',
        ) from None
    return _Reader(raw, _Lines(text, name), now).trial()


class _Lines:
    """Where each key of a TOML text stands."""

    def __init__(self, text: str, name: str) -> None:
        self.name = name
        self._line: dict[tuple[str, int, str], int] = {}
        counts: dict[str, int] = {}
        table, index = "", 0
        for number, line in enumerate(text.splitlines(), 1):
            header = re.match(r"\s*(\[\[?)\s*([\w-]+)\s*\]", line)
            key = re.match(r"\s*([\w-]+|\"[^\"]+\")\s*=", line)
            if header:
                table = header[2]
                index = counts.get(table, -1) + 1 if header[1] == "[[" else 0
                counts[table] = index
                self._line.setdefault((table, index, ""), number)
            elif key:
                self._line.setdefault((table, index, key[1].strip('"')), number)

    def where(self, table: str, index: int = 0, key: str = "") -> str:
        line = self._line.get((table, index, key)) or self._line.get((table, index, ""))
        return f"{self.name}, line {line}" if line else self.name


class _Reader:
    """One pass over a parsed plan, table by table."""

    def __init__(self, raw: Mapping[str, Any], lines: _Lines, now: datetime) -> None:
        self.raw, self.lines, self.now = raw, lines, now
        self.barrow = _DEFAULT_BARROW
        self._check_names()

    # -- reading single values ------------------------------------------------------------------

    def _check_names(self) -> None:
        known = {t.name: t for t in TABLES}
        for name, content in self.raw.items():
            table = known.get(name)
            if table is None:
                self._fail("there is no such table in a plan", name, 0, "", name, known)
                continue
            rows = content if isinstance(content, list) else [content]
            if table.many != isinstance(content, list) or not all(
                isinstance(r, dict) for r in rows
            ):
                raise PlanError(
                    f"this table is written {table.header}",
                    where=self.lines.where(name),
                    field=name,
                    way_out=f"Write {table.header} on a line of its own",
                )
            for index, row in enumerate(rows):
                for key in row:
                    if table.key(key) is None:
                        self._fail(
                            f"there is no such key in {table.header}",
                            name,
                            index,
                            key,
                            key,
                            [k.name for k in table.keys],
                        )
                for wanted in table.keys:
                    if wanted.required and wanted.name not in row:
                        raise PlanError(
                            f"{table.header} needs the key {wanted.name} ({wanted.meaning})",
                            where=self.lines.where(name, index),
                            field=wanted.name,
                            way_out=f"Write {wanted.name} = {wanted.example}",
                        )

    def _fail(self, what: str, table: str, index: int, key: str, value: str, known: Any) -> None:
        near = difflib.get_close_matches(value, list(known), n=1)
        raise PlanError(
            what,
            where=self.lines.where(table, index, key),
            field="key" if key else "table",
            value=value,
            way_out=f"Did you mean {near[0]}" if near else "Known: " + ", ".join(known),
        )

    def rows(self, table: str) -> list[Mapping[str, Any]]:
        content = self.raw.get(table, [])
        return content if isinstance(content, list) else [content]

    def get(self, table: str, key: str, *, index: int = 0) -> Any:
        """The value of a key as its declaration reads it; None when it is not there."""
        rows = self.rows(table)
        if index >= len(rows) or key not in rows[index]:
            return None
        declared = next(t for t in TABLES if t.name == table).key(key)
        assert declared is not None
        value = rows[index][key]
        try:
            return self._read(declared, value)
        except HeapwrightError as error:
            raise PlanError(
                error.what,
                where=self.lines.where(table, index, key),
                field=key,
                value=repr(value) if isinstance(value, str) else value,
                way_out=error.way_out,
            ) from None

    def _read(self, key: Key, value: Any) -> Any:
        if key.reads in ("text", "choice"):
            if isinstance(value, (date, datetime, int, float)) and not isinstance(value, bool):
                value = str(value)
            if not isinstance(value, str) or not value.strip():
                raise PlanError(
                    "text in quotes was expected", way_out=f"Write {key.name} = {key.example}"
                )
            if key.choices and value not in key.choices:
                raise PlanError("no such choice", way_out="One of " + ", ".join(key.choices))
            return value.strip()
        if key.reads == "whole":
            if isinstance(value, bool) or not isinstance(value, int) or value < 0:
                raise PlanError(
                    "a whole number was expected", way_out=f"Write {key.name} = {key.example}"
                )
            return value
        if key.reads == "yes/no":
            if not isinstance(value, bool):
                raise PlanError("true or false was expected", way_out=f"Write {key.name} = true")
            return value
        if key.reads == "date":
            return parse_date(value, field=key.name, now=self.now)
        if key.reads == "names":
            if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
                raise PlanError(
                    "a list of names was expected", way_out=f"Write {key.name} = {key.example}"
                )
            return tuple(v.strip() for v in value)
        if key.reads == "age":
            return parse(value, "age_d", field=key.name)
        extra = {
            "barrow": self.barrow.typical,
            "load": self.barrow.typical,
            "barrow load": self.barrow.typical,
        }
        if key.reads != "volume_m3" or key.name == "volume" and key.example.endswith('litres"'):
            extra = {}
        unit = "%" if quantity(key.reads).shown == "%" and _is_percent(value) else None
        return parse(value, key.reads, field=key.name, extra=extra, default_unit=unit)

    def one(self, table: str, key: str, *, index: int = 0) -> float | None:
        """The typical value of a quantity, or None."""
        found = self.get(table, key, index=index)
        return None if found is None else float(found.typical)

    # -- building the trial -----------------------------------------------------------------------

    def trial(self) -> Trial:
        name = self.get("trial", "name")
        if name is None:
            raise PlanError(
                "a plan needs a [trial] table with a name",
                where=self.lines.name,
                field="trial",
                way_out='Write [trial] and, below it, name = "Ferncombe 2026"',
            )
        self.barrow = self.get("barrow", "volume") or _DEFAULT_BARROW
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
            "heap": ("place", "downhill"),
        }
        if error.field == "way":
            for index, row in enumerate(self.rows("heap")):
                if str(row.get("way", "")) == str(error.value):
                    return self.lines.where("heap", index, "way")
            return self.lines.where("outcome", 0, "control")
        if error.field and error.field.endswith(" name"):
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
            self._fail("no such outcome", "outcome", 0, "decides", decides, REGISTER)
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
            ways=tuple((w.name, _way_text(w)) for w in ways),
            seed=self.get("trial", "seed") or 1,
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
            if name not in REGISTER:
                self._fail("no such outcome", "outcome", 0, "also", name, REGISTER)
        return also

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
        )

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
            value = self.get("ingredient", key, index=index)
            if value is not None:
                own[name] = Measured(
                    value, method=method, basis=basis if key == "moisture" else "dry"
                )
        return Ingredient(
            name=self.get("ingredient", "name", index=index),
            like=self.get("ingredient", "like", index=index),
            volume_m3=self._amount(index),
            mass_kg=self.get("ingredient", "mass", index=index),
            measured=own,
        )

    def _amount(self, index: int) -> Ranged | None:
        """The volume of an ingredient; counted barrows carry the spread of the barrow."""
        amount: Ranged | None = self.get("ingredient", "amount", index=index)
        text = str(self.rows("ingredient")[index].get("amount", ""))
        if amount is None or not re.search(r"barrow|load", text, re.IGNORECASE):
            return amount
        low = self.barrow.low / self.barrow.typical
        high = self.barrow.high / self.barrow.typical
        return Ranged(amount.typical, amount.low * low, amount.high * high)

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


def _way_text(way: Treatment) -> str:
    """The details of a way in one line, as locked."""
    parts = [way.kind]
    if way.first_after_d is not None:
        parts.append(f"first turn at {way.first_after_d:g} d")
    if way.every_d is not None:
        parts.append(f"then every {way.every_d:g} d")
    if way.vent is not None:
        v = way.vent
        lie = "upright" if v.upright else "lying"
        parts.append(
            f"{v.pipes} pipes {lie}, {v.diameter_m * 100:g} cm, {v.hole_rows} rows of holes"
        )
        if v.spacing_m is not None:
            parts.append(f"{v.spacing_m * 100:g} cm apart")
        parts.append(
            v.state if v.open_after_d is None else f"{v.state}, opened at {v.open_after_d:g} d"
        )
        if v.pull_after_d is not None:
            parts.append(f"pulled at {v.pull_after_d:g} d")
    if way.note:
        parts.append(way.note)
    return ", ".join(parts)
