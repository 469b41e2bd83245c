"""Two hours of a walk: does memory stay flat, is anything missed, does the clock run off?

    python -m tests.benchmarks.endurance --minutes 120
    python -m tests.benchmarks.endurance --live 20

Without ``--live`` the sound is fed as fast as it is processed. Lines of the recorded walk, lines in
the voices that are installed, engine-bay noise and silence take turns, drawn from ``--seed``. It
tells the resident memory every ten minutes of sound, the lines in which nothing was heard, and how
far the engine would have fallen behind a microphone. With ``--live`` the real command listens in
real time through the virtual microphone (:mod:`tests.virtual_sound`); drift is then that of the
record's times against a recording made by the sound server. Speech and noise are synthetic. Exit
code 1 if a line was missed, sound was lost, or the clock ran off by more than 100 ms.
"""

from __future__ import annotations

import argparse
import random
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import psutil
import soundfile
import soxr
from tabulate import tabulate

from tests.benchmarks.engine_bay_noise import engine_bay_noise
from tests.benchmarks.voices import available_voices, speak
from tests.live.spoken_walk import places, recorded_walk, stored_walk, walking
from tests.virtual_sound import RATE as SERVER_RATE
from tests.virtual_sound import SPEECH, missing, virtual_sound
from voicelog.clock import now
from voicelog.conduct import Conductor
from voicelog.demo import Script
from voicelog.feeding import conduct
from voicelog.hearing.audio import BLOCK_S, Block
from voicelog.hearing.endpoint import Endpointer
from voicelog.hearing.recogniser import RATE, Decoding, Samples, Utterance
from voicelog.hearing.whisper import WhisperRecogniser
from voicelog.meaning.facts import Heard
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.sheet import load_unit
from voicelog.walk.events import StreamEnded

EVERY_S = 600.0
BLOCK = round(BLOCK_S * RATE)
MOST_DRIFT_S = 0.1
SYNTHETIC = (
    "left lift cylinder dripping",
    "fan belt deflection one half inch",
    "drops forming on the steering gear",
    "secondary air tank reads fifty five pounds",
)
"""Lines that are in no recording; they may be said at any stop, and are asked about or refused there."""
NEAR_S = 5.0
"""Around where a clip should be: the same line is said more than once."""
CLIPS_PLACED = 20
"""Of a live walk, this many clips are looked for in the server's recording."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of the walk, and where somebody speaks in it."""

    kind: str
    samples: Samples
    spoken: tuple[float, float] | None = None
    """Seconds from the beginning of the piece."""


class Spans:
    """A recogniser that remembers which stretches of the stream it was given."""

    def __init__(self, recogniser: WhisperRecogniser) -> None:
        self._recogniser = recogniser
        self.name, self.model_sha256 = recogniser.name, recogniser.model_sha256
        self.spans: list[tuple[float, float]] = []

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        """Decode, and remember where."""
        self.spans.append((utterance.start_s, utterance.end_s))
        return self._recogniser.decode(utterance, graph)

    def dictate(self, utterance: Utterance) -> str:
        """Transcribe freely."""
        return self._recogniser.dictate(utterance)


def pieces(script: Script, walk: Samples, seed: int, *, one_stop: bool = False) -> Iterator[Piece]:
    """Yield the walk's pieces without end: first its safety gate, then lines, noise and silence in turn.

    With ``one_stop`` only lines of the first stop: no other stop's cautions are asked for, so every
    line leaves an event in the record.
    """
    rng = random.Random(seed)
    lines = [n for n in script.lines if n.expected and all(o.kind == "claim" for o in n.expected)]
    yield Piece("safety gate", walk[: round((lines[0].start_s - 0.5) * RATE)])
    if one_stop:
        here = {point.id for point in script.sheet.stops[0].points}
        lines = [line for line in lines if all(outcome.point_id in here for outcome in line.expected)]
    voices = [voice for voice in ("slt", "awb", "rms") if voice in available_voices()]
    room = np.random.default_rng(seed).normal(0, 1e-3, 60 * RATE).astype(np.float32)
    number = 0
    while True:
        number += 1
        draw = rng.random()
        if draw < 0.45:
            line = rng.choice(lines)
            begin_s, end_s = line.start_s - 0.5, line.end_s + 0.9
            sound = walk[round(begin_s * RATE) : round(end_s * RATE)]
            yield Piece("line of the walk", sound, (0.5, line.end_s - begin_s))
        elif draw < 0.55 and voices and not one_stop:
            said = speak(rng.choice(SYNTHETIC), rng.choice(voices))
            quiet = room[: round(0.9 * RATE)]
            sound = np.concatenate([quiet, said, quiet])
            yield Piece("another line", sound, (0.9, 0.9 + len(said) / RATE))
        elif draw < 0.8:
            yield Piece("engine noise", engine_bay_noise(rng.uniform(3, 15), seed * 100_000 + number))
        else:
            yield Piece("silence", room[: round(rng.uniform(1, 30) * RATE)])


