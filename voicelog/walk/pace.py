"""Pace that no inspection could have: sound entries faster than a person can look. Pure.

Nothing is rejected for its pace; the officer is shown it. Defects and doubts are left out: who finds
something has looked.
"""

from __future__ import annotations

from dataclasses import dataclass

from voicelog.walk.state import Entry, WalkState

POINTS = 5
"""So many different points one after the other are looked at together."""
SECONDS_A_POINT = 2.0
"""Least time to look at a point and say so. Common practice, no published source: a phrase alone
takes a second and more to say, and nobody has then moved a hand or a light."""


@dataclass(frozen=True, slots=True)
class Hurried:
    """Points found sound one after the other in less time than it takes to look at them."""

    entries: tuple[Entry, ...]
    points: tuple[str, ...]
    """Their ids, in the order they were spoken of."""
    seconds: float
    """From the first of the entries to the last."""


def hurried(state: WalkState) -> tuple[Hurried, ...]:
    """Return the runs of at least five points found sound in under two seconds a point."""
    looks: list[tuple[float, Entry]] = []
    seconds = 0.0
    before: Entry | None = None
    for entry in state.entries.values():
        seconds += _between(before, entry)
        before = entry
        if entry.status != "standing" or entry.claim.polarity != "sound" or entry.changes:
            continue
        if not looks or looks[-1][1].claim.point_id != entry.claim.point_id:
            looks.append((seconds, entry))
    runs: list[list[int]] = []
    for first in range(len(looks) - POINTS + 1):
        last = first + POINTS - 1
        if looks[last][0] - looks[first][0] < (POINTS - 1) * SECONDS_A_POINT:
            if runs and first <= runs[-1][1]:
                runs[-1][1] = last
            else:
                runs.append([first, last])
    return tuple(_run(looks[first : last + 1]) for first, last in runs)


def _run(looks: list[tuple[float, Entry]]) -> Hurried:
    entries = tuple(entry for _, entry in looks)
    points = tuple(dict.fromkeys(entry.claim.point_id for entry in entries))
    return Hurried(entries, points, looks[-1][0] - looks[0][0])


def _between(before: Entry | None, entry: Entry) -> float:
    """Return the seconds between two entries: by the clock, or by the sound where that says more.

    A recording is heard faster than it was spoken.
    """
    if before is None:
        return 0.0
    by_clock = (entry.at - before.at).total_seconds()
    one, other = before.logged.heard, entry.logged.heard
    by_sound = other.end_s - one.end_s if one.how == other.how == "speech" else 0.0
    return max(by_clock, by_sound, 0.0)
