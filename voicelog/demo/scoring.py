"""What was logged compared with the script, line by line.

Invariant: every outcome that was heard is either expected by a line it overlaps, counted against
such a line, or a stray. Times are seconds from the start of the sound.

An utterance that covers two lines counts for the expectations of both together, and so do the
pieces of a line that was cut in two.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from voicelog.demo.outcomes import Happening, Outcome, comes_with, outcomes_of
from voicelog.demo.script import Line, Script
from voicelog.walk.events import Event, Heard
from voicelog.walk.state import fold

Verdict = Literal["right", "right: left alone", "asked", "refused", "wrong"]
"""``right`` all that was expected and nothing else; ``asked`` a doubt was raised where none was
expected; ``refused`` meant for us, but not all of it logged; ``wrong`` something false was logged
without a doubt. A line that is not for us is ``right: left alone``, ``asked`` or ``wrong``."""
VERDICTS: tuple[Verdict, ...] = ("right", "right: left alone", "asked", "refused", "wrong")

OVERLAP_S = 0.1
"""The least overlap that counts: less is the quiet kept before and after an utterance."""


@dataclass(frozen=True, slots=True)
class LineScore:
    """What came of one line."""

    line: Line
    verdict: Verdict
    heard: tuple[str, ...]
    """The phrases taken, in order; the free reading where there was none."""
    logged: tuple[str, ...]
    """What came of them, as a script writes it; a question with its words."""

    @property
    def is_right(self) -> bool:
        """Whether there is nothing to look at."""
        return self.verdict in ("right", "right: left alone")


@dataclass(frozen=True, slots=True)
class PassedDefect:
    """A defect that was spoken and is logged as sound without a doubt. There must be none."""

    line: Line
    spoken: str
    logged: str


@dataclass(frozen=True)
class Score:
    """A walk's events against its script."""

    script: Script
    lines: tuple[LineScore, ...]
    passed_defects: tuple[PassedDefect, ...]
    strays: tuple[str, ...]
    """What was logged where nobody spoke."""

    def count(self, *, for_us: bool) -> Counter[Verdict]:
        """Return how many lines have each verdict, of those that are, or are not, for us."""
        return Counter(scored.verdict for scored in self.lines if scored.line.for_us == for_us)

    @property
    def defects_spoken(self) -> int:
        """How many defects are spoken in the script."""
        return sum(len(_defects(line)) for line in self.script.lines)

    @property
    def defects_passed(self) -> int:
        """How many spoken defects are logged as sound without a doubt. Must be 0."""
        return len(self.passed_defects)

    @property
    def not_right(self) -> tuple[LineScore, ...]:
        """The lines to look at."""
        return tuple(scored for scored in self.lines if not scored.is_right)


def score(script: Script, events: Sequence[tuple[datetime, Event]]) -> Score:
    """Return how the events of a walk agree with its script.

    ``events`` are one walk's, oldest first; their ``heard`` times are those of the script's sound.
    """
    happenings = outcomes_of(event for _, event in events)
    of_line = {line.number: _overlapping(line, happenings) for line in script.lines}
    lines, passed, false_sound = list[LineScore](), list[PassedDefect](), set[str]()
    for line in script.lines:
        together = _heard_together(line, script.lines, of_line)
        expected = tuple(outcome for other in together for outcome in other.expected)
        allowed = {o.text for o in expected}.union(*(comes_with(o, script.sheet) for o in expected))
        got = {h.outcome.text for other in together for h in of_line[other.number] if h.outcome}
        extra = [h.outcome for h in of_line[line.number] if h.outcome and h.outcome.text not in allowed]
        missing = [outcome for outcome in line.expected if outcome.text not in got]
        lines.append(_scored(line, _verdict(line, missing, extra), of_line[line.number]))
        passed += _passed(line, missing, extra)
        false_sound |= {outcome.point_id for outcome in extra if outcome.polarity == "sound"}
    touched = {id(h) for found in of_line.values() for h in found}
    strays = [h for h in happenings if h.outcome is not None and id(h) not in touched]
    false_sound |= {h.outcome.point_id for h in strays if h.outcome and h.outcome.polarity == "sound"}
    counted = {(p.line.number, p.spoken) for p in passed}
    passed += [
        p for p in _sound_at_the_end(script, events, false_sound) if (p.line.number, p.spoken) not in counted
    ]
    return Score(script, tuple(lines), tuple(passed), tuple(_show(h) for h in strays))


def _overlapping(line: Line, happenings: Sequence[Happening]) -> tuple[Happening, ...]:
    return tuple(h for h in happenings if _overlap_s(line, h.heard) >= OVERLAP_S)


def _overlap_s(line: Line, heard: Heard) -> float:
    return min(line.end_s, heard.end_s) - max(line.start_s, heard.start_s)


def _heard_together(
    line: Line, lines: Sequence[Line], of_line: dict[int, tuple[Happening, ...]]
) -> tuple[Line, ...]:
    """Return the line and those that share an utterance with it, directly or by another line."""
    together, grew = {line.number}, True
    while grew:
        shared = {id(h) for number in together for h in of_line[number]}
        more = {number for number, found in of_line.items() if any(id(h) in shared for h in found)}
        grew = not more <= together
        together |= more
    return tuple(other for other in lines if other.number in together)


def _verdict(line: Line, missing: list[Outcome], extra: list[Outcome]) -> Verdict:
    if any(outcome.kind != "question" for outcome in extra):
        return "wrong"
    if extra:
        return "asked"
    if missing:
        return "refused"
    return "right" if line.for_us else "right: left alone"


def _scored(line: Line, verdict: Verdict, found: tuple[Happening, ...]) -> LineScore:
    heard = dict.fromkeys(h.heard.text or h.heard.free_text for h in found)
    logged = tuple(_show(h) for h in found if h.outcome is not None)
    return LineScore(line, verdict, tuple(text for text in heard if text), logged)


def _show(happening: Happening) -> str:
    text = happening.outcome.text if happening.outcome is not None else "nothing"
    return f"{text}: {happening.detail}" if happening.detail else text


# defects spoken and logged as sound ---------------------------------------------------------


def _defects(line: Line) -> list[Outcome]:
    return [outcome for outcome in line.expected if outcome.polarity == "defect"]


def _passed(line: Line, missing: list[Outcome], extra: list[Outcome]) -> list[PassedDefect]:
    """Return the line's missing defects where something sound was logged that nobody said.

    Whether a question was asked beside it does not matter: the sound claim stands without one.
    """
    sound = [outcome for outcome in extra if outcome.polarity == "sound"]
    lost = [outcome for outcome in missing if outcome.polarity == "defect"]
    return [PassedDefect(line, defect.text, sound[0].text) for defect in lost] if sound else []


def _sound_at_the_end(
    script: Script, events: Sequence[tuple[datetime, Event]], false_sound: set[str]
) -> list[PassedDefect]:
    """Return the defects whose point ends as sound by words that nobody said of it.

    This catches a doubt that was rightly raised and then settled by a line that was no answer. A
    defect that was refused, at a point of which something sound was truly said before, is not
    one: the operator is told that it was not taken.
    """
    state = fold(script.sheet, events)
    return [
        PassedDefect(line, claim.text, f"{claim.point_id} stands as sound")
        for line, claim in script.claims_that_stand()
        if claim.polarity == "defect"
        and claim.point_id in false_sound
        and state.status(claim.point_id) == "sound"
    ]
