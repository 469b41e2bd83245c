"""How pictures are made: SVG by matplotlib, the same bytes for the same facts, told apart in grey.

A picture says nothing by colour alone: what it shows by shape and line stands in words beside it.
matplotlib is loaded only where something is drawn. All lengths are inches from the lower left.

Whoever opens a report waits for its pictures. matplotlib's own axes and texts are objects by the
hundred, and take nearly all of its time. So its locators place the ticks and its glyphs make the letters,
and both are drawn as a few paths.
"""

from __future__ import annotations

import base64
import io
import warnings
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal
from xml.sax.saxutils import escape

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from matplotlib.path import Path

INK = "#1b2430"
QUIET = "#4d5967"
LINE = "#c3cad2"
DEFECT = "#8c1515"
BAND = "#d5dbe1"
SIZE = 8.5
"""Points, of letters."""
_FONT = "DejaVu Sans"
_CAPITALS = 0.729
"""Height of that font's capitals and figures, of its size."""
_POINT = 1 / 72
_FINEST = _POINT / 1000
"""What is drawn lies on a grid as fine as this: more digits would only make the file longer."""
_PAD = 0.012
"""White around what is written over a drawing."""
_SETTINGS: Any = {"svg.hashsalt": "voicelog", "text.parse_math": False}
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


@dataclass(frozen=True, slots=True)
class Label:
    """A line of text where it is drawn; its middle in height is at ``y``."""

    x: float
    y: float
    text: str
    size: float = SIZE
    bold: bool = False
    align: Literal["left", "middle", "right"] = "left"
    """Which part of it is at ``x``; of one that is upright, its middle always."""
    upright: bool = False
    """Read from below."""
    on_white: bool = False
    """With white behind it, over whatever was drawn before."""


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


def letters(figure: Figure, labels: Iterable[Label], colour: str = INK, zorder: float = 4) -> None:
    """Draw labels of one colour on a figure, as one path."""
    import numpy as np
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    placed = []
    for label in labels:
        path = _placed(label)
        if path is None:
            continue
        placed.append(path)
        if label.on_white:
            low, high = _corners(path)
            white = Path.unit_rectangle().transformed(_onto(*(low - _PAD), *(high - low + 2 * _PAD)))
            draw(figure, PathPatch(white, facecolor="white", linewidth=0, zorder=zorder - 0.1))
    if placed:
        whole = Path.make_compound_path(*placed)
        whole = Path(np.round(np.asarray(whole.vertices) / _FINEST) * _FINEST, whole.codes)
        draw(figure, PathPatch(whole, facecolor=colour, linewidth=0, zorder=zorder))


def fine(inches: float) -> float:
    """Return a length on the grid on which everything is drawn."""
    return round(inches / _FINEST) * _FINEST


def draw(figure: Figure, artist: Any) -> None:
    """Draw something of matplotlib whose places are inches."""
    artist.set_transform(figure.dpi_scale_trans)
    figure.add_artist(artist)


def polyline(points: Sequence[Sequence[tuple[float, float]]]) -> Path:
    """Return lines from point to point as one path."""
    from matplotlib.path import Path

    codes = [Path.MOVETO if n == 0 else Path.LINETO for line in points for n, _ in enumerate(line)]
    return Path([place for line in points for place in line], codes)


def _placed(label: Label) -> Path | None:
    """Return the letters of a label where they are drawn; None where there is nothing to see."""
    if not label.text.strip():
        return None
    glyphs, wide = _glyphs(label.text, label.size, label.bold)
    before = {"left": 0.0, "middle": 0.5, "right": 1.0}["middle" if label.upright else label.align] * wide
    below = _CAPITALS * label.size * _POINT / 2
    if label.upright:
        from matplotlib.transforms import Affine2D

        return glyphs.transformed(Affine2D.from_values(0, 1, -1, 0, label.x + below, label.y - before))
    return glyphs.transformed(_onto(label.x - before, label.y - below))


def _onto(x: float, y: float, width: float = 1.0, height: float = 1.0) -> Any:
    from matplotlib.transforms import Affine2D

    return Affine2D.from_values(width, 0, 0, height, x, y)


@lru_cache(maxsize=4096)
def _glyphs(text: str, size: float, bold: bool) -> tuple[Path, float]:
    """Return the letters of a text, begun at the origin, and how wide they are.

    The same ones come in picture after picture.
    """
    from matplotlib.font_manager import FontProperties
    from matplotlib.path import Path
    from matplotlib.textpath import TextPath

    font = FontProperties(family=_FONT, weight="bold" if bold else "normal")
    letters = TextPath((0, 0), text, size=size * _POINT, prop=font)
    path = Path(letters.vertices, letters.codes)
    return path, float(_corners(path)[1][0])


def _corners(path: Path) -> tuple[Any, Any]:
    """Return the lower left and the upper right of a path; of its control points, which hold it."""
    import numpy as np

    places = np.asarray(path.vertices)[np.asarray(path.codes) != path.CLOSEPOLY]
    return places.min(axis=0), places.max(axis=0)


def picture(figure: Figure, title: str, alt: str) -> Picture:
    """Return what is drawn on a figure."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata=_METADATA)
    width, height = figure.get_size_inches()
    return Picture(title, alt, out.getvalue(), float(width), float(height))
