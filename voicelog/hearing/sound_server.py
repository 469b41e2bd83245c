"""Which source the sound server gives us: PulseAudio, or PipeWire in its place.

When a headset drops out, the server moves our stream to another source without a word to us: a
built-in microphone, or the sound that we play ourselves. Only the server can tell.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class ServerSource:
    """A source of the sound server."""

    name: str
    """Its name to the server, the same after it was unplugged and plugged in again."""
    description: str
    """Its name to people."""
    plays_back: bool
    """Whether it gives what is played on an output, rather than what a microphone hears."""


class SoundServer:
    """Asks the server; answers None where there is none, or none that can be asked."""

    def __init__(self, pulse: Any = None) -> None:
        self._pulse = pulse

    def source(self) -> ServerSource | None:
        """Return the source that this process records from; None when that is not known."""
        if self._pulse is None:
            return None
        try:
            ours = [
                stream.source
                for stream in self._pulse.source_output_list()
                if stream.proplist.get("application.process.id") == str(os.getpid())
            ]
            found = [s for s in self._pulse.source_list() if s.index in ours]
        except Exception:  # pulsectl raises its own of many kinds when the server has gone
            self._pulse = None
            return None
        if len(found) != 1:
            return None
        (source,) = found
        return ServerSource(source.name, source.description, source.monitor_of_sink_name is not None)


@contextmanager
def sound_server() -> Iterator[SoundServer]:
    """Connect to the sound server of this user, if one is running; none is started."""
    try:
        import pulsectl

        pulse = pulsectl.Pulse("voicelog", connect=False)
        pulse.connect(autospawn=False)
    except Exception:  # no libpulse (OSError), or no server (pulsectl's own)
        yield SoundServer()
        return
    try:
        yield SoundServer(pulse)
    finally:
        with contextlib.suppress(Exception):
            pulse.close()
