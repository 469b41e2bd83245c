"""The transcripts that come while a walk is reviewed, put on record between the officer's own acts."""

from __future__ import annotations

from voicelog.errors import VoicelogError
from voicelog.later_transcripts import LaterTranscripts
from voicelog.records.store import Store
from voicelog.walk.remarks import owed
from voicelog.walk.state import WalkState

TAKE_EVERY_S = 0.25
"""How often the screen looks for transcripts that have come."""


class Taking:
    """Takes what a walk's :class:`LaterTranscripts` have made; None of them makes nothing."""

    def __init__(self, store: Store, walk_id: str, transcripts: LaterTranscripts | None) -> None:
        """Begin nothing yet."""
        self._store, self._walk, self._transcripts = store, walk_id, transcripts

    def begin(self, state: WalkState) -> str:
        """Begin to make what the walk lacks; return what is said of it, empty where it lacks none."""
        count = self._transcripts.begin(state) if self._transcripts is not None else 0
        if not count:
            return ""
        have = "1 remark has" if count == 1 else f"{count} remarks have"
        return f"{have} no transcript yet; it is made meanwhile. The sound is the original."

    def take(self, state: WalkState) -> tuple[bool, str]:
        """Put on record what has come; return whether anything was, and what is to be said.

        ``state`` is the walk as it now is on record. A transcript that another program has made, or
        that would come after a signature, is let go.
        """
        added, told = False, ""
        lacking = {remark.remark_id for remark in owed(state.remarks)} if not state.signatures else set()
        for made in self._transcripts.done() if self._transcripts is not None else ():
            if isinstance(made, str):
                told = made
            elif made.remark_id in lacking:
                try:
                    self._store.append(self._walk, (made,))
                except VoicelogError as error:
                    return added, f"The transcript is not recorded. {error.what} {error.remedy}"
                added = True
        return added, told

    @property
    def waiting(self) -> bool:
        """Whether anything has come that was not taken."""
        return self._transcripts is not None and self._transcripts.has_come
