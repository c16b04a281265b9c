"""A weather file for all calculations of a trial, as a page takes it, with what was answered of it.

Units: bytes. Conventions: the file stays beside the book under what it says (its hash) and its own
name, so that a calculation that goes on later finds the same weather; taking it out of use deletes
nothing. What it leaves open is asked before it is used.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from hashlib import sha256
from pathlib import Path

from heapwright.domain.when import local_zone
from heapwright.errors import InputError, UnknownNameError
from heapwright.exchange.files import write_whole
from heapwright.services.record import load_record
from heapwright.services.settings import beside
from heapwright.services.uploads import checked_name, disk_name
from heapwright.services.weather import read_weather
from heapwright.store.book import Book

__all__ = [
    "WEATHER_ENDINGS", "WEATHER_MOST_BYTES", "TrialWeather", "drop_weather", "keep_file",
    "kept_file", "use_weather", "weather_of",
]  # fmt: skip

#: largest file taken, two years by the hour with room to spare, and endings it may have
WEATHER_MOST_BYTES = 8_000_000
WEATHER_ENDINGS = (".csv", ".tsv", ".txt", ".epw", ".toml")
_KEY = re.compile(r"[0-9a-f]{16}")


@dataclass(frozen=True, slots=True)
class TrialWeather:
    """The weather of a trial's calculations: path; answers to what was asked of it; said : from
    where to where, and what it is, in words."""

    path: Path
    answers: Mapping[str, str]
    said: str


def keep_file(book: str, name: str, content: bytes) -> str:
    """Keep a weather file; returns the key that finds it again.

    Raises `InputError` for one that is too large, empty, or of another kind.
    """
    plain = checked_name(
        name, content, endings=WEATHER_ENDINGS, most=WEATHER_MOST_BYTES, kind="no weather file",
        way_out="An hourly or daily sheet as CSV, a TMY3 or EPW file, or a climate described in "
        "TOML", smaller="Cut it to the days of the trial",
    )  # fmt: skip
    key = sha256(content).hexdigest()[:16]
    folder = beside(book, ".weather") / key
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if not any(folder.iterdir()):
            write_whole(folder / disk_name(plain), content)
    except OSError as error:
        raise InputError(
            f"the file cannot be kept ({error.strerror})", field="file", value=plain
        ) from None
    return key


def kept_file(book: str, key: str) -> Path:
    """The file of a key; raises `UnknownNameError`."""
    folder = beside(book, ".weather") / key
    found = sorted(folder.iterdir()) if _KEY.fullmatch(key) and folder.is_dir() else []
    if not found:
        raise UnknownNameError(
            "this weather file is not here", field="file", value=key[:16],
            way_out="Choose the file again",
        )  # fmt: skip
    return found[0]


def use_weather(book: Book, trial: str, key: str, answers: Mapping[str, str]) -> TrialWeather:
    """Use a kept file for the calculations of a trial from now on.

    Raises `QuestionError` for what it leaves open, `UnknownNameError` for no such file or trial,
    and as `heapwright.services.weather.read_weather`.
    """
    path = kept_file(book.where, key)
    record = load_record(book, trial)
    place = record.plan.trial.place
    series = read_weather(path, answers=answers, place=place)
    zone = local_zone(place.time_zone)
    first, last = (
        t.astimezone(zone).date() for t in (series.start, series.end - timedelta(seconds=1))
    )
    said = f"{path.name}, a typical year" if series.typical else f"{path.name}, {first} to {last}"
    made = {"key": key, "answers": dict(answers), "said": said}
    write_whole(_note(book.where, record.name), json.dumps(made))
    return TrialWeather(path, dict(answers), said)


def weather_of(book: str, trial: str) -> TrialWeather | None:
    """The weather file in use for a trial, None where none is."""
    try:
        kept = json.loads(_note(book, trial).read_text(encoding="utf-8"))
        return TrialWeather(kept_file(book, kept["key"]), kept["answers"], kept["said"])
    except (OSError, ValueError, KeyError, UnknownNameError):
        return None


def drop_weather(book: str, trial: str) -> None:
    """Use the air that was read again; the file stays."""
    _note(book, trial).unlink(missing_ok=True)


def _note(book: str, trial: str) -> Path:
    """Where it is noted which file a trial uses."""
    name = sha256(trial.encode("utf-8", "surrogatepass")).hexdigest()[:16]
    return beside(book, ".weather") / f"{name}.json"
