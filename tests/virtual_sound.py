"""A microphone and a loudspeaker in software: a PulseAudio server of our own.

What is played into the sink ``speech`` is heard by the microphone; what the program under test
plays goes to the sink ``answers``. Both are parts of one sink, ``bench``, so that a recording of
``bench`` has the speech on its first channel and the answers on the other two, sample for sample
by one clock. Nothing of the user's own sound is touched, and every process is ended by its id.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import numpy as np
import numpy.typing as npt

from voicelog.hearing.recogniser import Samples

RATE = 48_000
"""Of the server, and of what is recorded."""
NEEDED = ("pulseaudio", "pactl", "paplay", "parec")
SPEECH, ANSWERS = 0, slice(1, 3)
"""Channels of a recording."""
_FRAME_BYTES = 3 * 4

_ASOUNDRC = "pcm.!default { type pulse }\nctl.!default { type pulse }\n"
_BENCH = f"sink_name=bench rate={RATE} channels=3 channel_map=front-left,rear-left,rear-right"
_SPEECH = "sink_name=speech master=bench channels=1 channel_map=mono master_channel_map=front-left remix=no"
_ANSWERS = (
    "sink_name=answers master=bench channels=2 channel_map=front-left,front-right "
    "master_channel_map=rear-left,rear-right remix=no"
)


def missing() -> tuple[str, ...]:
    """Return which of the programs that are needed are not installed."""
    return tuple(name for name in NEEDED if shutil.which(name) is None)


class Recording:
    """A recording of ``bench`` that goes on until it is read."""

    def __init__(self, process: subprocess.Popen[bytes], path: Path) -> None:
        self._process, self._path = process, path

    def frames(self) -> int:
        """Return how many frames are recorded by now."""
        return self._path.stat().st_size // _FRAME_BYTES

    def so_far(self, first: int) -> npt.NDArray[np.float32]:
        """Return what is recorded by now from a frame on, shape (frames, 3)."""
        count = max(0, self.frames() - first)
        found = np.fromfile(self._path, np.float32, 3 * count, offset=first * _FRAME_BYTES)
        return found[: len(found) // 3 * 3].reshape(-1, 3)

    def samples(self) -> npt.NDArray[np.float32]:
        """End the recording; return it, shape (frames, 3), at :data:`RATE`."""
        _end(self._process)
        return np.fromfile(self._path, np.float32).reshape(-1, 3)


class VirtualSound:
    """A running server; made by :func:`virtual_sound`."""

    def __init__(self, folder: Path, environment: dict[str, str], held: ExitStack) -> None:
        self._folder, self._held = folder, held
        self.environment = environment
        """For processes that are to use this server in place of the user's."""
        self._speech: str | None = None

    def pactl(self, *arguments: str) -> str:
        """Run ``pactl`` and return what it prints."""
        done = subprocess.run(
            ["pactl", *arguments],
            env=self.environment,
            capture_output=True,
            text=True,
            check=True,
            timeout=20,
        )
        return done.stdout.strip()

    def restore(self) -> None:
        """Put the microphone there, as the default source."""
        self._speech = self.pactl("load-module", "module-remap-sink", *_SPEECH.split())
        self.pactl("set-default-source", "speech.monitor")

    def drop(self) -> None:
        """Take the microphone away, as a headset that drops out."""
        assert self._speech is not None
        self.pactl("unload-module", self._speech)
        self._speech = None

    def couple(self) -> None:
        """Have the microphone hear the loudspeaker, as one in a room does."""
        module = "source=answers.monitor sink=speech latency_msec=30"
        self.pactl("load-module", "module-loopback", *module.split())

    def mute(self, muted: bool = True) -> None:
        """Mute the microphone, or let it be heard again."""
        self.pactl("set-source-mute", "speech.monitor", str(int(muted)))

    def play(self, path: Path) -> None:
        """Say a sound file into the microphone; returns when it has been said."""
        self.start_playing(path).wait(timeout=600)

    def start_playing(self, path: Path) -> subprocess.Popen[bytes]:
        """Begin to say a sound file into the microphone."""
        line = ["paplay", "--device=speech", "--latency-msec=200", str(path)]
        return self._start(line)

    def say(self, samples: Samples, rate: int) -> None:
        """Say samples into the microphone; returns when they have been said."""
        import soundfile

        path = self._folder / "said.wav"
        soundfile.write(path, samples, rate)
        self.play(path)

    def record(self) -> Recording:
        """Begin to record what is said and what is answered, by one clock."""
        path = self._folder / f"recorded{time.monotonic_ns()}.f32"
        line = [
            "parec",
            "--device=bench.monitor",
            "--raw",
            "--format=float32le",
            f"--rate={RATE}",
            "--channels=3",
            "--channel-map=front-left,rear-left,rear-right",
            "--latency-msec=20",
        ]
        with path.open("wb") as file:
            return Recording(self._start(line, stdout=file), path)

    def _start(self, line: list[str], stdout: object = subprocess.DEVNULL) -> subprocess.Popen[bytes]:
        process = subprocess.Popen(line, env=self.environment, stdout=stdout, stderr=subprocess.DEVNULL)  # type: ignore[call-overload]
        self._held.callback(_end, process)
        return process  # type: ignore[no-any-return]


@contextmanager
def virtual_sound() -> Iterator[VirtualSound]:
    """Start a server with a microphone and a loudspeaker; end it and all that it ran."""
    with ExitStack() as held:
        folder = Path(held.enter_context(tempfile.TemporaryDirectory(prefix="voicelog-sound-")))
        runtime = folder / "run"
        runtime.mkdir(mode=0o700)
        (folder / ".asoundrc").write_text(_ASOUNDRC)
        hidden = ("PULSE_SERVER", "PULSE_SOURCE", "PULSE_SINK", "PULSE_COOKIE", "DBUS_SESSION_BUS_ADDRESS")
        environment = {name: value for name, value in os.environ.items() if name not in hidden}
        environment |= {"HOME": str(folder), "XDG_RUNTIME_DIR": str(runtime), "XDG_CONFIG_HOME": str(folder)}
        log = held.enter_context((folder / "log").open("w"))
        line = ["pulseaudio", "-n", "--exit-idle-time=-1", "--daemonize=no", "--use-pid-file=no"]
        modules = (
            "module-native-protocol-unix",
            f"module-null-sink {_BENCH}",
            f"module-remap-sink {_ANSWERS}",
        )
        for module in modules:
            line += ["-L", module]
        server = subprocess.Popen(line, env=environment, stdout=log, stderr=log)
        held.callback(_end, server)
        sound = VirtualSound(folder, environment, held)
        _wait_until_it_answers(sound, server, folder / "log")
        sound.restore()
        sound.pactl("set-default-sink", "answers")
        yield sound


def _wait_until_it_answers(sound: VirtualSound, server: subprocess.Popen[bytes], log: Path) -> None:
    until = time.monotonic() + 20
    while time.monotonic() < until and server.poll() is None:
        try:
            sound.pactl("info")
            return
        except subprocess.SubprocessError:
            time.sleep(0.05)
    raise RuntimeError(f"PulseAudio did not start: {log.read_text()[-500:]}")


def _end(process: subprocess.Popen[bytes]) -> None:
    if process.poll() is None:
        process.terminate()
        try:
            process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
