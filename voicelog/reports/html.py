"""A report as one HTML file that needs nothing else: no network, no script, no other file.

Each sound clip is in the file once, where it is first spoken of; every later place links there.
Whatever comes from people, sheets or recognisers is escaped by the template engine.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template

from voicelog.errors import RecordError
from voicelog.reports.drawn_walk import KEY as DRAWN_KEY
from voicelog.reports.drawn_walk import drawn_walk, noted
from voicelog.reports.parts import ReportContents
from voicelog.reports.reading_plot import KEY as PLOT_KEY
from voicelog.reports.reading_plot import plots


@dataclass(frozen=True, slots=True)
class Sound:
    """One clip where it stands in the page."""

    number: int
    """From 1, in the order of the page."""
    first: bool
    """Whether this is the place that plays it; elsewhere there is a link."""
    data: str = ""
    """The FLAC file as a ``data:`` address; empty when it cannot be had."""
    trouble: str = ""
    """Why it cannot be had, in words."""


@dataclass(slots=True)
class _Sounds:
    """Hands out each clip once, for one page."""

    clips: Callable[[str], bytes]
    given: dict[str, int] = field(default_factory=dict)

    def place(self, sha256: str) -> Sound:
        """Return the clip for the place the template has come to."""
        if sha256 in self.given:
            return Sound(self.given[sha256], first=False)
        number = self.given[sha256] = len(self.given) + 1
        try:
            flac = self.clips(sha256)
        except RecordError as error:
            return Sound(number, first=True, trouble=error.what)
        return Sound(number, first=True, data=sound_data(flac))


def sound_data(flac: bytes) -> str:
    """Return a FLAC file as a ``data:`` address."""
    return f"data:audio/flac;base64,{base64.b64encode(flac).decode('ascii')}"


@cache
def _template(name: str) -> Template:
    environment = Environment(
        loader=PackageLoader("voicelog.reports", ""),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template(name)


def render(name: str, **values: object) -> str:
    """Return one of the pages of this package, filled; every text is escaped."""
    return _template(name).render(**values)


def html_report(contents: ReportContents, clips: Callable[[str], bytes]) -> str:
    """Return the report as HTML.

    ``clips`` gives the FLAC file of a SHA-256; where it raises RecordError the page says why the
    sound is not there.
    """
    return render(
        "report.html.j2",
        r=contents,
        # On every page that is printed. Within a style nothing is escaped: letters, digits, - and _ alone.
        running=re.sub(r"[^A-Za-z0-9_-]", "", contents.walk),
        sounds=_Sounds(clips),
        drawn=drawn_walk(contents.stops),
        drawn_key=DRAWN_KEY,
        noted=noted(contents.stops),
        plots=plots(contents.series),
        plot_key=PLOT_KEY,
    )
