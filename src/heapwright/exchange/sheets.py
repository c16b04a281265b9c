"""Other people's sheets as text cells: encoding, delimiter, header, rows, and reading numbers.

Units: none; cells stay text until a column has its role. Conventions: lines before the header
(what a logger says of itself) are skipped and counted; an empty cell, ``NA``, ``-`` and the like
are gaps; a row is named by its line in the file.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from heapwright.errors import TableError

__all__ = [
    "GAPS",
    "Decimal",
    "Sheet",
    "is_gap",
    "number_of",
    "numbers_look",
    "plain_header",
    "read_sheet",
    "unit_in",
]

Decimal = Literal["comma", "point", "mixed"]

#: Cells that stand for nothing read.
GAPS = frozenset(
    ("", "na", "n/a", "#n/a", "nan", "null", "none", "-", "--", "–", "—", "?", "x", "missing", ".")
)
_DELIMITERS = ("\t", ";", "|", ",")
_MOST_BYTES = 200_000_000
_NUMBER = re.compile(
    r"(?P<number>[-+−]?\d[\d.,  ']*(?:[eE][-+]?\d+)?|[-+−]?[.,]\d+)\s*(?P<unit>\D.*)?"
)
_PLAIN = re.compile(r"-?\d+(?:\.\d+)?")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet as text: name, header, rows (as wide as the header), and the file line of each row.

    encoding, delimiter : as found; skipped : lines above the header.
    """

    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    encoding: str
    delimiter: str
    skipped: int = 0

    @property
    def fingerprint(self) -> str:
        """The same for every sheet with the same header, whatever its case and spaces."""
        text = "\x1f".join(" ".join(h.lower().split()) for h in self.header)
        return hashlib.sha256(text.encode()).hexdigest()[:40]

    def column(self, index: int) -> list[str]:
        """The cells of one column."""
        return [row[index] for row in self.rows]

    def index(self, header: str) -> int | None:
        """The column with this header, whatever its case; None when there is none."""
        wanted = header.strip().lower()
        return next((i for i, h in enumerate(self.header) if h.lower() == wanted), None)

    def where(self, row: int, column: int | None = None) -> str:
        """File, line and column for an error."""
        at = f"{self.name}, line {self.lines[row]}"
        return at if column is None else f"{at}, column {self.header[column]}"


def is_gap(cell: str) -> bool:
    """True for a cell that stands for nothing read.

    >>> is_gap("NA"), is_gap("0")
    (True, False)
    """
    return cell.strip().lower() in GAPS