def missed(spoken: list[tuple[float, float]], heard: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return the spoken stretches of which less than half lies in what was heard."""

    def share(line: tuple[float, float]) -> float:
        overlap = sum(max(0.0, min(line[1], e) - max(line[0], s)) for s, e in heard)
        return overlap / (line[1] - line[0])

    return [line for line in spoken if share(line) < 0.5]


# as fast as it goes -------------------------------------------------------------------------


class Feed:
    """Gives blocks, and keeps the books: what was said when, memory, and how far behind it would be."""

    def __init__(self, source: Iterator[Piece], minutes: float) -> None:
        self._source, self._until_s = source, minutes * 60
        self.spoken: list[tuple[float, float]] = []
        self.kinds: dict[str, float] = {}
        self.memory: list[tuple[float, int]] = []
        self.behind_s = self.most_behind_s = 0.0

    def blocks(self) -> Iterator[Block]:
        """Yield blocks until the time is over."""
        given, rest = 0, np.zeros(0, np.float32)
        process, next_s = psutil.Process(), 0.0
        while given / RATE < self._until_s:
            piece = next(self._source)
            begin_s = (given + len(rest)) / RATE
            if piece.spoken is not None:
                self.spoken.append((begin_s + piece.spoken[0], begin_s + piece.spoken[1]))
            self.kinds[piece.kind] = self.kinds.get(piece.kind, 0.0) + len(piece.samples) / RATE
            pending = np.concatenate([rest, piece.samples])
            whole = len(pending) // BLOCK * BLOCK
            rest = pending[whole:]
            for n in range(0, whole, BLOCK):
                if given / RATE >= next_s:
                    self.memory.append((given / RATE, process.memory_info().rss))
                    next_s += EVERY_S
                began = time.perf_counter()
                yield Block(pending[n : n + BLOCK], given / RATE)
                given += BLOCK
                self.behind_s = max(0.0, self.behind_s + time.perf_counter() - began - BLOCK_S)
                self.most_behind_s = max(self.most_behind_s, self.behind_s)
        self.memory.append((given / RATE, process.memory_info().rss))


def run(minutes: float, seed: int) -> int:
    """Feed a walk as fast as it is processed; print the figures; return the exit code."""
    script, walk = recorded_walk()
    recogniser = Spans(WhisperRecogniser())
    feed = Feed(pieces(script, walk, seed), minutes)
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder), clock=now) as store:
        conductor = Conductor(store, script.sheet, load_unit(script.unit_path), recogniser, clock=now)
        conductor.begin("R. Alder")
        conduct(conductor, feed.blocks(), Endpointer(), lambda update: None)
        whole = store.verify_all() == ()
        events = len(store.events(conductor.walk_id))
    took_s = time.perf_counter() - began
    lost = missed(feed.spoken, recogniser.spans)
    print(tabulate([(f"{s / 60:.0f}", f"{b / 2**20:.0f}") for s, b in feed.memory], ["min", "MiB resident"]))
    sound = ", ".join(f"{kind} {seconds / 60:.1f} min" for kind, seconds in sorted(feed.kinds.items()))
    print(f"\nsound: {sound}")
    print(f"processed in {took_s / 60:.1f} min; furthest behind a microphone: {feed.most_behind_s:.1f} s")
    print(f"lines spoken {len(feed.spoken)}, missed {len(lost)}; utterances decoded {len(recogniser.spans)}")
    print(f"events in the record {events}, {'whole' if whole else 'NOT WHOLE'}")
    for start_s, end_s in lost[:20]:
        print(f"  missed at {start_s:.1f} to {end_s:.1f} s")
    return 1 if lost or not whole else 0


# in real time -------------------------------------------------------------------------------


def live(minutes: float, seed: int) -> int:
    """Play a walk to the real command in real time; print the figures; return the exit code."""
    script, walk = recorded_walk()
    parts: list[Samples] = [np.zeros(4 * RATE, np.float32)]
    spoken: list[tuple[float, float]] = []
    length = len(parts[0])
    for piece in pieces(script, walk, seed, one_stop=True):
        if piece.spoken is not None:
            spoken.append((length / RATE + piece.spoken[0], length / RATE + piece.spoken[1]))
        parts.append(piece.samples)
        length += len(piece.samples)
        if length > minutes * 60 * RATE:
            break
    ending = script.lines[-1]
    parts.append(walk[round((ending.start_s - 0.6) * RATE) :])
    parts.append(np.zeros(2 * RATE, np.float32))
    played = np.concatenate(parts)
    memory: list[tuple[float, int]] = []
    with tempfile.TemporaryDirectory() as folder:
        path, data = Path(folder) / "walk.wav", Path(folder) / "data"
        soundfile.write(path, played, RATE)
        with virtual_sound() as sound, walking(sound, data, "--headset", "--read-back", "tones") as command:
            command.until("  next  ", 120)
            recording = sound.record()
            process = psutil.Process(command.process.pid)
            began = time.monotonic()
            player = sound.start_playing(path)
            while player.poll() is None:
                if command.process.poll() is None:
                    memory.append(((time.monotonic() - began) / 60, process.memory_info().rss))
                time.sleep(min(60.0, minutes * 6))
            code = command.end()
            said = soxr.resample(recording.samples()[:, SPEECH], SERVER_RATE, RATE)
        events, clips = stored_walk(data)
    summary = next(s.event for s in reversed(events) if isinstance(s.event, StreamEnded))
    some = dict(list(clips.items())[:: max(1, len(clips) // CLIPS_PLACED)])
    placed = places([s for s in events if _clip(s.event) in some], some, said, within_s=NEAR_S)
    by_server = list(placed.values())
    drift_s = max(by_server) - min(by_server) if by_server else float("nan")
    in_played = places([s for s in events if _clip(s.event) in some], some, played, within_s=NEAR_S)
    offset_s = float(np.median(list(in_played.values())))
    heard = [(h.start_s - offset_s - 1.5, h.end_s - offset_s + 1.5) for s in events if (h := _heard(s.event))]
    lost = missed(spoken, heard)
    print(tabulate([(f"{m:.1f}", f"{b / 2**20:.0f}") for m, b in memory], ["min", "MiB resident"]))
    print(f"\nlines spoken {len(spoken)}, missed {len(lost)}; exit code of the walk {code}")
    print(
        f"stream {summary.seconds:.0f} s, overruns {summary.overruns}, lost {summary.lost_s:.1f} s, "
        f"drift of the device taken out {summary.drift_s * 1000:.0f} ms"
    )
    print(f"{len(by_server)} clips lie within {drift_s * 1000:.0f} ms of the server's clock")
    if drift_s >= MOST_DRIFT_S:
        usual = float(np.median(by_server))
        at = {sha: h.start_s for s in events if (h := _heard(s.event)) and (sha := _clip(s.event)) in placed}
        for sha, start_s in at.items():
            print(f"  at {start_s:7.1f} s: {(placed[sha] - usual) * 1000:+6.0f} ms from the middle one")
    whole = (
        2 * len(by_server) >= len(some)
        and drift_s < MOST_DRIFT_S
        and not summary.overruns
        and not summary.lost_s
    )
    return 0 if code == 0 and not lost and whole else 1


def _heard(event: object) -> Heard | None:
    heard: Heard | None = getattr(event, "heard", None)
    return heard if heard is not None and heard.how == "speech" else None


def _clip(event: object) -> str | None:
    heard = _heard(event)
    return heard.clip if heard is not None else None


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--minutes", type=float, default=120.0, help="of sound, as fast as it goes")
    parser.add_argument("--live", type=float, metavar="MINUTES", help="in real time")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    if args.live is not None:
        if missing():
            parser.error(f"not installed: {', '.join(missing())}")
        raise SystemExit(live(args.live, args.seed))
    raise SystemExit(run(args.minutes, args.seed))


if __name__ == "__main__":
    main()
