"""How an officer works the review screen: choosing an item, the forms, the signature."""

from __future__ import annotations

from voicelog.screens.palette import RULE
from voicelog.screens.review_text import KIND_WORD

from .station import OFFICER, PINS, Station
from .terminal import NotSeen, Screen

DECISIONS = ("in service", "in service with restrictions", "out of service")
MOST_ITEMS = 400


def open_review(station: Station, walk: str) -> None:
    """Open the review of a walk."""
    station.start(f"voicelog review {walk}")
    station.see("walked by", "? help")


def chosen(station: Station) -> None:
    """Wait until no form lies over the list."""
    station.terminal.see_no("Escape leaves")


def choose(station: Station, kind: str, title: str) -> None:
    """Go down the list, and from its end to its beginning, until this item is the chosen one."""
    chosen(station)
    terminal = station.terminal
    for _place in range(MOST_ITEMS):
        row, _ = terminal.highlighted(RULE)
        if title in row:
            # Of the same title there may be items of several kinds: the details tell which it is.
            found = terminal.wait(lambda s: any(_details_of(s, k, title) for k in KIND_WORD.values()), title)
            if _details_of(found, kind, title):
                return
        terminal.next_row(RULE)
    raise NotSeen(f"no item {kind}: {title} in the list")


def _details_of(screen: Screen, kind: str, title: str) -> bool:
    """Return whether the details are of this item: the title, wrapped or not, below its kind."""
    right = [row.split("│", 1)[-1].strip() for row in screen.rows]
    return any(
        cell == kind and title in " ".join(" ".join(right[n + 1 : n + 4]).split())
        for n, cell in enumerate(right)
    )


def in_hand(station: Station, name: str) -> None:
    """Give the right PIN to a form that has the name already, until the moved clock is seen."""
    terminal = station.terminal
    for _ in range(20):
        station.fill(PINS[name])
        screen = terminal.wait(lambda s: not s.has("••••••"), "what comes of the PIN")
        if not screen.has("Who has this in hand now?"):
            return
    raise NotSeen("the lock is not lifted")


def sign(station: Station, decision: str, reason: str, override: str, pin: str, name: str = OFFICER) -> None:
    """Fill in the signature with the keys, as a person does, and press Sign."""
    terminal = station.terminal
    terminal.press("y")
    station.see("Sign the record", "decision")
    for _ in range(DECISIONS.index(decision)):
        terminal.change("Down")
    terminal.press("Space")
    station.see(f"(x) {decision}")
    terminal.move("Tab", RULE)
    terminal.enter(reason)
    terminal.move("Tab", RULE)
    if terminal.screen().has("override"):
        terminal.enter(override)
        terminal.move("Tab", RULE)
    terminal.enter(pin, secret=True)
    terminal.move("Tab", RULE)
    station.shot("review-sign")
    terminal.press("Enter")
