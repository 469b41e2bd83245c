"""Sound clips: the FLAC file, its name, and what comes back."""

from __future__ import annotations

import hashlib
import shutil
import subprocess

import numpy as np
import numpy.typing as npt
import pytest

from voicelog.errors import RecordError
from voicelog.records.clips import Clip, decode, joined
from voicelog.records.store import Store

from .making import WALK, entry, files, sound, started


def test_the_same_samples_give_the_same_clip() -> None:
    """A clip is a function of its samples: no time, no random bytes are in the file."""
    assert sound(1) == sound(1)
    assert sound(1).sha256 != sound(2).sha256


def test_sixteen_bit_sound_is_kept_without_loss() -> None:
    """The samples come back exactly; their MD5 is the one FLAC carries (RFC 9639, section 8.2)."""
    steps = np.array([-32768, -32767, -1, 0, 1, 255, 32766, 32767] * 30, dtype="<i2")
    clip = Clip.from_samples((steps / 32768).astype(np.float32), 16_000)
    back, rate = decode(clip.flac)
    assert rate == 16_000
    assert back.tolist() == (steps / 32768).tolist()
    # "fLaC", a block header of 4 bytes, then STREAMINFO of 34 bytes that ends with the MD5.
    assert clip.flac[:4] == b"fLaC"
    assert clip.flac[8 + 18 : 8 + 34] == hashlib.md5(steps.tobytes()).digest()


def test_clips_are_joined_in_order_with_a_pause_between() -> None:
    """Every sample of each is there, unaltered; a single clip is its own file."""
    first, second = sound(1), sound(2)
    (one, rate), (two, _) = first.samples(), second.samples()
    both, joined_rate = decode(joined([first.flac, second.flac]))
    assert joined_rate == rate
    assert both[: len(one)].tolist() == one.tolist() and both[-len(two) :].tolist() == two.tolist()
    pause = both[len(one) : -len(two)]
    assert 0.2 <= len(pause) / rate <= 0.5 and not pause.any()
    assert joined([first.flac]) == first.flac


def test_loud_sound_is_clipped_and_does_not_wrap() -> None:
    """Values past full scale are held at it."""
    back, _ = Clip.from_samples(np.array([2.0, -2.0, 1.0, 0.5], dtype=np.float32), 16_000).samples()
    assert back.tolist() == [32767 / 32768, -1.0, 32767 / 32768, 0.5]


@pytest.mark.parametrize(
    "samples",
    [np.zeros(0), np.zeros((4, 2)), np.array([0.0, np.nan]), np.array([np.inf])],
    ids=["empty", "stereo", "not a number", "infinite"],
)
def test_sound_that_cannot_be_kept_is_refused(samples: npt.NDArray[np.float64]) -> None:
    """What FLAC cannot hold, or would hold as something else, is refused."""
    with pytest.raises(RecordError):
        Clip.from_samples(np.asarray(samples, dtype=np.float32), 16_000)


def test_bytes_that_are_not_sound_are_refused() -> None:
    """A file that is no FLAC file gives an error a person can read."""
    with pytest.raises(RecordError, match="cannot be decoded"):
        decode(b"not a sound")


@pytest.mark.skipif(not shutil.which("sha256sum"), reason="needs sha256sum of GNU coreutils")
def test_the_file_is_named_by_its_sha256(store: Store) -> None:
    """The name is what ``sha256sum`` gives for the file."""
    clip = sound(3)
    store.append(WALK, [started(), entry(1, clip)], [clip])
    path = store.folder / "clips" / clip.sha256[:2] / f"{clip.sha256}.flac"
    told = subprocess.run(["sha256sum", path], check=True, capture_output=True, text=True).stdout
    assert told.split()[0] == clip.sha256
    assert store.clip(clip.sha256) == clip.flac


@pytest.mark.parametrize("name", ["", "../voicelog.db", "A" * 64, "f" * 64])
def test_a_clip_that_is_not_there(store: Store, name: str) -> None:
    """A name that is no clip's, whatever it looks like, gives an error and reads no other file."""
    with pytest.raises(RecordError):
        store.clip(name)


@pytest.mark.parametrize("case", ["not given", "not named", "wrong name"])
def test_sound_and_events_belong_together(store: Store, case: str) -> None:
    """An event without its sound, sound without its event, and sound under another's name are refused."""
    store.append(WALK, [started()])
    clip = sound(4)
    events, clips = {
        "not given": ([entry(1, clip)], []),
        "not named": ([entry(1)], [clip]),
        "wrong name": ([entry(1, clip)], [Clip(clip.sha256, sound(5).flac, clip.seconds)]),
    }[case]
    with pytest.raises(RecordError):
        store.append(WALK, events, clips)
    assert len(store.events(WALK)) == 1
    assert files(store.folder) == set()


def test_one_sound_in_two_walks(store: Store) -> None:
    """The same recording in two walks is one file, and both walks are whole."""
    clip = sound(6)
    for walk in ("a", "b"):
        store.append(walk, [started(), entry(1, clip)], [clip])
        store.append(walk, [entry(2, clip)])
        assert store.verify(walk) == ()
    assert files(store.folder) == {f"{clip.sha256}.flac"}
