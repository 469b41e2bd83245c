"""Draw the walk screen as an SVG picture from fixed events: ``python -m tests.screens.make_picture OUT``.

``--far`` draws the far view, ``--size 80x24`` another size. The picture is the same every time.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Sequence
from pathlib import Path

import click

from voicelog.walk.events import Event

from .making import HeldFeed, Walker, updates, walk_events


async def picture(events: Sequence[Event], size: tuple[int, int], keys: tuple[str, ...] = ()) -> str:
    """Return the screen after the events and keys, as SVG."""
    feed = HeldFeed(updates(events))
    app = Walker(events).app(feed)
    try:
        async with app.run_test(size=size) as pilot:
            while app.shown is None or app.shown.state.events < len(events):
                await pilot.pause()
            if keys:
                await pilot.press(*keys)
            await pilot.pause()
            svg = app.export_screenshot(title="voicelog")
            # The exporter draws the buttons of one maker's windows; the walk has none.
            svg = re.sub(r"<circle[^>]*/>", "", svg)
            # It would fetch its letters from the network; the reader's own fixed-width ones do.
            svg = re.sub(r"@font-face\s*\{.*?\}", "", svg, flags=re.DOTALL)
            feed.let_go()
    finally:
        feed.let_go()
    return svg


@click.command(help=__doc__)
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--far", is_flag=True, help="The far view.")
@click.option("--size", default="100x30", show_default=True, help="Columns and rows.")
def main(out: Path, far: bool, size: str) -> None:
    """Write the picture."""
    columns, rows = (int(part) for part in size.split("x"))
    svg = asyncio.run(picture(walk_events(), (columns, rows), ("f",) if far else ()))
    out.write_text(svg, encoding="utf-8")


if __name__ == "__main__":
    main()
