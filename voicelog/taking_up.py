"""Entering what walks say of their unit's defects, for walks that have gone on since it was last done.

A walk enters its defects when it is finished and when its review changes it. Whatever came between
(a power cut, a walk that was never finished, a record of an older version) is entered here, when
the shop or the next walk looks.
"""

from __future__ import annotations

from collections.abc import Callable

from voicelog.errors import VoicelogError
from voicelog.records.store import Store
from voicelog.walk.state import WalkState


def take_up_all(store: Store, load: Callable[[str], WalkState]) -> tuple[str, ...]:
    """Enter the defects of every walk that has gone on; return what could not be, in words.

    ``load`` gives a walk's state; it raises VoicelogError where its sheet is not at hand.
    """
    left = []
    for walk in store.defects.not_taken_up():
        try:
            store.defects.take_up(walk, load(walk))
        except VoicelogError as error:
            left.append(
                f"the defects of {walk} are not listed yet: {error.what}. Open it with its sheet: "
                f"voicelog review {walk} --sheet FILE"
            )
    return tuple(left)
