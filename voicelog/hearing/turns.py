"""Whose turn it is to use an engine: what is said to the walk goes first, dictation gives way.

One at a time, so that nothing in an engine need be safe to use twice at once, and so that what the
walk waits for has the processor to itself.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager


class Turns:
    """The turns of one engine."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._taken = False
        self._waiting = 0
        """How many wait who go first."""

    @contextmanager
    def first(self) -> Iterator[None]:
        """Take the next turn there is."""
        with self._changed:
            self._waiting += 1
            self._changed.wait_for(lambda: not self._taken)
            self._waiting -= 1
            self._taken = True
        try:
            yield
        finally:
            self._leave()

    @contextmanager
    def after(self) -> Iterator[None]:
        """Take a turn when nobody goes first; to be given up again and again with :meth:`give_way`."""
        self._take_after()
        try:
            yield
        finally:
            self._leave()

    def give_way(self) -> None:
        """Within :meth:`after`: let those who go first have their turns."""
        if self._waiting:
            self._leave()
            self._take_after()

    def _take_after(self) -> None:
        with self._changed:
            self._changed.wait_for(lambda: not self._taken and not self._waiting)
            self._taken = True

    def _leave(self) -> None:
        with self._changed:
            self._taken = False
            self._changed.notify_all()
