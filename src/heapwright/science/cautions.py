"""What to take care of at work with compost, each with its source, and when it applies.

Units: degrees C. Conventions: the texts stand in ``cautions.toml``, their temperatures in
``values/caution.toml``, where advice takes them from too. A caution is met when all that its row
names holds: the work, the heat of the core, the circumstances, a word in the name of a material.
Of the ladder of heat one rung is said. What is not known meets nothing.
"""

from __future__ import annotations

import functools
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any

from heapwright.errors import TableError, UnknownNameError
from heapwright.science.values import SEEN, value
from heapwright.units import quantity

__all__ = [
    "CIRCUMSTANCES", "WORKS", "Caution", "Met", "caution", "cautions", "cautions_for", "met_in",
]  # fmt: skip

#: Kinds of work, and the yard words for them.
WORKS: dict[str, str] = {
    "planning": "choosing what goes in, and how high",
    "building": "building heaps",
    "reading": "reading heaps with the probe",
    "turning": "turning",
    "opening": "opening a heap or taking samples",
    "watering": "watering",
    "drying": "drying samples",
    "entering": "climbing into a pit or bin",
    "sieving": "sieving by hand",
    "screening": "sieving by machine",
    "spreading": "spreading",
    "filling": "filling pots or bags",
    "using": "using it",
    "selling": "giving it away or selling it",
}  # fmt: skip
#: Circumstances, and the yard words for them.
CIRCUMSTANCES: dict[str, str] = {
    "shed": "in a shed or container",
    "fertilised": "nitrogen from a bag",
    "tall": "higher than a person",
    "heavy": "much to be moved by hand",
}


@dataclass(frozen=True, slots=True)
class Caution:
    """One row of ``cautions.toml``.

    from_c, until_c : core temperatures it holds from and below [degrees C], None for any;
    materials : words of which one stands in a name; bars : uses it rules out; seen : see
    `heapwright.science.values.SEEN`.
    """

    key: str
    title: str
    text: str
    source: str
    edition: str
    seen: str
    works: tuple[str, ...] = ()
    from_c: float | None = None
    until_c: float | None = None
    when: tuple[str, ...] = ()
    materials: tuple[str, ...] = ()
    bars: tuple[str, ...] = ()

    @property
    def sourced(self) -> str:
        """Source and edition, and how far they were read.

        >>> caution("heat-85").sourced
        'USDA NRCS, practice 317 job sheet: act at once above 185 F (85 C), 2002'
        """
        mark = {"seen": "", "own": "own choice", "partly seen": "partly seen"}.get(
            self.seen, "from memory" if self.seen.startswith("memory") else ""
        )
        edition = "" if self.edition == "no edition" else self.edition
        return ", ".join(part for part in (self.source, edition, mark) if part)

    @property
    def said(self) -> str:
        """The text with its source, as one line."""
        return f"{self.text} ({self.sourced})"

    @property
    def applies(self) -> str:
        """When it applies, in words.

        >>> caution("steam").applies
        'at turning, opening a heap or taking samples; core from 65 and below 85 C'
        """
        parts = ["at " + ", ".join(WORKS[w] for w in self.works)] if self.works else []
        if self.from_c is not None:
            below = "" if self.until_c is None else f" and below {self.until_c:g}"
            parts.append(f"core from {self.from_c:g}{below} C")
        parts += [CIRCUMSTANCES[w] for w in self.when]
        if self.materials:
            parts.append("with one of these in the heap: " + ", ".join(self.materials))
        return "; ".join(parts)

    def names(self, materials: Iterable[str]) -> tuple[str, ...]:
        """Those of *materials* that one of its words stands in, whole and in any case.

        >>> caution("treated-wood").names(["untreated wood", "Painted boards"])
        ('Painted boards',)
        """
        found = _words(self.materials)
        return tuple(m for m in materials if found is not None and found.search(m))


@functools.cache
def _words(words: tuple[str, ...]) -> re.Pattern[str] | None:
    if not words:
        return None
    each = "|".join(re.escape(w).replace(r"\ ", r"[\s_-]+") for w in words)
    return re.compile(rf"(?<![\w-])(?:{each})(?:s|es)?(?!\w)", re.IGNORECASE)


@functools.cache
def cautions() -> Mapping[str, Caution]:
    """All of them by key, in the order of the file; raises `TableError` for a row that is wrong."""
    path = resources.files("heapwright.science").joinpath("cautions.toml")
    rows = tomllib.loads(path.read_text("utf-8"))
    return {key: _caution(key, row) for key, row in rows.items()}


