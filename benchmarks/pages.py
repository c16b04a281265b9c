"""How fast the pages are: the round page over a weak link, charts of long trials on loopback.

Run: ``python benchmarks/pages.py [--repeats 3]`` (about three minutes; needs Chromium, given by
``--chromium``). INVENTED data throughout: the six heaps of the example plan over 200 days, read
on 20 and on 200 of them. Both books are served in one run by a server of their own and asked in
turn, so that the ratios come from one run; times are the best of the repeats and those of the
machine it runs on, beside what the server's processor spent, which nothing else that runs blurs.
Writes ``benchmarks/results/pages.json``.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.request import urlopen

from playwright.sync_api import Browser, Page, sync_playwright

from heapwright.domain.entries import Event, Reading, Round, Weather
from heapwright.domain.when import When
from heapwright.services.plans import example_plan, lock_text
from heapwright.store.book import Book

RESULT = Path(__file__).parent / "results" / "pages.json"
BUILT = datetime(2026, 4, 18, 9, tzinfo=UTC)
NOW = datetime(2026, 11, 6, 8, tzinfo=UTC)
#: the example's trial, made long enough for a round a day
LONGER = (("ends = 2026-06-18", "ends = 2026-11-04"), ('"5-55 days"', '"5-195 days"'))
ROUNDS = (20, 200)
#: a weak mobile link: bytes a second down and up, milliseconds
LINK = {"downloadThroughput": 200_000, "uploadThroughput": 93_750, "latency": 150}
#: what must hold at most: seconds, bytes and requests of the round page; seconds of a chart page
ROUND_PAGE, CHART_S = (1.0, 60_000, 3), 2.0
CHARTS = ("/trial", "/shows", "/shows/report", "/heaps/A", "/book")
DATA = ("/api/trial",)
#: seconds by the clock, and those of the server's processor
Took = tuple[float, ...]


def invented_book(where: Path, rounds: int) -> None:
    """The six heaps of the example plan, read *rounds* times until the end of their trial."""
    with Book(where) as book:
        plan = example_plan()
        for short, longer in LONGER:
            assert short in plan
            plan = plan.replace(short, longer)
        stored = lock_text(book, plan, now=BUILT - timedelta(days=1))
        trial, name = stored.trial, stored.trial.name
        entries: list[Any] = [
            Event(f"built-{h.name}", name, h.name, When.instant(BUILT), "built")
            for h in trial.heaps
        ]  # fmt: skip
        walks = []
        for n in range(rounds):
            age = 1.0 + 199.0 * n / (rounds - 1)
            when = When.instant(BUILT + timedelta(days=age))
            walk = Round(f"walk-{n}", name, when, "invented reader")
            walks.append(walk)
            air = round(12 + 5 * math.sin(age / 4), 1)
            entries.append(Weather(f"air-{n}", name, when, air, typed=f"{air}", round=walk.id))
            for k, heap in enumerate(trial.heaps):
                for m, spot in enumerate(trial.spots):
                    warm = 14 + 42 * math.exp(-age / 90) - 3 * m + 1.5 * k + math.sin(age + k + m)
                    entries.append(
                        Reading(
                            f"r-{n}-{k}-{m}", name, heap.name, spot.name, when, round(warm, 1),
                            typed=f"{warm:.1f}", typed_unit="C", probe="P1", depth_m=spot.depth_m,
                            round=walk.id,
                        )
                    )  # fmt: skip
        book.add(entries, rounds=walks, now=NOW)


@contextmanager
def served(book: Path) -> Iterator[tuple[str, int]]:
    """The address of a server of its own for a book, and the number of its process."""
    server = subprocess.Popen(
        [sys.executable, "-u", "-m", "heapwright", "serve", "--book", str(book), "--port", "0"],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        env=os.environ | {"HEAPWRIGHT_NOW": NOW.isoformat()},
    )  # fmt: skip
    try:
        assert server.stdout is not None
        address = next(word for word in server.stdout.readline().split() if "://" in word)
        _answering(address)
        yield address, server.pid
    finally:
        server.terminate()
        server.wait(20)


def _answering(address: str) -> None:
    ends = time.monotonic() + 30
    while time.monotonic() < ends:
        try:
            urlopen(f"{address}/static/mark.svg", timeout=5).close()
            return
        except OSError:
            time.sleep(0.05)
    raise RuntimeError("the server did not start")


def cpu_s(process: int) -> float:
    """Seconds of processor that a process has used (Linux); not blurred by what else runs."""
    fields = Path(f"/proc/{process}/stat").read_text("utf-8").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def timed(work: Callable[[], object]) -> float:
    """Seconds that *work* takes."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


# --- the round page over a weak link --------------------------------------------------------------


