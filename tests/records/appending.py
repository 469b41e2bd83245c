"""A program that appends to a walk and says which events were acknowledged; run by the tests.

Arguments: data folder, walk, how many entries (0: for ever), yes or no to sound.
"""

from __future__ import annotations

import itertools
import os
import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from voicelog.records.clips import Clip
from voicelog.records.store import Store
from voicelog.walk.events import Heard, NotUnderstood


def main() -> None:
    """Append, and print each event's number once append has returned."""
    folder, walk, count, with_sound = sys.argv[1:]
    store = Store.open(Path(folder), clock=lambda: datetime.now(UTC))
    noise = np.random.default_rng(os.getpid())
    for _ in range(int(count)) if int(count) else itertools.count():
        clips = []
        if with_sound == "yes":
            samples = noise.normal(0, 0.1, 400).astype(np.float32)
            clips.append(Clip.from_samples(samples, 16_000))
        heard = Heard(text="", clip=clips[0].sha256 if clips else None)
        added = store.append(walk, [NotUnderstood(reason="compressor", heard=heard)], clips)
        os.write(1, f"{added[-1].number} {added[-1].hash}\n".encode())


if __name__ == "__main__":
    main()
