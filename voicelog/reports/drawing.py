"""How pictures are made: SVG by matplotlib, the same bytes for the same facts, told apart in grey.

A picture says nothing by colour alone: what it shows by shape and line stands in words beside it.
matplotlib is loaded only where something is drawn.
"""

from __future__ import annotations

import base64
import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
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
_SETTINGS: Any = {
    "svg.hashsalt": "voicelog",
    "svg.fonttype": "path",
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "text.parse_math": False,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
}


_METADATA = dict.fromkeys(("Creator", "Date", "Format", "Type"))


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture with what it shows in words."""

    title: str
    alt: str
    drawing: str
    """SVG that tells neither."""
    width: float
    """Inches, as it is meant to be printed."""
    height: float

    @property
    def svg(self) -> str:
        """Return it as SVG that names itself to who cannot see it."""
        head, body = self.drawing.split("<svg ", 1)
        attributes, inside = body.split(">", 1)
        told = f"<title>{escape(self.title)}</title><desc>{escape(self.alt)}</desc>"
        return f'{head}<svg role="img" {attributes}>{told}{inside}'

    @property
    def data(self) -> str:
        """Return it as a ``data:`` address."""
        return f"data:image/svg+xml;base64,{base64.b64encode(self.svg.encode()).decode('ascii')}"


@contextmanager
def settings() -> Iterator[None]:
    """Draw with these settings alone, whatever the user's own are."""
    import matplotlib

    with matplotlib.rc_context(), warnings.catch_warnings():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_SETTINGS)
        # A name in letters that the font lacks is drawn as boxes; it stands as text beside the picture.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def picture(figure: Figure, title: str, alt: str) -> Picture:
    """Return what is drawn on a figure."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata=_METADATA)
    width, height = figure.get_size_inches()
    return Picture(title, alt, out.getvalue(), float(width), float(height))
