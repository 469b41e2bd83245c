"""The demo: the recorded walk of Engine 61, through the same path as live speech, and its score."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path

import click

from voicelog.clock import now
from voicelog.conduct import Conductor
from voicelog.demo import closing_table, load_script, score
from voicelog.feeding import conduct, paced
from voicelog.handing_over import HandingOver
from voicelog.hearing.audio import Block, blocks_from_file
from voicelog.hearing.endpoint import Endpointer
from voicelog.hearing.engines import Engines, make_recogniser
from voicelog.paths import shipped
from voicelog.records.store import Store
from voicelog.reports.write import write_report
from voicelog.running import ByEar, Show, show_walk, speaking
from voicelog.sheet import load_sheet, load_unit, of_extent
from voicelog.sheet.model import Unit
from voicelog.voice.floor import Floor


def run_demo(
    data: Path | None,
    *,
    plain: bool,
    model: Path | None,
    real_time: bool,
    report_folder: Path | None,
    by_ear: ByEar,
) -> int:
    """Run the recorded walk, write its report, and tell what was heard right. Returns the exit code."""
    unit: Unit = load_unit(shipped("samples", "engine_61.toml"))
    sheet = of_extent(load_sheet(shipped("grammars", f"{unit.sheets[0]}.toml"), unit=unit), "monthly")
    script = load_script(shipped("samples", "engine_61_walk.toml"))
    recording = shipped("samples", "engine_61_walk.opus")
    recogniser = make_recogniser(Engines(model))
    folder = data or Path(tempfile.mkdtemp(prefix="voicelog-demo-"))
    with Store.open(folder, clock=now) as store, ExitStack() as held:
        conductor = Conductor(store, sheet, unit, recogniser, clock=now)
        store.keep_editions(sheet)
        first = conductor.begin("R. Alder")
        held.enter_context(store.lock(conductor.walk_id))

        def feed(show: Show) -> None:
            show(first)
            blocks: Iterable[Block] = blocks_from_file(recording)
            if real_time or by_ear.read_back is not None:
                blocks = paced(blocks, 1.0, time.sleep, time.monotonic)
            conduct(conductor, blocks, Endpointer(judge=conductor.foresee), show)

        with speaking(conductor, by_ear, Floor(), live=False, headset=False) as voice:
            show_walk(
                conductor,
                feed,
                voice,
                plain=plain,
                typing=False,
                title=f"{unit.name} (recorded walk)",
                hands=HandingOver(store, conductor),
                ask_pin=lambda name: "",
            )
        if conductor.state.finished is None:
            conductor.finish()
        result = score(script, [(s.at, s.event) for s in store.events(conductor.walk_id)])
        click.echo(closing_table(result))
        for path in write_report(store, conductor.walk_id, sheet, report_folder or folder):
            click.echo(f"report: {path}")
        click.echo(f"record: {folder}")
        click.echo(f"next:   voicelog --data {folder} review {conductor.walk_id}")
    return 0