def _caution(key: str, row: Mapping[str, Any]) -> Caution:
    where = f"cautions.toml, {key}"
    missing = [k for k in ("title", "text", "source", "edition", "seen") if not row.get(k)]
    if missing:
        raise TableError(f"the caution lacks {', '.join(missing)}", where=where)
    for field, known in (("works", WORKS), ("when", CIRCUMSTANCES)):
        strange = [w for w in row.get(field, ()) if w not in known]
        if strange:
            raise TableError("no such word", field=field, value=strange[0], where=where)
    if row["seen"] not in SEEN:
        raise TableError("no such mark", field="seen", value=row["seen"], where=where)
    from_c, until_c = (
        value("caution", row[k]).value if k in row else None for k in ("from_c", "until_c")
    )
    works, when, materials, bars = (
        tuple(row.get(k, ())) for k in ("works", "when", "materials", "bars")
    )
    return Caution(
        key, row["title"], row["text"], row["source"], row["edition"], row["seen"], works,
        from_c, until_c, when, materials, bars,
    )  # fmt: skip


def caution(key: str) -> Caution:
    """The caution called *key*; raises `UnknownNameError` naming all of them."""
    try:
        return cautions()[key]
    except KeyError:
        raise UnknownNameError(
            "no caution of that name", field="caution", value=key,
            way_out="One of " + ", ".join(cautions()),
        ) from None  # fmt: skip


def cautions_for(
    *,
    work: str | Iterable[str] | None = None,
    core_c: float | None = None,
    materials: Iterable[str] = (),
    shed: bool = False,
    fertilised: bool = False,
    tall: bool = False,
    heavy: bool = False,
) -> tuple[Caution, ...]:
    """The cautions that are met, each once.

    Parameters
    ----------
    work : str or iterable of str, optional
        Keys of `WORKS`.
    core_c : float, optional
        The last reading of the core [degrees C].
    materials : iterable of str
        Names of what is in the heap.
    shed, fertilised, tall, heavy : bool
        See `CIRCUMSTANCES`.

    Raises
    ------
    UnknownNameError
        A work that is not known.
    QuantityError
        A temperature outside -40 to 95 C.

    Examples
    --------
    >>> [c.key for c in cautions_for(work="watering", core_c=40)]
    ['hose-sun', 'hose-back']
    >>> [c.key for c in cautions_for(work="turning", core_c=80)]
    ['steam', 'heat-74', 'heat-75', 'spores']
    >>> [c.key for c in cautions_for(core_c=90)]
    ['heat-85']
    """
    works = (work,) if isinstance(work, str) else tuple(work or ())
    for each in works:
        if each not in WORKS:
            raise UnknownNameError("no such work", field="work", value=each,
                                   way_out="One of " + ", ".join(WORKS))  # fmt: skip
    if core_c is not None:
        quantity("temp_c").check(core_c, field="core")
    holds = {"shed": shed, "fertilised": fertilised, "tall": tall, "heavy": heavy}
    names = tuple(materials)
    return tuple(
        c for c in cautions().values()
        if (not c.works or set(c.works) & set(works))
        and _hot(c, core_c)
        and all(holds[w] for w in c.when)
        and (not c.materials or c.names(names))
    )  # fmt: skip


def _hot(c: Caution, core_c: float | None) -> bool:
    """Whether the heat that a caution names is met; one that names none always is."""
    if c.from_c is None:
        return True
    return core_c is not None and c.from_c <= core_c < (c.until_c or float("inf"))


@dataclass(frozen=True, slots=True)
class Met:
    """A caution where work meets it, with the heaps it is met at; those are said where its heat
    is what brings it."""

    caution: Caution
    heaps: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """Key of the caution."""
        return self.caution.key

    @property
    def sourced(self) -> str:
        """Its source and edition."""
        return self.caution.sourced

    @property
    def text(self) -> str:
        """What is said, with the heaps where that matters.

        >>> Met(caution("steam"), ("C", "D")).text
        'Heaps C, D: The steam of an opened heap scalds: stand back and let it blow off first.'
        """
        if self.caution.from_c is None or not self.heaps:
            return self.caution.text
        named = ", ".join(self.heaps)
        return f"Heap{'s' if len(self.heaps) > 1 else ''} {named}: {self.caution.text}"

    def to_json(self) -> dict[str, Any]:
        """As plain values."""
        c = self.caution
        return {"key": c.key, "text": self.text, "heaps": list(self.heaps), "source": c.source,
                "edition": c.edition, "seen": c.seen}  # fmt: skip


def met_in(line: str | Met) -> Met | None:
    """The caution whose text a line begins with; None for a line of another kind.

    >>> met_in(caution("steam").said).key, met_in("Mind the step.")
    ('steam', None)
    """
    if isinstance(line, Met):
        return line
    return next((Met(c) for c in cautions().values() if line.startswith(c.text)), None)
