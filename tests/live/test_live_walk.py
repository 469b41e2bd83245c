"""The live path end to end: the real command is walked by voice and ear alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks.voices import available_voices
from tests.live.by_voice import script, walk
from tests.virtual_sound import missing
from voicelog.voice.synthesis import find_speaker
from voicelog.walk.events import EntryLogged, StreamEnded, WalkFinished

pytestmark = [
    pytest.mark.skipif(bool(missing()), reason=f"not installed: {', '.join(missing())}"),
    pytest.mark.skipif("slt" not in available_voices(), reason="not installed: flite"),
    pytest.mark.skipif(find_speaker() is None, reason="not installed: flite or espeak-ng"),
]


def test_a_walk_by_voice_and_ear_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """From the safety gate to the hand-over not one key is pressed: cautions, a defect taken back and said
    again, a group mark, a side and a value asked and answered, a headset that drops out, a correction,
    "stand by", `kill -9` and a resume, a timed test.

    Whatever is told by a tone is on record, the record is whole, and no defect is logged as sound.
    """
    with capsys.disabled():
        walked = walk(script(long=False), tmp_path / "data", "--read-back", "defects", say=lambda _: None)
        print(f"\n{walked.table()}\nlive walk: {walked.summary()}")
    assert walked.exit_code == 0
    assert walked.not_on_record() == ()
    assert walked.given_up == ()
    assert walked.repeats <= len(walked.turns) // 4
    kinds = [type(stored.event) for stored in walked.events]
    assert kinds.count(WalkFinished) == 1
    last = walked.events[-1].event
    assert isinstance(last, StreamEnded) and last.overruns == 0
    defects = {
        ("lift_cylinder", "defect"),
        ("engine_mount_left", "defect"),
        ("engine_mount_right", "defect"),
        ("water_pump", "defect"),
    }
    logged = [stored.event for stored in walked.events if isinstance(stored.event, EntryLogged)]
    by_point = {(entry.claim.point_id, entry.claim.polarity) for entry in logged}
    assert {(point, "sound") for point, _ in defects}.isdisjoint(by_point), by_point
