"""Pictures of a terminal: its colours as an SVG file, and as PNG where a browser is installed."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from pathlib import Path

from rich.ansi import AnsiDecoder
from rich.console import Console
from rich.terminal_theme import TerminalTheme

_DARK = TerminalTheme((0, 0, 0), (229, 229, 229), [
    (0, 0, 0), (205, 49, 49), (13, 188, 121), (229, 229, 16), (36, 114, 200), (188, 63, 188),
    (17, 168, 205), (229, 229, 229),
])  # fmt: skip
_LIGHT = TerminalTheme((255, 255, 255), (30, 30, 30), [
    (0, 0, 0), (170, 0, 0), (0, 110, 0), (110, 90, 0), (0, 0, 170), (130, 0, 130),
    (0, 100, 120), (90, 90, 90),
])  # fmt: skip
BROWSERS = ("chromium", "chromium-browser", "google-chrome")


def as_svg(coloured: str, columns: int, title: str, *, light: bool = False) -> str:
    """Return ANSI text as an SVG picture, in the colours of a dark or a light terminal."""
    console = Console(
        width=columns,
        record=True,
        file=io.StringIO(),
        force_terminal=True,
        color_system="truecolor",
        legacy_windows=False,
    )
    # One decoder for all rows: a colour goes on from one row to the next.
    for line in AnsiDecoder().decode(coloured.rstrip("\n")):
        console.print(line, no_wrap=True, crop=True, highlight=False)
    svg = console.export_svg(title=title, theme=_LIGHT if light else _DARK)
    svg = re.sub(r"<circle[^>]*/>", "", svg)
    # It would fetch its letters from the network; the reader's own fixed-width ones do.
    return re.sub(r"@font-face\s*\{.*?\}", "", svg, flags=re.DOTALL)


def browser() -> str | None:
    """Return a browser that can draw an SVG file without a window; None where there is none."""
    return next((found for name in BROWSERS if (found := shutil.which(name))), None)


def draw_png(svg: Path, png: Path) -> bool:
    """Draw an SVG file as PNG with the browser; return whether there is one and it did."""
    program = browser()
    if program is None:
        return False
    view = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg.read_text(encoding="utf-8"))
    size = f"{round(float(view[1]))},{round(float(view[2]))}" if view else "1200,800"
    subprocess.run(
        [program, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
         f"--window-size={size}", f"--screenshot={png}", svg.resolve().as_uri()],
        capture_output=True, check=False,
    )  # fmt: skip
    return png.exists()
