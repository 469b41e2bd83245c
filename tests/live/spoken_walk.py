"""The real command, ``voicelog walk``, listening through the virtual microphone to the recorded walk.

The record keeps the sound of what was heard, so where a clip lies in the recorded walk is found by
correlation: that gives the stream's time of everything that was played, to a millisecond, and with
two clips how far the stream's clock ran off.
"""

from __future__ import annotations

import queue
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from scipy.signal import correlate

from tests.virtual_sound import VirtualSound
from voicelog.clock import now
from voicelog.demo import Script, load_script
from voicelog.hearing.audio import read_samples
from voicelog.hearing.recogniser import RATE, Samples
from voicelog.records.chain import Stored
from voicelog.records.clips import decode
from voicelog.records.store import Store
from voicelog.walk.events import Event, Heard

ROOT = Path(__file__).parents[2]
UNIT = ROOT / "samples" / "engine_61.toml"


def recorded_walk() -> tuple[Script, Samples]:
    """Return the shipped script and its sound."""
    script = load_script(ROOT / "samples" / "engine_61_walk.toml")
    return script, read_samples(script.sound_path)


class Walking:
    """The command at work: its lines as they come."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process
        self.lines: list[str] = []
        self._coming: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._coming.put(line.rstrip("\n"))
        self._coming.put(None)

    def until(self, text: str, within_s: float) -> float:
        """Read lines until one has ``text``; return how long that took. AssertionError if none has."""
        began = time.monotonic()
        while (left := began + within_s - time.monotonic()) > 0:
            try:
                line = self._coming.get(timeout=left)
            except queue.Empty:
                break
            if line is None:
                break
            self.lines.append(line)
            if text in line:
                return time.monotonic() - began
        raise AssertionError(f"{text!r} did not come within {within_s} s:\n" + "\n".join(self.lines))

    def end(self, within_s: float = 60.0) -> int:
        """Return the exit code, once the command has ended by itself."""
        code = self.process.wait(timeout=within_s)
        while (line := self._coming.get(timeout=10)) is not None:
            self.lines.append(line)
        return code


@contextmanager
def walking(
    sound: VirtualSound, data: Path, *options: str, headset: bool = True, unit: Path = UNIT
) -> Iterator[Walking]:
    """Run ``voicelog walk --plain`` on a unit; ended, if it has not ended, when the block is left.

    With ``headset`` the lines may be spoken over the answers; the recorded walk does not wait for them.
    """
    line = [sys.executable, "-m", "voicelog.cli", "--data", str(data), "walk", "--plain"]
    line += ["--unit", str(unit), "--operator", "R. Alder", *options]
    line += ["--headset"] if headset else []
    environment = sound.environment | {"PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(
        line, env=environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True
    )
    try:
        yield Walking(process)
    finally:
        if process.poll() is None:
            process.terminate()
            process.wait(timeout=30)


def stored_walk(data: Path) -> tuple[tuple[Stored, ...], dict[str, Samples]]:
    """Return the events of the only walk, which must be whole, and the sound of its clips at 16 kHz."""
    with Store.open(data, clock=now) as store:
        (walk,) = store.walks()
        assert store.verify_all() == ()
        events = store.events(walk.walk)
        clips = {sha: decode(store.clip(sha))[0] for stored in events if (sha := _clip(stored.event))}
    return events, clips


def _heard(event: Event) -> Heard | None:
    heard: Heard | None = getattr(event, "heard", None)
    return heard if heard is not None and heard.how == "speech" else None


def _clip(event: Event) -> str | None:
    heard = _heard(event)
    return heard.clip if heard is not None else None


def places(
    events: Sequence[Stored], clips: dict[str, Samples], sound: Samples, *, within_s: float | None = None
) -> dict[str, float]:
    """Return, by clip, the stream's time less the time in ``sound`` of what was heard.

    Only of clips that are found there, in the order they were heard. With ``within_s`` all but the
    first are looked for that far from where the first one says: the same sound may be said twice.
    """
    found: dict[str, float] = {}
    energies = np.concatenate([[0.0], np.cumsum(sound.astype(np.float64) ** 2)])
    for stored in events:
        heard = _heard(stored.event)
        if heard is None or heard.clip is None or heard.clip in found:
            continue
        clip = clips[heard.clip]
        # Its ends may be silence that was not played; the middle is what can be found.
        begin = len(clip) // 4
        middle = clip[begin : 3 * len(clip) // 4]
        first = 0
        part_of, energy_of = sound, energies
        if within_s is not None and found:
            expected = round((heard.start_s - next(iter(found.values()))) * RATE) + begin
            first = max(0, expected - round(within_s * RATE))
            last = expected + len(middle) + round(within_s * RATE)
            part_of, energy_of = sound[first:last], energies[first : last + 1]
        if len(part_of) <= len(middle):
            continue
        products = correlate(part_of, middle, mode="valid", method="fft")
        # Divided by the energy there: the same words said louder elsewhere are not the place.
        energy = energy_of[len(middle) :] - energy_of[: -len(middle)]
        likeness = products / (np.sqrt(energy) * np.linalg.norm(middle) + 1e-3)
        place = int(np.argmax(likeness))
        if likeness[place] > 0.8:
            found[heard.clip] = heard.start_s + (begin - first - place) / RATE
    return found
