"""A microphone that drops out again and again: is it told, and is it heard again, and how soon?

    python -m tests.benchmarks.drop_outs --times 20

The real command, ``voicelog walk`` with its voice, listens through the virtual microphone
(:mod:`tests.virtual_sound`), which is taken away for one to ``--away`` seconds, drawn from
``--seed``. Tells how long it took until each loss was told, and each return; then a command is said,
which must be on record. Exit code 1 if a loss or a return was not told within a minute, the sound
output was lost with it, or the command was not heard.
"""

from __future__ import annotations

import argparse
import random
import statistics
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import soundfile
from tabulate import tabulate

from tests.benchmarks.voices import speak
from tests.live.person import room
from tests.live.spoken_walk import stored_walk, walking
from tests.virtual_sound import missing, virtual_sound
from voicelog.hearing.recogniser import RATE
from voicelog.walk.events import CommandHeard, SoundBack, SoundLost

WITHIN_S = 60.0
STAYS_S = (1.0, 3.0)
"""How long the microphone is there between two drops."""
COMMAND = "where am I"
ANSWERED_IN_S = 6.0
"""How long "microphone back" and the place take to be said, and a command to be answered."""
OUTPUT_LOST = "the sound output is lost"


def run(times: int, away_s: float, seed: int) -> int:
    """Drop the microphone so many times; print the figures; return the exit code."""
    rng = random.Random(seed)
    lost: list[float] = []
    back: list[float] = []
    with tempfile.TemporaryDirectory() as folder, virtual_sound() as sound:
        quiet, data = Path(folder) / "quiet.wav", Path(folder) / "data"
        soundfile.write(quiet, room(60 + times * (STAYS_S[1] + away_s + 5)), RATE)
        sound.start_playing(quiet)
        with walking(sound, data, "--headset") as command:
            command.until("  next  ", 120)
            for number in range(times):
                time.sleep(rng.uniform(*STAYS_S))
                sound.drop()
                lost.append(command.until("microphone lost", WITHIN_S))
                time.sleep(rng.uniform(1.0, away_s))
                sound.restore()
                sound.start_playing(quiet)
                back.append(command.until("microphone back", WITHIN_S))
                print(f"{number + 1}: lost after {lost[-1]:.1f} s, back after {back[-1]:.1f} s", flush=True)
            time.sleep(ANSWERED_IN_S)
            sound.say(speak(COMMAND, "slt"), RATE)
            time.sleep(ANSWERED_IN_S)
            running = command.process.poll() is None
        command.end()
        output_lost = sum(OUTPUT_LOST in line for line in command.lines)
        events, _ = stored_walk(data)
    heard = any(isinstance(s.event, CommandHeard) and s.event.command == COMMAND.lower() for s in events)
    told = [sum(isinstance(s.event, kind) for s in events) for kind in (SoundLost, SoundBack)]
    rows = [(name, *_spread(found)) for name, found in (("loss told", lost), ("heard again", back))]
    print(tabulate(rows, ["s", "least", "half within", "most"], floatfmt=".1f"))
    print(f"on record: lost {told[0]} times, back {told[1]} times; sound output lost {output_lost} times")
    print("a command said after the last return was " + ("heard" if heard else "NOT HEARD"))
    return 0 if running and told == [times, times] and heard and not output_lost else 1


def _spread(seconds: Sequence[float]) -> tuple[float, float, float]:
    return min(seconds), statistics.median(seconds), max(seconds)


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--times", type=int, default=20)
    parser.add_argument("--away", type=float, default=6.0, metavar="SECONDS", help="at most")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    if absent := missing():
        parser.error(f"not installed: {', '.join(absent)}")
    raise SystemExit(run(args.times, args.away, args.seed))


if __name__ == "__main__":
    main()
