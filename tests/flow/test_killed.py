"""Imports killed at any moment: no accepted row lost, no half import, the book still opens."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from datetime import datetime, timedelta
from pathlib import Path

import sqlalchemy as sa
from tests.conftest import LONG

from heapwright.store import tables
from heapwright.store.book import Book

ROWS = 1500
KILLS = 200 if LONG else 20


def _sheet(path: Path, number: int) -> None:
    """A logger file of its own: ROWS readings of one heap, a month after the one before."""
    first = datetime(2026, 1, 1) + timedelta(days=40 * number)
    lines = ["time,heap,spot,temp C"]
    for k in range(ROWS):
        moment = first + timedelta(minutes=30 * k)
        lines.append(f"{moment:%Y-%m-%d %H:%M},A,core,{30 + k % 20}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _start(sheet: Path, url: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "heapwright", "import", str(sheet), "--trial", "T", "--book", url],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=dict(os.environ),
    )  # fmt: skip


def _rows(url: str) -> int:
    with Book(url) as book, book.read() as link:
        return int(link.scalar(sa.select(sa.func.count()).select_from(tables.reading)) or 0)


def test_sigkill_at_random_moments(book_url: str, tmp_path: Path, now: datetime) -> None:
    rng = random.Random(20260418)
    with Book(book_url) as book:
        book.save_plan("T", "", heaps=["A"], fingerprint="", locked=False, now=now)
    sheet = tmp_path / "sheet.csv"
    _sheet(sheet, 0)
    began = time.monotonic()
    whole = _start(sheet, book_url)
    _, err = whole.communicate(timeout=120)
    assert whole.returncode == 0, err
    took = time.monotonic() - began
    expected = ROWS
    assert _rows(book_url) == expected
    landed = killed_before = 0
    for number in range(1, KILLS + 1):
        _sheet(sheet, number)
        process = _start(sheet, book_url)
        time.sleep(rng.uniform(0.2, 1.15) * took)
        process.kill()
        out, _ = process.communicate(timeout=120)
        rows = _rows(book_url)
        assert rows in (expected, expected + ROWS), "half an import was kept"
        if f"{ROWS} new" in out:
            assert rows == expected + ROWS, "an accepted import was lost"
        if rows == expected:
            killed_before += 1
        else:
            landed += 1
        expected = rows
    assert killed_before > 0
    assert landed + killed_before == KILLS
