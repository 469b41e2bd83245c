"""What removing walks whose time is past takes, and how much room comes back.

    python -m tests.benchmarks.removal --walks 200 --folder build/removal

makes a record of so many signed walks of one unit, each of sixty entries with a second and a half of
sound (noise, so that it is no smaller than speech), then copies and removes all but the latest.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import TypeVar

import numpy as np

from tests.people.making import OFFICER, OPERATOR, peopled, station
from tests.records.making import Ticking
from tests.records.old_walks import POLICY, act, begun, sign, state
from tests.walk.reviewing import logged, said, sheet
from voicelog.people.keys import Signer
from voicelog.records.clips import Clip
from voicelog.records.proof import prove_folder
from voicelog.records.store import Store
from voicelog.removing import past_walks, remove_all
from voicelog.walk.events import WalkFinished

ENTRIES = 60
SECONDS = 1.5
RATE = 16_000
T = TypeVar("T")


def main() -> None:
    """Make the record, remove, and print what was measured."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--walks", type=int, default=200)
    parser.add_argument("--folder", type=Path, required=True, help="A new folder, for the record and copies.")
    options = parser.parse_args()
    options.folder.mkdir(parents=True)
    clock = Ticking()
    with station(options.folder / "data", clock) as store:
        store.keep_editions(sheet())
        signers = peopled(store)
        for number in range(options.walks):
            _walk(store, f"w{number:05}", signers, np.random.default_rng(number))
            clock.now += timedelta(hours=12)
        clock.now += timedelta(days=3 * 366)
        _measure(store, signers[OFFICER], options.folder / "copies", clock)


def _walk(store: Store, name: str, signers: dict[str, Signer], noise: np.random.Generator) -> None:
    points = list(sheet().points.values())
    clips = [
        Clip.from_samples(noise.normal(0, 0.1, int(SECONDS * RATE)).astype(np.float32), RATE)
        for _ in range(ENTRIES)
    ]
    entries = []
    for number, clip in enumerate(clips):
        point = points[number % len(points)]
        condition = next(c for c in sheet().lexicon.conditions_of(point.aspects) if c.polarity == "sound")
        entries.append(logged(f"e{number}", said(point.id, condition.id), clip))
    store.append(name, [begun(), *entries, WalkFinished(missing=())], clips, signer=signers[OPERATOR])
    store.defects.take_up(name, state(store, name))
    sign(store, name, signers[OFFICER])


def _measure(store: Store, officer: Signer, copies: Path, clock: Ticking) -> None:
    assert store.removal.give_back()
    before = _room(store)
    past = _timed("what is past its time", lambda: past_walks(store, POLICY, clock.now.date()))
    done, failed = _timed(
        "copied, proved and removed", lambda: remove_all(store, past, act(officer, copies), lambda _: None)
    )
    assert not failed
    _timed("sound files taken off", store.removal.finish)
    _timed("the record's file made shorter", store.removal.give_back)
    after = _room(store)
    walks = [walk for event in done for walk in event.walks]
    print(f"{len(walks)} walks removed in {len(done)} acts, {sum(walk.clips for walk in walks)} clips")
    for what, was, now in zip(("clips", "record's file"), before, after, strict=True):
        print(f"{what}: {was / 1e6:.1f} MB before, {now / 1e6:.1f} MB after")
    print(f"copies: {sum(path.stat().st_size for path in copies.iterdir()) / 1e6:.1f} MB")
    _timed("what was removed, as the chains tell it", store.removal.removed)
    left = store.walks()[-1].walk
    assert _timed("verify of the walk that is left", lambda: store.verify(left)) == ()
    assert _timed("verify of the whole", lambda: prove_folder(store.folder)).problems == ()


def _room(store: Store) -> tuple[int, int]:
    """Return the bytes of the sound files, and of the record's file with its log."""
    sound = sum(path.stat().st_size for path in (store.folder / "clips").rglob("*.flac"))
    return sound, sum(path.stat().st_size for path in store.folder.glob("voicelog.db*"))


def _timed(what: str, call: Callable[[], T]) -> T:
    begin = time.perf_counter()
    found = call()
    print(f"{what}: {time.perf_counter() - begin:.2f} s")
    return found


if __name__ == "__main__":
    main()
