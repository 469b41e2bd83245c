"""What the drawn parts of the walk screen have in common."""

from __future__ import annotations

from textual.widget import Widget

from voicelog.screens.shown import Shown


class Part(Widget):
    """A part that is drawn anew whenever what is shown has changed."""

    shown: Shown | None = None

    def show(self, shown: Shown) -> None:
        """Take what is to be shown."""
        self.shown = shown
        self.refresh()
