"""PortAudio, which the microphone and the voice share.

PortAudio reads the list of devices when it is initialised and never again, and initialising it
anew ends every stream of the process. So whoever keeps a stream open says so with :func:`shared`,
and :func:`look_again` has it closed and opened again around the new look. Nor may two threads be in
it at once: whoever opens or closes a stream does so inside :func:`alone`.
"""

from __future__ import annotations

import ctypes
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cache
from typing import Any

from voicelog.errors import AudioError


@dataclass(frozen=True, slots=True)
class InputDevice:
    """A microphone, or another source of sound, that can be opened."""

    index: int
    name: str
    rate: float
    """Its own rate in hertz."""
    default: bool

    def __str__(self) -> str:
        mark = " (default)" if self.default else ""
        return f"{self.index}: {self.name}, {self.rate:.0f} Hz{mark}"


@dataclass(frozen=True, slots=True, eq=False)
class _Sharer:
    close: Callable[[], None]
    reopen: Callable[[], None]


_turn = threading.RLock()
_sharers: list[_Sharer] = []


def sounddevice() -> Any:
    """Return the sounddevice module. Raises :class:`AudioError` where PortAudio is not installed."""
    try:
        import sounddevice as module
    except OSError as error:
        raise AudioError(
            "the microphone needs PortAudio, which is not installed",
            remedy="apt install libportaudio2; recordings and the keyboard work without it",
        ) from error
    _quiet_alsa()
    return module


@cache
def _quiet_alsa() -> object:
    """Keep ALSA from printing to standard error, where the screen is drawn.

    What it prints, late sound above all, is told by the streams themselves. Returns what must live
    as long as the library.
    """
    kind = ctypes.CFUNCTYPE(
        None, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p
    )
    handler = kind(lambda *_: None)
    try:
        ctypes.CDLL("libasound.so.2").snd_lib_error_set_handler(handler)
    except (OSError, AttributeError):  # a system without ALSA
        return None
    return handler


def devices() -> tuple[InputDevice, ...]:
    """Return the devices that sound can come from. Raises :class:`AudioError` without PortAudio."""
    module = sounddevice()
    default = module.default.device[0]
    return tuple(
        InputDevice(d["index"], d["name"], d["default_samplerate"], d["index"] == default)
        for d in module.query_devices()
        if d["max_input_channels"] > 0
    )


@contextmanager
def alone() -> Iterator[None]:
    """Keep the other threads out of PortAudio meanwhile; whoever is alone already may enter again.

    A stream that one thread opens or closes while another initialises PortAudio anew is used after
    it was freed: the process ends, or the thread never returns.
    """
    with _turn:
        yield


@contextmanager
def shared(close: Callable[[], None], reopen: Callable[[], None]) -> Iterator[None]:
    """Keep a stream open beside those of others, for as long as the ``with`` statement lasts.

    ``close`` ends the stream and ``reopen`` makes it anew, from another thread than the stream's
    own; both must return soon, must not raise, and must bear a stream that is closed already.
    """
    sharer = _Sharer(close, reopen)
    with _turn:
        _sharers.append(sharer)
    try:
        yield
    finally:
        with _turn:
            _sharers.remove(sharer)


def look_again() -> None:
    """Read the list of devices anew; streams that are shared are closed meanwhile.

    The caller's own streams must be closed. What cannot be initialised now raises
    :class:`AudioError` when a device is opened.
    """
    module = sounddevice()
    with _turn:
        for sharer in _sharers:
            sharer.close()
        try:
            # The only way to it that sounddevice has; its documentation names both. Terminating fails
            # only where the last initialising failed, which must not keep it from being tried again.
            with suppress(module.PortAudioError):
                module._terminate()
            module._initialize()
        except module.PortAudioError as error:
            raise AudioError(
                f"the sound devices cannot be listed ({reason(error)})", remedy="start voicelog again"
            ) from error
        finally:
            for sharer in _sharers:
                sharer.reopen()


def reason(error: Exception) -> str:
    """Return the error's own words on one line."""
    text = str(error.args[0]) if error.args else str(error)
    return " ".join(text.split()).rstrip(".")
