"""How an operator walks by keyboard: the keys of the walk screen, and phrases typed on its line."""

from __future__ import annotations

from tests.conftest import ROOT
from voicelog.sheet import load_sheet

from .station import UNIT, Station

SHEET = load_sheet(ROOT / "grammars" / "engine_bay.toml")


def begin(station: Station, operator: str, *more: str) -> None:
    """Begin a walk of Engine 61, or take one up."""
    words = " ".join(more)
    station.start(
        f'voicelog walk --unit {UNIT} --operator "{operator}" --keyboard {words}'.rstrip(), operator
    )
    station.see("KEYBOARD", "covered")


def say(station: Station, text: str, *shows: str) -> None:
    """Type a phrase on the line and wait for what comes of it."""
    station.terminal.press("/")
    station.see("Type what you would say")
    station.terminal.type(text)
    station.see(text)
    station.terminal.press("Enter")
    station.see("Type what you would say")
    station.terminal.press("Escape")
    station.terminal.see_no("Type what you would say")
    station.see(*shows)


def affirm_cautions(station: Station, number: int) -> None:
    """Affirm this many cautions, each when it is asked."""
    for _ in range(number):
        before = asked(station)
        station.terminal.press("a")
        station.terminal.wait(lambda s, b=before: _asked(s) != b, "the next caution")  # type: ignore[misc]


def asked(station: Station) -> str:
    """Return what the screen asks now."""
    return _asked(station.terminal.screen())


def _asked(screen: object) -> str:
    rows = str(screen).split("\n")
    first = next((n for n, row in enumerate(rows) if row.startswith(" next ")), 0)
    return " ".join(rows[first : first + 2])


def go(station: Station, stop: str) -> None:
    """Go to a stop, by the name that the sheet gives it, and affirm its cautions."""
    say(station, f"go to {stop}", stop.upper())
    affirm_cautions(station, len(next(s for s in SHEET.stops if s.name == stop).gate))


def finish(station: Station) -> None:
    """End the walk with the keys; the command ends with it."""
    station.terminal.press("q")
    station.see("Finish the walk?", "yes, finish the walk")
    station.shot("end-of-walk")
    station.terminal.press("y")
    station.terminal.ended()
