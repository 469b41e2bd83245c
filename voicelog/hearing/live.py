"""Words while they are spoken: follows the utterance that is open.

A view, nothing more: it decides nothing, nothing of it is kept, and when it fails the walk goes on
without it.
"""

from __future__ import annotations

import logging

from voicelog.hearing.endpoint import Endpointer
from voicelog.hearing.recogniser import LiveWords, Streaming
from voicelog.phrases.graph import PhraseGraph

_LOG = logging.getLogger(__name__)


class LiveEar:
    """Gives the words of the open utterance, as far as it has been spoken."""

    def __init__(self, streaming: Streaming) -> None:
        self._streaming: Streaming | None = streaming
        self._words: LiveWords | None = None
        self._opened: int | None = None
        self._given = 0
        self._text = ""

    def follow(self, endpointer: Endpointer, graph: PhraseGraph | None) -> str:
        """Take what is new of the open utterance; return its words so far.

        Empty when nobody speaks, and without a graph: then what is said is not for the screen.
        """
        if self._streaming is None or graph is None or endpointer.opened is None:
            self._words, self._opened, self._text = None, None, ""
            return ""
        try:
            if self._words is None or endpointer.opened != self._opened:
                self._words, self._opened = self._streaming.begin(graph), endpointer.opened
                self._given, self._text = 0, ""
            new = endpointer.open_sound(self._given)
            if len(new):
                self._given += len(new)
                self._text = " ".join(self._words.accept(new))
        except Exception as error:  # an engine's own, of any kind: a view must not end the walk
            _LOG.error("words while they are spoken are switched off", exc_info=error)
            self._streaming = None
            return ""
        return self._text
