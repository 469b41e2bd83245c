"""The figures as one HTML page that needs nothing else: no network, no script, no other file."""

from __future__ import annotations

import base64
from dataclasses import dataclass

from jinja2 import Environment, PackageLoader, StrictUndefined

from tests.benchmarks.hearing import plots, table
from tests.benchmarks.hearing.results import Results
from tests.benchmarks.hearing.summary import Summary
from tests.benchmarks.hearing.table import Table


@dataclass(frozen=True, slots=True)
class Section:
    """A plot, if there is one, and its table, if there is one."""

    title: str
    text: str = ""
    picture: str = ""
    """An SVG file as a ``data:`` address; a picture of its own, so that the names in it are too."""
    says: str = ""
    """What the picture shows, for those who do not see it."""
    table: tuple[list[str], Table] | None = None
    """Header and rows."""


def html_page(results: Results, summary: Summary) -> str:
    """Return the page."""
    environment = Environment(
        loader=PackageLoader("tests.benchmarks.hearing", ""),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    template = environment.get_template("page.html.j2")
    return template.render(notes=table.notes(results, summary), sections=_sections(summary))


def _sections(summary: Summary) -> list[Section]:
    if not summary.systems:
        return []
    titles = ", ".join(s.title for s in summary.systems)
    found = [
        Section(
            "Accuracy in noise",
            picture=_address(plots.accuracy(summary)),
            says=f"Share of utterances right, and wrong, at each ratio: {titles}. The table has the figures.",
            table=table.accuracy(summary),
        ),
        Section("The average, by utterance", table=table.resampling(summary)),
        Section(
            "Speed",
            picture=_address(plots.latency(summary)),
            says=f"Share of utterances decoded within a time: {titles}. The table has the percentiles.",
            table=table.speed(summary),
        ),
        Section(
            "Start and memory",
            picture=_address(plots.cost(summary)),
            says=f"Peak memory and time to start: {titles}. The table has the figures.",
            table=table.cost(summary),
        ),
        Section("voicelog's figure over the other's", table=table.compared(summary)),
    ]
    for system in summary.systems:
        if system.certainty:
            found.append(
                Section(
                    f"Calibration of {system.title}",
                    table.CERTAINTY_NOTE,
                    picture=_address(plots.reliability(system)),
                    says="Share right against posterior, for utterances and slots; figures in the table.",
                    table=table.certainty(system),
                )
            )
    return [section for section in found if section.picture or (section.table and section.table[1])]


def _address(svg: str) -> str:
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode("ascii")
