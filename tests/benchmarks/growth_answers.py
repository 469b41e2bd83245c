"""What is asked of a grown record, and how soon it must answer: part of :mod:`tests.benchmarks.growth`."""

from __future__ import annotations

import asyncio
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from textual.app import App

from voicelog.records.store import Store
from voicelog.reports.across import gather_history, gather_overview
from voicelog.reports.across_html import history_html, overview_html
from voicelog.reports.across_pdf import history_pdf, overview_pdf
from voicelog.reports.html import html_report
from voicelog.reports.pdf import pdf_report
from voicelog.reports.tables import csv_report, json_report
from voicelog.reports.write import walk_contents
from voicelog.screens.review_screen import ReviewApp
from voicelog.screens.shop_screen import ShopApp
from voicelog.sheet.model import Sheet
from voicelog.sheet.policy import NO_POLICY
from voicelog.walk.agenda import agenda
from voicelog.walk.state import fold

AIM_S = 0.2
SIZE = (120, 40)
"""Columns and lines of the terminal that a screen is opened in."""
NOW = datetime(2030, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Answer:
    """How soon something was answered."""

    asked: str
    middle: float
    """Seconds, the median."""
    worst: float
    processor: float
    """Seconds of the processor, the median: the same on a busy machine."""
    aim: float | None
    came: str = ""


@dataclass(frozen=True, slots=True)
class Seen:
    """When something was first to be seen: what comes after, such as closing it, does not count."""

    at: float
    used: float
    """Seconds of the processor until then."""


def clock() -> datetime:
    """Return the time at which everything is asked."""
    return NOW


def answers(folder: Path, sheet: Sheet, times: int) -> Iterator[Answer]:
    """Yield what a process that runs already answers; each is asked once before it counts."""

    def opened() -> None:
        with Store.open(folder, clock=clock):
            pass

    yield _took("the record opens", opened, times, AIM_S)
    with Store.open(folder, clock=clock) as store:
        for asked, act, aim in _asked(store, sheet):
            yield _took(asked, act, times, aim)


def _took(asked: str, act: Callable[[], object], times: int, aim: float | None) -> Answer:
    act()
    wall, processor, came = [], [], None
    for _ in range(times):
        begin, used = time.perf_counter(), time.process_time()
        came = act()
        ended, ran = (
            (came.at, came.used) if isinstance(came, Seen) else (time.perf_counter(), time.process_time())
        )
        wall.append(ended - begin)
        processor.append(ran - used)
    shown = "" if came is None or isinstance(came, Seen) else str(came)
    return Answer(asked, statistics.median(wall), max(wall), statistics.median(processor), aim, shown)


def _asked(store: Store, sheet: Sheet) -> Iterator[tuple[str, Callable[[], object], float | None]]:
    walks = store.walks()
    walk, unit = walks[len(walks) // 2].walk, walks[len(walks) // 2].unit_id
    point = next(p.id for p in sheet.points.values() if any(r.required for r in p.readings))

    def review() -> str:
        found = fold(sheet, ((s.at, s.event) for s in store.events(walk)))
        return f"{len(agenda(found))} lines, {len(store.verify(walk))} problems"

    def contents() -> str:
        found = walk_contents(store, walk, sheet)
        return f"{sum(len(series.values) for series in found.series)} values over the walks"

    def page() -> str:
        found = walk_contents(store, walk, sheet)
        return f"{len(found.series)} plots and the walk, {_size(html_report(found, store.clip))}"

    def table() -> str:
        found = fold(sheet, ((s.at, s.event) for s in store.events(walk)))
        return _size(csv_report(found, walk))

    def values() -> str:
        found = fold(sheet, ((s.at, s.event) for s in store.events(walk)))
        return _size(json_report(found, walk, walk_contents(store, walk, sheet)))

    def history() -> str:
        found = gather_history(store, unit, lambda started: sheet, NOW)
        return f"{len(found.walks)} walks, {len(found.series)} plots, {_size(history_html(found))}"

    def overview() -> str:
        found = gather_overview(store, lambda started: sheet, NOW, NO_POLICY)
        drawn = min(12, len(found.series))
        return f"{len(found.open)} defects, {drawn} plots, {_size(overview_html(found))}"

    def of_point() -> str:
        return f"{len(store.point_history(unit, sheet.id, point).entries)} entries"

    yield "a review opens: its walk and its proof", review, AIM_S
    screen = lambda: _mounted(ReviewApp(store, walk, sheet, None, clock=clock))  # noqa: E731
    yield "a review opens: the screen, up to its first picture", screen, AIM_S
    yield "the shop's queue", lambda: f"{len(store.defects.queue())} defects", AIM_S
    shop = lambda: _mounted(  # noqa: E731
        ShopApp(store, None, clock=clock, write_order=lambda defect, history: Path("order.html"))
    )
    yield "the shop opens: the screen, up to its first picture", shop, AIM_S
    yield "a point's history", of_point, AIM_S
    book = lambda: f"{len(store.defects.book(unit).defects)} defects"  # noqa: E731
    yield "one unit's defects with their histories", book, AIM_S
    yield "a walk's report: what it says, with its proof", contents, AIM_S
    yield "a walk's report: HTML with every plot", page, AIM_S
    yield "a walk's report: CSV", table, AIM_S
    yield "a walk's report: JSON", values, AIM_S
    pdf = lambda: _size(pdf_report(walk_contents(store, walk, sheet)))  # noqa: E731
    yield "a walk's report: PDF", pdf, None
    yield "a unit's history: HTML with every plot", history, AIM_S
    unit_pdf = lambda: _size(history_pdf(gather_history(store, unit, lambda s: sheet, NOW)))  # noqa: E731
    yield "a unit's history: PDF", unit_pdf, None
    yield "the station's overview: HTML with its plots", overview, AIM_S
    all_pdf = lambda: _size(overview_pdf(gather_overview(store, lambda s: sheet, NOW, NO_POLICY)))  # noqa: E731
    yield "the station's overview: PDF", all_pdf, None
    taken_up = lambda: (store.open_walk(unit, sheet.id), store.new_walk_id(unit, NOW))  # noqa: E731
    yield "a walk is taken up or begun", taken_up, AIM_S
    yield "walks not taken up", lambda: len(store.defects.not_taken_up()), AIM_S
    yield "all walks listed", lambda: len(store.walks()), AIM_S


def _size(made: str | bytes) -> str:
    return f"{len(made) / 1e3:.0f} kB"


def _mounted(app: App[None]) -> Seen:
    """Open a screen in a terminal of its own; return when its first picture was drawn."""
    seen: list[Seen] = []

    async def run() -> None:
        async with app.run_test(size=SIZE) as pilot:
            app.call_after_refresh(lambda: seen.append(Seen(time.perf_counter(), time.process_time())))
            await pilot.pause()

    asyncio.run(run())
    return seen[0]


# the real command --------------------------------------------------------------------------------


def commands(folder: Path, times: int) -> Iterator[Answer]:
    """Yield how long the command itself takes from nothing: the interpreter, its imports, the answer."""
    with Store.open(folder, clock=clock) as store:
        walks = store.walks()
        walk, unit = walks[len(walks) // 2].walk, walks[len(walks) // 2].unit_id
    with tempfile.TemporaryDirectory() as out:
        asked: tuple[tuple[str, ...], ...] = (
            ("--help",),
            ("walks",),
            ("verify", walk),
            ("shop", "--plain"),
            ("review", "--plain", walk),
            ("report", walk, "--out", out),
            ("history", unit, "--out", out),
            ("overview", "--out", out),
            ("report", walk, "--form", "pdf", "--out", out),
        )
        for arguments in asked:
            yield _command(folder, arguments, times)


def _command(folder: Path, arguments: tuple[str, ...], times: int) -> Answer:
    import resource

    program = (sys.executable, "-c", "from voicelog.cli import main; main()", "--data", str(folder))
    wall, processor = [], []
    for _ in range(times + 1):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        begin = time.perf_counter()
        subprocess.run((*program, *arguments), check=True, capture_output=True)
        wall.append(time.perf_counter() - begin)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        processor.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    del wall[0], processor[0]
    told = " ".join(a for a in arguments if a != "--out" and not a.startswith(tempfile.gettempdir()))
    return Answer(f"voicelog {told}", statistics.median(wall), max(wall), statistics.median(processor), None)
