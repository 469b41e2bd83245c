"""How officer and mechanic work the shop's screen: choosing a defect, and the forms of its acts."""

from __future__ import annotations

from voicelog.screens.palette import RULE

from .station import PINS, Station
from .terminal import NotSeen


def open_shop(station: Station) -> None:
    """Open the queue."""
    station.start("voicelog shop")
    station.see("Shop: open defects, worst class first, then the oldest")


def leave(station: Station) -> None:
    """Close the screen."""
    station.terminal.press("q")
    station.terminal.ended()


def choose(station: Station, defect_id: str, title: str) -> None:
    """Go down the queue, and from its end to its beginning, until this defect is the chosen one."""
    station.terminal.see_no("Escape leaves")
    terminal = station.terminal
    for _place in range(3 * len(station.queue())):
        row, _ = terminal.highlighted(RULE)
        if title in row:
            break
        terminal.next_row(RULE)
    station.see(f"{defect_id}: {title}")


def act(station: Station, key: str, heading: str, name: str, *lines: str, pin: str = "") -> None:
    """Press a key and fill in its form: the name where it is not known yet, the lines, the PIN."""
    station.terminal.press(key)
    station.see(heading, "Escape leaves")
    known = station.terminal.screen().has(f"name {name}")
    station.fill(*(() if known else (name,)), *lines, pin or PINS[name])


def done(station: Station, *texts: str) -> None:
    """Wait until the act is told to be on record."""
    station.terminal.see_no("Escape leaves")
    if not all(map(station.terminal.screen().has, texts)):
        station.see(*texts)


def wrong_pin(station: Station) -> None:
    """See that a wrong PIN is refused in the form, and leave it."""
    station.see("this is not the PIN of")
    if not station.terminal.screen().has("Escape leaves"):
        raise NotSeen("the form was closed after a wrong PIN")
    station.shot("shop-wrong-pin")
    station.terminal.press("Escape")
    station.terminal.see_no("Escape leaves")
