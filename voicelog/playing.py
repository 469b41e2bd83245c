"""Playing a clip of the record through the system's sound output."""

from __future__ import annotations

from collections.abc import Callable

from voicelog.errors import AudioError
from voicelog.records.clips import decode as decode_clip


def player() -> Callable[[bytes], None] | None:
    """Return a function that plays a FLAC clip, or None where there is no sound output."""
    try:
        import sounddevice

        sounddevice.query_devices(kind="output")
    except Exception:  # no PortAudio (OSError), no device (PortAudioError, ValueError)
        return None

    def play(flac: bytes) -> None:
        samples, rate = decode_clip(flac)
        try:
            sounddevice.play(samples, rate)
        except sounddevice.PortAudioError as error:
            raise AudioError(
                f"the clip cannot be played ({error})", remedy="check the sound output"
            ) from error

    return play
