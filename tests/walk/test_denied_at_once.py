"""What is affirmed and denied in the same breath is not affirmed."""

from __future__ import annotations

import numpy as np
import pytest

from tests.walk.saying import Saying, replies
from voicelog.hearing.recogniser import RATE, Utterance
from voicelog.walk.events import CautionRefused, DoubtSettled


def hear(saying: Saying, phrase: str, start_s: float, *, same_breath: bool = False) -> list[str]:
    saying.ear.heard = [(phrase, 1.0)]
    saying.ear.free_text = ""
    samples = np.zeros(RATE, np.float32)
    return replies(saying.walk.hear(Utterance(samples, start_s, True, same_breath)))


@pytest.mark.parametrize("denial", ["not", "negative", "not yet", "wheels not chocked", "er no", "disregard"])
def test_a_denial_at_once_takes_the_affirmation_back(gated: Saying, denial: str) -> None:
    """The caution before is asked again, not the next one denied; affirmed anew, the next is asked."""
    assert hear(gated, "wheels chocked", 10.0)[-1] == "caution: Switch the engine off. Engine off?"
    assert hear(gated, denial, 11.3, same_breath=True) == ["caution: the walk stays closed: wheels chocked?"]
    assert gated.walk.state.affirmed == frozenset()
    refused = gated.events[-1]
    assert isinstance(refused, CautionRefused) and (refused.stop_id, refused.number) == ("", 1)
    assert hear(gated, "wheels chocked", 15.0)[-1] == "caution: Switch the engine off. Engine off?"


def test_a_stop_that_was_opened_by_the_last_caution_is_closed_again(gated: Saying) -> None:
    """What was held until the stop was open counted, and is in doubt again until it is affirmed anew."""
    for phrase in ("wheels chocked", "engine off", "cab prop engaged"):
        hear(gated, phrase, 10.0)
    assert hear(gated, "affirmative", 20.0)[0] == "taken: affirmed"
    gated.say("water pump dripping")
    walk = gated.walk
    assert walk.state.stop_id == "engine_front" and walk.state.doubts()
    hear(gated, "affirmative", 30.0)
    assert walk.state.status("water_pump") == "defect"
    assert isinstance(gated.events[-1], DoubtSettled)
    said = hear(gated, "not", 31.2, same_breath=True)
    assert said == ["caution: engine front stays closed: Never open a hot cooling system. Affirmative?"]
    assert walk.state.caution is not None and walk.state.status("water_pump") == "doubt"
    hear(gated, "affirmative", 40.0)
    assert walk.state.caution is None and walk.state.status("water_pump") == "defect"
    assert gated.store.verify(walk.walk_id) == ()


def test_what_comes_later_or_says_something_else_takes_nothing_back(gated: Saying) -> None:
    """After an ordinary pause "negative" denies the caution that is asked; the next answer is no denial."""
    hear(gated, "wheels chocked", 10.0)
    said = hear(gated, "engine off", 11.3, same_breath=True)
    assert said[-1] == "caution: See the cab prop engaged. Cab prop engaged?"
    assert hear(gated, "negative", 14.0) == ["caution: left front stays closed: cab prop engaged?"]
    assert gated.walk.state.affirmed == {("", 1), ("", 2)}


def test_negative_at_once_after_a_pass_is_asked_about(ungated: Saying) -> None:
    """As after a "not", the pass is a doubt until a person has settled it."""
    assert hear(ungated, "left brake hose intact", 10.0) == ["taken: left brake hose intact"]
    assert hear(ungated, "negative", 11.2, same_breath=True)[0].startswith("doubt: ")
    assert ungated.walk.state.status("brake_hose_left") == "doubt"


@pytest.mark.parametrize("denial", ["not", "negative"])
def test_a_doubt_settled_as_sound_and_denied_at_once_is_a_doubt_again(ungated: Saying, denial: str) -> None:
    """The answer that made it a pass is what the denial follows, however long ago it was first said."""
    ungated.say(("left brake hose intact", 0.6), ("left brake hose chafed", 0.4))
    assert hear(ungated, "intact", 10.0) == ["taken: left brake hose intact"]
    assert ungated.walk.state.status("brake_hose_left") == "sound"
    assert hear(ungated, denial, 11.2, same_breath=True)[0].startswith("doubt: ")
    assert ungated.walk.state.status("brake_hose_left") == "doubt"


@pytest.mark.parametrize("denial", ["not", "negative", "disregard", "except the hose"])
def test_a_group_mark_that_is_denied_at_once_is_taken_back(ungated: Saying, denial: str) -> None:
    """Nothing is sound by a mark that was affirmed and denied in one breath; later it stands."""
    hear(ungated, "mark the rest of this stop sound", 10.0)
    hear(ungated, "affirmative", 14.0)
    assert ungated.walk.state.marks.points
    assert hear(ungated, denial, 15.2, same_breath=True) == ["taken: disregarded: 3 points open again"]
    assert not ungated.walk.state.marks.points
    hear(ungated, "mark the rest of this stop sound", 20.0)
    hear(ungated, "affirmative", 24.0)
    hear(ungated, "er no", 30.0)
    assert ungated.walk.state.marks.points
