from __future__ import annotations

from collections import Counter

import pytest

from tests.benchmarks.bay.near_misses import near_misses
from tests.benchmarks.bay.others import at_situations, counting, noise_streams, talk
from tests.benchmarks.bay.phonemes import phonemes
from tests.benchmarks.bay.qualified import qualified
from tests.benchmarks.bay.said import Said
from tests.benchmarks.bay.songs import SONGS, markup, words_of
from tests.benchmarks.voices import available_voices
from voicelog.paths import shipped
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.sheet import load_sheet
from voicelog.sheet.model import Sheet


@pytest.fixture(scope="module")
def sheet() -> Sheet:
    return load_sheet(shipped("grammars", "engine_bay.toml"))


@pytest.fixture(scope="module")
def near(sheet: Sheet) -> list[Said]:
    return near_misses(sheet)


def test_the_set_is_large_and_of_many_kinds(near: list[Said]) -> None:
    """At least 300 different ones; no kind is a token few."""
    kinds = Counter(said.kind for said in near)
    assert len({said.text for said in near}) == len(near) >= 300
    assert len(kinds) == 9
    assert min(kinds.values()) >= 20


def test_no_near_miss_and_no_talk_is_in_the_grammar_where_it_is_said(sheet: Sheet, near: list[Said]) -> None:
    """Otherwise taking it would be right; and what each was made from is in the grammar."""
    others = at_situations(talk(), "talk", sheet, 1)
    inside, strange = [], []
    for stop in sheet.stops:
        graph = compile_grammar(sheet_grammar(sheet, stop.id))
        here = [said for said in (*near, *others) if said.stop_id == stop.id]
        inside += [said.text for said in here if graph.accepts(tuple(said.text.split()))]
        strange += [s.near for s in here if s.near and not graph.accepts(tuple(s.near.split()))]
    assert inside == []
    assert strange == []


def test_no_qualified_pass_is_in_the_grammar_where_it_is_said(sheet: Sheet) -> None:
    """The pass in it is, and not what is said against it; every kind has its share."""
    found = qualified(sheet)
    inside, strange = [], []
    for stop in sheet.stops:
        graph = compile_grammar(sheet_grammar(sheet, stop.id))
        here = [said for said in found if said.stop_id == stop.id]
        inside += [said.text for said in here if graph.accepts(tuple(said.text.split()))]
        strange += [said.near for said in here if not graph.accepts(tuple(said.near.split()))]
    assert (inside, strange) == ([], [])
    assert min(Counter(said.kind for said in found).values()) >= 15


def test_there_is_enough_talk_and_every_number_is_counted() -> None:
    """A hundred sentences and more; one to a hundred, alone and in tens."""
    assert len(set(talk())) >= 100
    assert {"one", "forty two", "one hundred"} <= set(counting())
    assert counting()[-1] == (
        "ninety one ninety two ninety three ninety four ninety five ninety six ninety seven "
        "ninety eight ninety nine one hundred"
    )


def test_a_part_of_the_talk_is_heard_while_a_question_is_open(sheet: Sheet) -> None:
    """A word or two settle a question: that is where noise and talk do most harm."""
    said = at_situations(talk(), "talk", sheet, 1)
    asked = sum(bool(s.before) for s in said)
    assert len(said) / 5 < asked < len(said) / 2


def test_an_hour_of_noise_is_an_hour(sheet: Sheet) -> None:
    """In pieces, the last as short as it must be."""
    assert sum(case.seconds for case in noise_streams(sheet, 60.0, 1)) == 3600
    assert [case.seconds for case in noise_streams(sheet, 12.5, 1)] == [600, 150]


@pytest.mark.parametrize("title", list(SONGS))
def test_every_song_has_a_pitch_and_a_length_for_each_note(title: str) -> None:
    """As festival's singing mode wants them: as many beats as notes, notes with their octave."""
    song = SONGS[title]
    words = song.notes.split()
    assert len(words) % 2 == 0
    for notes in words[1::2]:
        for note in notes.split(","):
            pitch, beats = note.split(":")
            assert pitch[0] in "ABCDEFG"
            assert pitch[1:].isdigit()
            assert float(beats) > 0
    assert markup(song).count("<PITCH") == len(words_of(title).split())


@pytest.mark.skipif("en-us" not in available_voices(), reason="espeak-ng is not installed")
def test_words_that_sound_alike_have_the_same_phonemes() -> None:
    """Homophones of any dictionary; one changed sound is one apart."""
    leaks, leeks, lakes = phonemes(["no leaks", "no leeks", "no lakes"])
    assert leaks == leeks
    assert len(leaks) == len(lakes)
    assert sum(a != b for a, b in zip(leaks, lakes, strict=True)) == 1
