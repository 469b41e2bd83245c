"""What the walk screen shows at one moment.

Views are drawn anew from this value. Updates that only carry a level leave the last words and
replies standing, so that nothing said back disappears before it was read.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from voicelog.screens.walk_facts import Recorder, Trouble, recorder
from voicelog.walk.events import Heard
from voicelog.walk.replies import Ear, Reply, Update
from voicelog.walk.state import WalkState


@dataclass(frozen=True, slots=True)
class Shown:
    """The last update, with the last words and replies, and what went wrong."""

    update: Update
    replies: tuple[Reply, ...] = ()
    heard: Heard | None = None
    trouble: Trouble | None = None
    """Stays until the operator has put it away."""
    sound_over: bool = False
    """The feed has ended: no more sound will come, typing still works."""
    keyboard: bool = False
    """The walk is typed: there is no sound that could end."""
    now: datetime | None = None
    """The clock's time; None for a view that only knows the time of the last event."""

    @property
    def state(self) -> WalkState:
        """The walk."""
        return self.update.state

    @property
    def ear(self) -> Ear:
        """What is being heard."""
        return "stopped" if self.sound_over and not self.keyboard else self.update.ear

    @property
    def recorder(self) -> Recorder:
        """Whether sound, or what is typed, is being taken down."""
        if self.keyboard:
            taken = recorder(self.update)
            return "keyboard" if taken == "recording" else taken
        return "stopped" if self.sound_over else recorder(self.update)


def after(shown: Shown | None, update: Update) -> Shown:
    """Return what is shown after an update."""
    if shown is None:
        return Shown(update, update.replies, update.heard)
    if update.heard is None and not update.replies:
        return replace(shown, update=update)
    return replace(shown, update=update, replies=update.replies, heard=update.heard)
