"""The live path end to end: the real command hears the recorded walk through a microphone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soxr

from tests.live.spoken_walk import (
    BEGINNING_S,
    answer_delays,
    part,
    places,
    recorded_walk,
    scored,
    sound_of,
    stored_walk,
    walking,
)
from tests.virtual_sound import RATE as SERVER_RATE
from tests.virtual_sound import SPEECH, missing, virtual_sound
from voicelog.hearing.recogniser import RATE
from voicelog.walk.events import SoundBack, SoundLost, StreamEnded, WalkFinished

pytestmark = pytest.mark.skipif(bool(missing()), reason=f"not installed: {', '.join(missing())}")

PARTS = (
    ("Affirmative.", "Go to left front."),
    ("Cab prop engaged.", "Pitman arm secure, drag link secure."),
    ("What is left?", "End of walk."),
)
"""First and last line of each: some 70 seconds of the walk's beginning, and its end."""


def test_a_walk_by_voice_with_a_headset_that_drops_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Some 20 lines of the recorded walk are spoken to the real command; in between the microphone is
    taken away and put back.

    It says that it is lost and that it is back, logs no defect as sound and nothing that is wrong,
    and is complete in the end; the record is whole, names the loss, and its times follow the sound.
    """
    script, samples = recorded_walk()
    parts = tuple(part(script, first, last) for first, last in PARTS)
    data = tmp_path / "data"
    with virtual_sound() as sound, walking(sound, data, "--headset", "--read-back", "tones") as walk:
        walk.until("  next  ", 120)
        recording = sound.record()
        sound.say(sound_of(script, samples, parts[0], beginning_s=BEGINNING_S), RATE)
        walk.until('heard           "go to left front"', 90)
        sound.drop()
        noticed_s = walk.until("microphone lost: another source took its place; the walk waits", 20)
        sound.restore()
        walk.until("microphone back; ", 30)
        sound.say(sound_of(script, samples, parts[1], beginning_s=BEGINNING_S), RATE)
        sound.say(sound_of(script, samples, parts[2]), RATE)
        code = walk.end()
        recorded = recording.samples()
    said = soxr.resample(recorded[:, SPEECH], SERVER_RATE, RATE)
    printed = "\n".join(walk.lines)
    assert code == 0, printed

    events, clips = stored_walk(data)
    kinds = [type(s.event) for s in events]
    assert kinds.count(SoundLost) == kinds.count(SoundBack) == kinds.count(WalkFinished) == 1
    last = events[-1].event
    assert isinstance(last, StreamEnded) and last.overruns == 0 and last.lost_s > 0

    # What the stream's clock says against the server's, which made the recording.
    by_server = places(events, clips, said)
    drift_s = max(by_server.values()) - min(by_server.values())
    assert len(by_server) >= 12
    assert drift_s < 0.1, by_server

    in_walk = places(events, clips, samples)
    delays = answer_delays(script, events, recorded, in_walk, by_server)
    assert len(delays) >= 10, (delays, printed)
    result = scored(script, events, parts, in_walk)
    counts = result.count(for_us=True)
    with capsys.disabled():
        print(
            f"\nlive walk: {len(result.lines)} lines, {dict(counts)}; loss noticed in {noticed_s:.1f} s; "
            f"{len(by_server)} clips within {1000 * drift_s:.0f} ms of the server's clock; "
            f"end of speech to tone as recorded, {len(delays)} answers: half within "
            f"{np.quantile(delays, 0.5):.2f} s, 95 in 100 within {np.quantile(delays, 0.95):.2f} s"
        )
    assert result.defects_passed == 0, printed
    assert counts["wrong"] == 0, printed
    assert counts["right"] >= 0.8 * counts.total(), (result.not_right, printed)
    assert result.count(for_us=False)["wrong"] == 0, printed
