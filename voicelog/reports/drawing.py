"""How pictures are made: SVG by matplotlib, the same bytes for the same facts, told apart in grey.

A picture says nothing by colour alone: what it shows by shape and line stands in words beside it.
matplotlib is loaded only where something is drawn.
"""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

if TYPE_CHECKING:
    from matplotlib.figure import Figure

INK = "#1b2430"
QUIET = "#4d5967"
LINE = "#c3cad2"
DEFECT = "#8c1515"
BAND = "#d5dbe1"
_SETTINGS = {
    "svg.hashsalt": "voicelog",
    "svg.fonttype": "path",
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "text.parse_math": False,
    "hatch.linewidth": 0.6,
    "hatch.color": QUIET,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
}


@dataclass(frozen=True, slots=True)
class Picture:
    """An SVG picture with what it shows in words."""

    svg: str
    alt: str
    width: float
    """Inches, as it is meant to be printed."""
    height: float

    @property
    def data(self) -> str:
        """Return it as a ``data:`` address."""
        return f"data:image/svg+xml;base64,{base64.b64encode(self.svg.encode()).decode('ascii')}"


def settings() -> Any:
    """Return the context that everything is drawn in."""
    import matplotlib

    return matplotlib.rc_context(_SETTINGS)  # type: ignore[arg-type]


def picture(figure: Figure, title: str, alt: str) -> Picture:
    """Return a figure as SVG that names itself to who cannot see it."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    width, height = figure.get_size_inches()
    head, body = out.getvalue().split("<svg ", 1)
    attributes, inside = body.split(">", 1)
    told = f"<title>{escape(title)}</title><desc>{escape(alt)}</desc>"
    svg = f'{head}<svg role="img" {attributes}>{told}{inside}'
    return Picture(svg, alt, float(width), float(height))
