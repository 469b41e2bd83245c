"""Playing answers: a fake loudspeaker takes the samples and notes when; no device, no waiting."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import numpy as np
import pytest

from voicelog.errors import AudioError
from voicelog.hearing.recogniser import Samples
from voicelog.voice.answers import SILENCE, Answer, Sentence
from voicelog.voice.floor import Floor
from voicelog.voice.mixer import FADE_S, Mixer
from voicelog.voice.player import OutputState, Player
from voicelog.voice.talk import Talk
from voicelog.voice.tones import tone
from voicelog.walk.replies import ReplyKind

RATE = 16_000
BLOCK = 160


def sentence(words: str, kind: ReplyKind = "taken") -> Sentence:
    return Sentence(kind, words)


# talk ---------------------------------------------------------------------------------------


def said(talk: Talk) -> list[str]:
    """Return all that is spoken from now on, if nothing comes between."""
    words = []
    while (following := talk.next()) is not None:
        words.append(following.words)
        talk.ended()
    return words


def test_the_newest_matters() -> None:
    """A new answer stops the old one, and what was left of it is not said."""
    talk = Talk()
    talk.take(Answer("taken", (sentence("one"), sentence("two"))))
    assert talk.next() == sentence("one")
    assert talk.take(Answer("doubt", (sentence("three?", "doubt"),)))
    assert said(talk) == ["three?"]


def test_nothing_new_stops_nothing() -> None:
    """An update without an answer leaves what is being said alone."""
    talk = Talk()
    talk.take(Answer("taken", (sentence("one"),)))
    talk.next()
    assert not talk.take(SILENCE)
    assert talk.current == sentence("one")


def test_trouble_outlasts_what_follows() -> None:
    """Trouble that was stopped is said again, whole, and before the newer words."""
    talk = Talk()
    talk.take(Answer("trouble", (sentence("disk full", "trouble"), sentence("left front", "answer"))))
    assert talk.next() == sentence("disk full", "trouble")
    assert talk.take(Answer("taken", (sentence("one"),)))
    assert said(talk) == ["disk full", "one"]


def test_a_caution_that_was_affirmed_is_not_said_again() -> None:
    """What is still to be affirmed comes with the new answer, and so nothing older is kept."""
    talk = Talk()
    talk.take(Answer(None, (sentence("hot", "caution"), sentence("fuel", "caution"))))
    talk.next()
    assert talk.take(Answer("taken", (sentence("left front", "answer"),)))
    assert said(talk) == ["left front"]


def test_nothing_is_begun_while_the_operator_speaks() -> None:
    """The voice does not talk over the operator, and says it afterwards."""
    talk = Talk()
    assert not talk.operator(True)
    talk.take(Answer("taken", (sentence("one"),)))
    assert talk.next() is None
    talk.operator(False)
    assert said(talk) == ["one"]


@pytest.mark.parametrize("headset", [True, False])
def test_speaking_over_the_voice(headset: bool) -> None:
    """With a headset the voice stops at once, and trouble is said again; without one it goes on."""
    talk = Talk(headset=headset)
    talk.take(Answer(None, (sentence("hot", "trouble"),)))
    talk.next()
    assert talk.operator(True) is headset
    talk.operator(False)
    assert said(talk) == (["hot"] if headset else [])


# mixer --------------------------------------------------------------------------------------


def constant(value: float, count: int) -> Samples:
    return np.full(count, value, np.float32)


def test_speech_waits_for_the_tone() -> None:
    """The tone is there at once and whole; speech begins after it, and its end is told once."""
    mixer, done = Mixer(RATE), list[bool]()
    mixer.tone(constant(0.5, 100))
    mixer.say(constant(0.25, 50), lambda: done.append(True))
    sound, speech = mixer.take(100)
    assert (sound == 0.5).all() and not speech
    pause = round(0.12 * RATE)
    sound, speech = mixer.take(pause + 50)
    assert not sound[:pause].any() and (sound[pause:] == 0.25).all() and speech
    assert done == [True]
    assert not mixer.sounding


@pytest.mark.parametrize("interrupt", ["hush", "tone"])
def test_interrupted_speech_dies_away_and_is_gone(interrupt: str) -> None:
    """What is stopped is silent within ten milliseconds, without a jump, and never said to be done."""
    mixer, done = Mixer(RATE), list[bool]()
    mixer.say(constant(0.8, RATE), lambda: done.append(True))
    mixer.take(1000)
    mixer.hush() if interrupt == "hush" else mixer.tone(np.zeros(0, np.float32))
    sound, speech = mixer.take(2000)
    fade = round(FADE_S * RATE)
    assert speech
    assert np.abs(np.diff(sound[:fade])).max() < 0.02
    assert not sound[fade:].any()
    assert done == []


def test_a_new_tone_takes_the_place_of_the_old() -> None:
    """Of two tones one after the other only the newer is heard to its end."""
    mixer = Mixer(RATE)
    mixer.tone(constant(0.5, 5000))
    mixer.take(100)
    mixer.tone(constant(0.25, 5000))
    sound, speech = mixer.take(6000)
    assert not speech  # the microphone may hear tones: they are not taken for speech
    assert (sound[round(FADE_S * RATE) : 5000] == 0.25).all()


# player -------------------------------------------------------------------------------------


class Says:
    """A voice whose words are so many samples of so much: 0.1 for the first, 0.2 for the second."""

    name = "says"

    def __init__(self) -> None:
        self.words: list[str] = []

    def speak(self, words: str) -> tuple[Samples, int]:
        if words == "broken":
            raise AudioError("the voice broke", remedy="mend it")
        self.words.append(words)
        return constant(0.1 * len(self.words), 10 * BLOCK), RATE


class Loudspeaker:
    """Takes what the mixer has, whenever the test says; tells what it is told to tell."""

    def __init__(self, mixer: Mixer, floor: Floor) -> None:
        self.mixer, self.floor = mixer, floor
        self.states: list[OutputState] = []
        self.closed = False
        self.now = 0.0

    def check(self) -> OutputState:
        return self.states.pop(0) if self.states else "same"

    def close(self) -> None:
        self.closed = True

    def hear(self, blocks: int) -> list[float]:
        """Return the loudest sample of each block."""
        heard = []
        for _ in range(blocks):
            sound, speech = self.mixer.take(BLOCK)
            if speech:
                self.floor.voice_sounds(self.now, self.now + BLOCK / RATE)
            self.now += BLOCK / RATE
            heard.append(round(float(np.abs(sound).max()), 2))
        return heard


class Rig:
    """A player with all its parts, in steps: ``settle`` returns once it has done what it was given."""

    def __init__(self, *, headset: bool = False, speaks: bool = True) -> None:
        self.floor, self.mixer, self.says = Floor(), Mixer(RATE), Says()
        self.loudspeaker = Loudspeaker(self.mixer, self.floor)
        speaker = self.says if speaks else None
        self.player = Player(self.loudspeaker, self.mixer, speaker, self.floor, headset=headset)

    def settle(self) -> None:
        for _ in range(3):
            done = threading.Event()
            self.player.call(done.set)
            assert done.wait(10)

    def speech(self) -> list[float]:
        """Return how loud each sentence was that is heard until all is silent."""
        heard: list[float] = []
        for _ in range(50):
            self.settle()
            for loud in self.loudspeaker.hear(5):
                if loud and (not heard or heard[-1] != loud):
                    heard.append(loud)
        return heard


@pytest.fixture
def rig() -> Iterator[Rig]:
    rig = Rig()
    with rig.player:
        yield rig


def test_the_tone_is_there_before_the_words_are_made(rig: Rig) -> None:
    """The tone is in the very next samples after the answer is given, whatever the thread does."""
    rig.player.answer(Answer("taken", (sentence("one"),)))
    sound, _ = rig.mixer.take(len(tone("taken", RATE)))
    assert np.array_equal(sound, tone("taken", RATE))


def test_sentences_follow_each_other(rig: Rig) -> None:
    """All of an answer is spoken, in order, and the floor knows when."""
    rig.player.answer(Answer(None, (sentence("one"), sentence("two"))))
    assert rig.speech() == [0.1, 0.2]
    assert rig.says.words == ["one", "two"]
    assert rig.floor.is_voice(0.0, rig.loudspeaker.now)


def test_the_same_words_are_made_once(rig: Rig) -> None:
    """What was said before is not made again: the second time it is as loud as the first."""
    rig.player.answer(Answer(None, (sentence("one"), sentence("two"), sentence("one"))))
    assert rig.speech() == [0.1, 0.2, 0.1]


def test_a_new_answer_interrupts(rig: Rig) -> None:
    """While a sentence is being spoken, a new tone and its words take its place."""
    rig.player.answer(Answer(None, (sentence("one"), sentence("two"))))
    rig.settle()
    assert rig.loudspeaker.hear(2) == [0.1, 0.1]
    rig.player.answer(Answer("doubt", (sentence("three"),)))
    rig.settle()
    sounded = rig.loudspeaker.hear(2)
    assert max(sounded) > 0.2
    rig.speech()
    assert rig.says.words == ["one", "three"]


def test_speaking_over_it_with_a_headset_stops_it() -> None:
    """An utterance that opens silences the voice within the fade."""
    rig = Rig(headset=True)
    with rig.player:
        rig.player.answer(Answer(None, (sentence("one"),)))
        rig.settle()
        assert rig.loudspeaker.hear(1) == [0.1]
        rig.floor.operator(True)
        rig.settle()
        assert rig.loudspeaker.hear(4)[1:] == [0, 0, 0]


def test_without_a_voice_there_are_tones(rig: Rig) -> None:
    """No voice installed: the tone sounds and the words are left to the screen."""
    rig = Rig(speaks=False)
    with rig.player:
        rig.player.answer(Answer("doubt", (sentence("one?", "doubt"),)))
        rig.settle()
        assert rig.loudspeaker.hear(2)[1] > 0
        rig.mixer.hush()


def test_a_voice_that_fails_is_told_once_and_the_rest_is_said(rig: Rig) -> None:
    """A program that fails to speak makes one notice; tones and other sentences go on."""
    broken = Answer(None, (sentence("broken"), sentence("one")))
    rig.player.answer(broken)
    assert rig.speech() == [0.1]
    rig.player.answer(broken)
    rig.settle()
    notices = rig.player.notices()
    assert [n.kind for n in notices] == ["trouble"]
    assert "the voice broke" in notices[0].text and "mend it" in notices[0].text
    assert rig.player.notices() == ()


def test_a_lost_output_is_told_and_the_last_answer_said_when_it_is_back(rig: Rig) -> None:
    """Loss and return are shown; what was answered meanwhile is heard when there is sound again."""
    rig.player.answer(Answer(None, (sentence("one"),)))
    rig.settle()
    rig.loudspeaker.states = ["lost"]
    rig.player.look()
    rig.settle()
    rig.player.answer(Answer("doubt", (sentence("two?", "doubt"),)))
    rig.settle()
    assert [n.kind for n in rig.player.notices()] == ["trouble"]
    assert rig.says.words == ["one"]
    rig.loudspeaker.states = ["back"]
    rig.player.look()
    rig.settle()
    assert [(n.kind, n.text) for n in rig.player.notices()] == [("answer", "the sound output is back")]
    rig.speech()
    assert rig.says.words == ["one", "two?"]


def test_closing_closes_the_device() -> None:
    """When the walk ends the device is let go."""
    rig = Rig()
    with rig.player:
        pass
    assert rig.loudspeaker.closed


def test_letting_it_finish() -> None:
    """At the end of a walk the last answer is heard out, and no longer."""
    rig = Rig()
    with rig.player:
        rig.player.answer(Answer(None, (sentence("walk complete", "answer"),)))
        waiting = threading.Thread(target=rig.player.let_finish)
        waiting.start()
        assert rig.speech() == [0.1]
        waiting.join(10)
        assert not waiting.is_alive()
