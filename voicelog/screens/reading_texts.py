"""The longer texts of the walk screen: cautions, doubts and defects, what can be said, the end.

Each is made from the walk's state alone. Texts are plain: markup in a name has no effect.
"""

from __future__ import annotations

from rich.text import Text

from voicelog.phrases.commands import ENGLISH, language_of
from voicelog.screens import palette
from voicelog.screens.outside_text import visible
from voicelog.screens.shown import Shown
from voicelog.screens.walk_facts import (
    claim_line,
    clock,
    count,
    doubt_short,
    next_point,
    questions,
    stop_cautions,
    stop_place,
)
from voicelog.sheet.model import Point
from voicelog.walk.state import WalkState

_KEYS = (
    ("n, p", "next stop, previous stop"),
    ("a", "affirm a caution or a group mark; acknowledge a defect"),
    ("/ or Enter", "type what you would say; Esc closes the line"),
    ("f", "far view, to be read from three metres; f again goes back"),
    ("c", "cautions in full"),
    ("d", "open doubts and defects in full"),
    ("s", "stand by, resume"),
    ("o", "hand the walk over: who takes it gives a name and PIN"),
    ("?", "these keys and words"),
    ("up, down", "scroll the points"),
    ("Esc", "put a trouble away"),
    ("q", "finish the walk, or leave it open; asks first"),
)


def _heading(text: Text, heading: str) -> None:
    text.append("\n" if text.plain else "")
    text.append(heading + "\n", f"bold {palette.SKY_BLUE}")


def cautions_text(shown: Shown | None) -> Text:
    """Return the cautions of the stop and of the whole sheet, in full."""
    text = Text()
    if shown is None:
        return Text("The walk has not begun.")
    _heading(text, f"At this stop: {stop_place(shown.state)[0]}")
    for caution in stop_cautions(shown.state) or ("None of its own.",):
        text.append(f"! {caution}\n", palette.ORANGE)
    _heading(text, "On the whole walk")
    for caution in shown.state.sheet.cautions:
        text.append(f"! {visible(caution)}\n")
    return text


def doubts_text(shown: Shown | None) -> Text:
    """Return the open doubts with their questions, and the defects, in full."""
    if shown is None:
        return Text("The walk has not begun.")
    state, text = shown.state, Text()
    doubts, defects = state.doubts(), state.defects()
    until = ": each stays open until a person settles it" if doubts else ""
    _heading(text, count(len(doubts), "open doubt").capitalize() + until)
    for entry in doubts:
        text.append(f"? {clock(entry.at)}  ", f"bold {palette.YELLOW}")
        text.append(" ".join(questions(entry)) + "\n", "bold")
        reasons = dict.fromkeys(visible(doubt.reason) for doubt in entry.logged.doubts)
        text.append(
            f'  heard "{visible(entry.logged.heard.text)}"; may be: {doubt_short(entry, state.sheet)}\n'
        )
        text.append(f"  why: {'; '.join(reasons)}\n", palette.QUIET)
    _heading(text, count(len(defects), "defect").capitalize())
    for entry in defects:
        text.append(f"X {clock(entry.at)}  ", f"bold {palette.VERMILLION}")
        text.append(claim_line(entry.claim, state.sheet) + "\n", "bold")
    if state.carried:
        _heading(text, f"{count(len(state.carried), 'defect').capitalize()} from before this walk")
    for known in state.carried:
        text.append(f"X {known.since}  ", f"bold {palette.ORANGE}")
        again = ", look at it again" if known.look_again else ""
        named = f" ({known.class_name})" if known.class_name else ""
        text.append(visible(f"{known.point} {known.what}{named}"), "bold")
        text.append(visible(f": {known.stood}{again}") + "\n")
    return text


def help_text(shown: Shown | None) -> Text:
    """Return the keys, and what can be said at this stop."""
    text = Text()
    _heading(text, "Keys")
    for key, what in _KEYS:
        text.append(f"{key:<12}", "bold")
        text.append(what + "\n")
    if shown is not None:
        _say_here(text, shown.state)
    _heading(text, "Control words, at any time")
    language = ENGLISH if shown is None else language_of(shown.state.sheet.lexicon)
    for said in language.commands.values():
        text.append(said[0] + "\n", "bold")
    text.append(" or ".join(language.correction), "bold")
    text.append(", then what is right\n")
    return text


def _say_here(text: Text, state: WalkState) -> None:
    stops = [stop for stop in state.sheet.stops if stop.id == state.stop_id]
    points = [point for stop in stops for point in stop.points]
    _heading(text, f"To say at this stop: {stop_place(state)[0]}")
    text.append("A point and what is so: ")
    text.append(f'"{_example(points, state)}".', "bold")
    text.append(" The condition alone is taken for the point at hand.\n")
    for point in points:
        text.append(visible(point.full_name), "bold")
        others = [visible(phrase) for phrase in point.say if phrase != point.name]
        text.append(f" (or {', '.join(others)})" if others else "")
        aspects = ", ".join(visible(state.sheet.lexicon.aspects[aspect]) for aspect in point.aspects)
        text.append(f": {aspects}", palette.QUIET)
        readings = ", ".join(visible(reading.name) for reading in point.readings)
        text.append(f"; reading: {readings}" if readings else "")
        text.append("\n")
    _heading(text, "Words for conditions here")
    for aspect in dict.fromkeys(aspect for point in points for aspect in point.aspects):
        conditions = state.sheet.lexicon.conditions_of((aspect,))
        text.append(visible(state.sheet.lexicon.aspects[aspect]) + ": ", "bold")
        text.append(", ".join(visible(c.say[0]) for c in conditions) + "\n")
    _heading(text, 'To go somewhere: "go to", then')
    text.append(", ".join(visible(stop.name) for stop in state.sheet.stops) + "\n")


def _example(points: list[Point], state: WalkState) -> str:
    for point in points:
        for condition in state.sheet.lexicon.conditions_of(point.aspects):
            return visible(f"{point.full_name} {condition.say[0]}")
    return ""


def end_text(shown: Shown | None) -> Text:
    """Return the question before the end, with what is still open."""
    text = Text("Finish the walk?\n", style="bold")
    if shown is not None:
        missing = shown.state.missing()
        if missing:
            text.append(f"\n{count(len(missing), 'required point')} not covered", f"bold {palette.ORANGE}")
            text.append(": " + ", ".join(visible(point.full_name) for point in missing[:6]))
            text.append(f" and {len(missing) - 6} more" if len(missing) > 6 else "")
            text.append(".\n")
        doubts = shown.state.doubts()
        if doubts:
            text.append(f"\n{count(len(doubts), 'doubt')} open", f"bold {palette.YELLOW}")
            text.append(". Each stays a doubt in the record until a person settles it.\n")
        if not missing and not doubts:
            text.append(f"\n{next_point(shown.state)[1]}\n")
    for key, what in (
        ("y  ", "yes, finish the walk"),
        ("l  ", "leave now; the walk stays open and can be resumed"),
        ("Esc", "go on with the walk"),
    ):
        text.append(f"\n{key}  ", f"bold {palette.SKY_BLUE}")
        text.append(what)
    return text