def round_page(browser: Browser, address: str) -> dict[str, float]:
    """Seconds until the first key can be used, bytes and requests, with nothing kept before."""
    context = browser.new_context(viewport={"width": 360, "height": 740})
    page = context.new_page()
    link = context.new_cdp_session(page)
    got: dict[str, float] = {}
    link.on(
        "Network.loadingFinished", lambda e: got.update({e["requestId"]: e["encodedDataLength"]})
    )
    link.send("Network.enable")
    link.send("Network.setCacheDisabled", {"cacheDisabled": True})
    link.send("Network.emulateNetworkConditions", {"offline": False, **LINK})
    seconds = timed(lambda: _open_round(page, address))
    page.wait_for_timeout(300)
    context.close()
    return {"seconds": seconds, "bytes": sum(got.values()), "requests": len(got)}


def _open_round(page: Page, address: str) -> None:
    page.goto(f"{address}/round", wait_until="commit")
    page.wait_for_selector("body[data-ready=yes]")


# --- chart pages on loopback ----------------------------------------------------------------------


def chart_page(browser: Browser, address: str, path: str) -> float:
    """Seconds until a page is loaded, its curves drawn."""
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    seconds = timed(lambda: page.goto(address + path, wait_until="load"))
    if path in ("/trial", "/shows/report"):
        assert page.locator("svg path").count() > 0
    page.close()
    return seconds


def closer_look(browser: Browser, address: str) -> float:
    """Seconds from the tap on "Look closer" until that chart is drawn."""
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.goto(f"{address}/trial", wait_until="load")
    page.click("#closer")
    seconds = timed(lambda: page.wait_for_selector("#closer-chart .main-svg .scatterlayer .trace"))
    page.close()
    return seconds


def data(address: str, path: str) -> float:
    """Seconds until all of a JSON answer is here."""
    return timed(lambda: urlopen(address + path, timeout=60).read())


def measured(browser: Browser, books: dict[int, Path], repeats: int) -> dict[str, Any]:
    """First call on a fresh server and the best of later ones; both books take turns."""
    best: dict[str, dict[str, dict[int, Took]]] = {}
    walked: list[dict[str, float]] = []
    browser.new_page().close()
    for _ in range(repeats):
        with ExitStack() as open_:
            at = {n: open_.enter_context(served(book)) for n, book in books.items()}
            for place, work in _asked(browser):
                for call in ("first", "later"):
                    known = best.setdefault(place, {}).setdefault(call, {})
                    for n, (address, process) in at.items():
                        before = cpu_s(process)
                        took = work(address), cpu_s(process) - before
                        known[n] = tuple(map(min, zip(took, known.get(n, took), strict=True)))
            walked.append(round_page(browser, at[min(books)][0]))
    return {
        "repeats": repeats,
        "round_page": min(walked, key=lambda w: w["seconds"]),
        "pages": {
            place: {call: _by_rounds(known) for call, known in calls.items()}
            for place, calls in best.items()
        },
    }


def _asked(browser: Browser) -> list[tuple[str, Callable[[str], float]]]:
    made: list[tuple[str, Callable[[str], float]]] = [
        *((p, lambda address, p=p: chart_page(browser, address, p)) for p in CHARTS),
        *((p, lambda address, p=p: data(address, p)) for p in DATA),
    ]
    return [*made, ("look closer", lambda address: closer_look(browser, address))]


def _by_rounds(took: dict[int, Took]) -> dict[str, float]:
    few, many = took[ROUNDS[0]], took[ROUNDS[-1]]
    return {
        f"{ROUNDS[0]} rounds": few[0], f"{ROUNDS[-1]} rounds": many[0], "ratio": many[0] / few[0],
        "server_cpu": many[1],
    }  # fmt: skip


def lines(found: dict[str, Any]) -> Iterator[str]:
    """What was measured, for the reader."""
    w, (seconds, size, requests) = found["round_page"], ROUND_PAGE
    yield (
        f"round page over 1.6 Mbit/s and 150 ms: first key after {w['seconds']:.2f} s (at most "
        f"{seconds:g}), {w['bytes'] / 1000:.1f} kB (at most {size / 1000:g}), {w['requests']:.0f} "
        f"requests (at most {requests})"
    )
    few, many = (f"{n} rounds" for n in ROUNDS)
    head = f"[s], at most {CHART_S:g}"
    yield f"\n{head:16}{'call':>8}{few:>12}{many:>12}{'ratio':>8}{'server CPU of that':>20}"
    for place, calls in found["pages"].items():
        for call, t in calls.items():
            times = f"{t[few]:12.2f}{t[many]:12.2f}{t['ratio']:8.1f}{t['server_cpu']:20.2f}"
            yield f"{place:16}{call:>8}{times}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--chromium", default="/usr/bin/chromium")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        books = {n: Path(folder) / f"invented-{n}.sqlite" for n in ROUNDS}
        for n, where in books.items():
            invented_book(where, n)
        browser = play.chromium.launch(executable_path=given.chromium, args=["--no-sandbox"])
        found = measured(browser, books, given.repeats)
        browser.close()
    RESULT.parent.mkdir(exist_ok=True)
    RESULT.write_text(json.dumps(found, indent=2) + "\n", encoding="utf-8")
    print("\n".join(lines(found)))


if __name__ == "__main__":
    main()