def read_sheet(path: Path) -> Sheet:
    """The sheet in the file at *path*.

    UTF-8 (with or without mark), UTF-16 with mark, or cp1252; comma, semicolon, tab or bar.

    Raises
    ------
    TableError
        Missing, not text, empty, one column only, no rows, a doubled or missing header, an
        unclosed quotation mark, or a row wider than the header.
    """
    text, encoding = _text(path)
    name = path.name
    if not text.strip():
        raise TableError("the file is empty", where=name, way_out="Save the sheet again as CSV")
    delimiter = _delimiter(text, name)
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
        table = [(reader.line_num, [c.strip() for c in row]) for row in reader]
    except csv.Error as error:
        raise TableError(
            f"the quotation marks or cells cannot be told apart ({error})",
            where=f"{name}, line {reader.line_num}",
            way_out="Close the quotation mark, or save the sheet again as CSV",
        ) from None
    table = [(line, row) for line, row in table if any(row)]
    width = _usual_width([row for _, row in table])
    enough = max(2, -(-width * 3 // 5))
    first = next((i for i, (_, row) in enumerate(table) if len(_filled(row)) >= enough), 0)
    header_line, header = table[first]
    while header and not header[-1]:
        header.pop()
    _check_header(header, f"{name}, line {header_line}")
    rows, lines = _rows(table[first + 1 :], header, name)
    if not rows:
        raise TableError(
            "there is a header but no row below it", where=name, way_out="Is it the right file?"
        )
    return Sheet(name, tuple(header), tuple(rows), tuple(lines), encoding, delimiter, first)


def _text(path: Path) -> tuple[str, str]:
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise TableError(
                "the file is larger than 200 MB", field="file", value=str(path),
                way_out="Split it by month",
            )  # fmt: skip
        raw = path.read_bytes()
    except FileNotFoundError:
        raise TableError(
            "there is no such file", field="file", value=str(path), way_out="Check its path"
        ) from None
    except OSError as error:
        raise TableError(
            f"it cannot be read ({error.strerror or error})", field="file", value=str(path),
            way_out="Name a CSV file",
        ) from None  # fmt: skip
    guesses = ["utf-16"] if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else ["utf-8-sig", "cp1252"]
    for encoding in guesses:
        try:
            text = raw.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\x00" not in text:
            return text, encoding
    raise TableError(
        "this is no text file", field="file", value=str(path),
        way_out="Save the sheet as CSV (not as a workbook)",
    )  # fmt: skip


def _delimiter(text: str, name: str) -> str:
    """The delimiter that cuts most lines into the same number of cells, at least two."""
    sample = text.splitlines()[:300]
    best, found = 0.0, None
    for delimiter in _DELIMITERS:
        try:
            widths = [len(r) for r in csv.reader(sample, delimiter=delimiter) if any(r)]
        except csv.Error:
            continue
        counts = Counter(w for w in widths if w > 1)
        if not counts:
            continue
        share = counts.most_common(1)[0][1] / len(widths)
        if share > best + 0.05:
            best, found = share, delimiter
    if found is None:
        raise TableError(
            "only one column was found",
            where=name,
            way_out="Columns are parted by commas, semicolons, tabs or bars",
        )
    return found


def _usual_width(rows: Sequence[Sequence[str]]) -> int:
    counts = Counter(len(row) for row in rows[:300])
    return max(counts, key=lambda width: (counts[width], width))


def _filled(row: Sequence[str]) -> list[str]:
    return [c for c in row if c]


def _check_header(header: Sequence[str], where: str) -> None:
    if any(not h for h in header):
        raise TableError(
            "a column has no header",
            where=where,
            field="column",
            value=next(i for i, h in enumerate(header, 1) if not h),
            way_out="Give every column a name",
        )
    doubles = [h for h, n in Counter(h.lower() for h in header).items() if n > 1]
    if doubles:
        raise TableError(
            "two columns have the same header",
            where=where,
            field="column",
            value=doubles[0],
            way_out="Give every column a name of its own",
        )
    if all(re.fullmatch(r"[-+]?[\d.,:/ -]+", h) for h in header):
        raise TableError(
            "the first row holds numbers, so there is no header",
            where=where,
            way_out="Put a row with the names of the columns on top",
        )


def _rows(
    table: Iterable[tuple[int, list[str]]], header: Sequence[str], name: str
) -> tuple[list[tuple[str, ...]], list[int]]:
    width = len(header)
    rows: list[tuple[str, ...]] = []
    lines: list[int] = []
    for line, row in table:
        if len(row) > width and any(row[width:]):
            raise TableError(
                f"this row has {len(row)} cells where the header has {width}",
                where=f"{name}, line {line}",
                way_out="A decimal comma in a file parted by commas stands in quotation marks",
            )
        rows.append(tuple(row[:width]) + ("",) * (width - len(row)))
        lines.append(line)
    return rows, lines


# --- cells ---------------------------------------------------------------------------------------


def plain_header(header: str) -> str:
    """A header as bare lower-case words, without its unit.

    >>> plain_header("Temp. core (°C)"), plain_header("air_temp [F]")
    ('temp core', 'air temp')
    """
    bare = re.sub(r"[\(\[][^)\]]*[\)\]]", " ", header)
    bare = re.sub(r"[_.,/:\-]+", " ", bare)
    bare = re.sub(r"°\s*[CcFf]\b|\bdeg(?:rees)?\s*[CcFf]\b", " ", bare)
    return " ".join(bare.lower().split())


def unit_in(header: str) -> str | None:
    """The unit a header names in brackets or with a degree sign; None when it names none.

    >>> unit_in("core (°F)"), unit_in("mass [kg]"), unit_in("core")
    ('F', 'kg', None)
    """
    found = re.search(r"[\(\[]\s*([^)\]]+?)\s*[\)\]]", header)
    text = found[1] if found else None
    if text is None:
        degree = re.search(r"(?:°\s*|\bdeg(?:rees)?[ _]*)([CcFf])\b", header)
        if degree is None:
            return None
        text = degree[1]
    if re.fullmatch(r"(?:°|deg\.?|degrees?)?\s*(?:c|celsius)", text, re.IGNORECASE):
        return "C"
    if re.fullmatch(r"(?:°|deg\.?|degrees?)?\s*(?:f|fahrenheit)", text, re.IGNORECASE):
        return "F"
    return text


def numbers_look(cells: Iterable[str]) -> Decimal | Literal["thousands", "none"]:
    """How decimals are written in *cells*.

    ``comma``, ``point``, ``mixed`` (both, each a decimal mark), ``thousands`` (every mark is a
    comma before exactly three digits, so that nobody can tell), or ``none``.

    >>> numbers_look(["10,8", "50"]), numbers_look(["10,8", "313.4"]), numbers_look(["1,250"])
    ('comma', 'mixed', 'thousands')
    """
    commas = points = three = 0
    for cell in cells:
        if "," not in cell and "." not in cell:
            continue
        match = _NUMBER.fullmatch(cell.strip())
        if match is None:
            continue
        number = match["number"].strip()
        if "," in number and "." in number:
            if number.rfind(",") > number.rfind("."):
                commas += 1
            else:
                points += 1
        elif number.count(",") == 1:
            commas += 1
            three += len(number.split(",")[1]) == 3
        elif number.count(".") == 1:
            points += 1
    if commas and points:
        return "mixed"
    if commas:
        return "thousands" if three == commas else "comma"
    return "point" if points else "none"


def number_of(cell: str, decimal: Decimal) -> tuple[float, str]:
    """The number in a cell and the unit that stands behind it (empty for none).

    Raises `TableError` (without place) for anything that is no number or is written with the
    other decimal mark.

    >>> number_of("10,8", "mixed"), number_of("1.250,5 kg", "comma"), number_of("131F", "point")
    ((10.8, ''), (1250.5, 'kg'), (131.0, 'F'))
    """
    if _PLAIN.fullmatch(cell) and (decimal != "comma" or "." not in cell):
        return float(cell), ""
    match = _NUMBER.fullmatch(cell.strip())
    if match is None:
        raise TableError(
            "a number was expected", value=repr(cell), way_out="Correct it, or leave the cell empty"
        )
    number = re.sub(r"[  ']", "", match["number"]).replace("−", "-")
    unit = (match["unit"] or "").strip()
    mark, other = (",", ".") if decimal == "comma" else (".", ",")
    if decimal == "mixed":
        mark = "," if number.rfind(",") > number.rfind(".") else "."
        other = "." if mark == "," else ","
    whole, _, rest = number.partition(mark)
    grouped = re.fullmatch(rf"[-+]?\d{{1,3}}(?:{re.escape(other)}\d{{3}})+", whole)
    if grouped:
        whole = whole.replace(other, "")
    try:
        if other in whole + rest or mark in rest:
            raise ValueError
        return float(f"{whole}.{rest}" if rest else whole), unit
    except ValueError:
        said = "comma" if decimal == "comma" else "point"
        raise TableError(
            "this is no number" if decimal == "mixed" else f"no number with a decimal {said}",
            value=repr(cell),
            way_out="Correct it, or answer decimal=mixed" if decimal != "mixed" else "Correct it",
        ) from None
