"""Pronunciations, distances and confusable pairs agree with sources outside the project."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from panphon.distance import Distance
from rapidfuzz.distance import Levenshtein

from tests.conftest import ROOT
from tests.sheet.making import LEXICON, SHEET, written
from voicelog.cli import main
from voicelog.sheet import load_sheet
from voicelog.sounds.distance import Ear
from voicelog.sounds.pairs import GRAVE, THRESHOLD, confusable, ear_for
from voicelog.sounds.pronunciation import IPA, Pronunciations

# From the CMU Pronouncing Dictionary's own file (github cmusphinx/cmudict, commit 0f8072f), by hand.
ENTRIES = [
    ("slack", ["S L AE K"]),
    ("adjuster", ["AH JH AH S T ER"]),
    ("governor", ["G AH V ER N ER"]),
    ("stroke", ["S T R OW K"]),
    ("zero", ["Z IH R OW", "Z IY R OW"]),
]


@pytest.mark.parametrize(("word", "entries"), ENTRIES)
def test_words_are_pronounced_as_the_dictionary_has_them(word: str, entries: list[str]) -> None:
    """Each entry, without its stress, is one way to say the word."""
    expected = {tuple(s for phone in entry.split() for s in IPA[phone]) for entry in entries}
    assert set(Pronunciations.of([word]).ways(word)) == expected


def test_a_word_that_nobody_can_pronounce_has_no_distance(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without espeak-ng a word that the dictionary lacks is not compared, rather than guessed."""
    monkeypatch.setattr("voicelog.sounds.pronunciation.shutil.which", lambda _: None)
    ear = Ear(["turbocharger dry", "dry"])
    assert ear.pronunciations.ways("turbocharger dry") == ()
    assert ear.apart("turbocharger dry", "dry") is None


# The trade's traps: those of one sound gained or lost are 1 apart, by the definition.
APART = [
    ("fifteen", "fifty", 1.0),
    ("gazed", "glazed", 1.0),
    ("tight", "not tight", 3.0),
    ("fool", "fool", 0.0),
]


@pytest.mark.parametrize(("one", "other", "apart"), APART)
def test_a_sound_lost_or_gained_is_one_apart(one: str, other: str, apart: float) -> None:
    """Known pairs have the distance that counting on paper gives."""
    assert Ear([one, other]).apart(one, other) == pytest.approx(apart)


WORDS = ["tight", "light", "dry", "dripping", "left side", "right side", "good", "bad", "engaged",
         "clear", "clean", "steering shaft", "fifteen", "fifty", "secure", "insecure", "could", "try",
         "low", "row"]  # fmt: skip
EAR = Ear(WORDS)


@given(st.sampled_from(WORDS), st.sampled_from(WORDS))
@settings(deadline=None, max_examples=40)
def test_the_distance_lies_between_half_and_whole_edit_distance(one: str, other: str) -> None:
    """A changed sound costs from a half to one. Reference: rapidfuzz's Levenshtein distance."""
    ways = [(a, b) for a in EAR.pronunciations.ways(one) for b in EAR.pronunciations.ways(other)]
    plain = min(Levenshtein.distance(a, b) for a, b in ways)
    apart = EAR.apart(one, other)
    assert apart is not None
    assert plain / 2 - 1e-6 <= apart <= plain + 1e-6
    assert apart == EAR.apart(other, one)


@pytest.mark.parametrize(
    ("one", "other"), [("tight", "light"), ("good", "could"), ("dry", "try"), ("low", "row")]
)
def test_one_changed_sound_costs_half_and_its_features(one: str, other: str) -> None:
    """Reference: panphon's weighted feature edit distance of the two words."""
    features = Distance()
    a, b = ("".join(EAR.pronunciations.ways(word)[0]) for word in (one, other))
    differ = features.weighted_feature_edit_distance(a, b) / features.weighted_feature_edit_distance("t", "")
    assert EAR.apart(one, other) == pytest.approx((1 + differ) / 2)


def test_no_defect_of_the_whole_lexicon_sounds_like_a_pass(tmp_path: Path) -> None:
    """Also where every aspect meets at one stop, as in a sheet that somebody writes tomorrow."""
    words = (ROOT / "grammars" / "lexicon.toml").read_text(encoding="utf-8")
    aspects = re.findall(r'\[\[aspect\]\]\nid = "(.*?)"', words)
    text = SHEET.replace('aspects = ["leak"]', f"aspects = {aspects}".replace("'", '"'))
    sheet = load_sheet(written(tmp_path, text, words))
    assert [p for p in confusable(sheet, ear_for(sheet)) if p.kind in (*GRAVE, "command")] == []


# What listeners and recognisers take for each other (common practice), and what they do not.
ALIKE = [("tight", "light"), ("good", "bad"), ("fifteen", "fifty"), ("cracked", "tracked")]
DISTINCT = [("left", "right"), ("dry", "dripping"), ("tight", "loose"), ("affirmative", "negative")]


@pytest.mark.parametrize(("one", "other"), ALIKE)
def test_what_is_confused_is_below_the_threshold(one: str, other: str) -> None:
    """Pairs that differ in one sound or two like ones are named."""
    apart = Ear([one, other]).apart(one, other)
    assert apart is not None and apart < THRESHOLD


@pytest.mark.parametrize(("one", "other"), DISTINCT)
def test_what_is_not_confused_is_above_it(one: str, other: str) -> None:
    """The trade's own opposites stand."""
    apart = Ear([one, other]).apart(one, other)
    assert apart is not None and apart >= THRESHOLD


def bad_lexicon() -> str:
    """Return a lexicon in which a pass sounds like a defect, and has another word that does not."""
    return LEXICON.replace('say = ["dry"]', 'say = ["dry", "no leaks", "looks good"]').replace(
        'say = ["leaking"]', 'say = ["leaking", "try", "bad"]'
    )


def test_a_defect_that_sounds_like_a_pass_is_named_with_what_to_say(tmp_path: Path) -> None:
    """The pair, its stops and another word for it; also behind a small word that may be said before both."""
    sheet = load_sheet(written(tmp_path, lexicon=bad_lexicon()))
    grave = [p for p in confusable(sheet, ear_for(sheet)) if p.kind == "polarity"]
    assert {(p.one, p.other) for p in grave} == {("dry", "try"), ("looks good", "bad")}
    for pair in grave:
        assert pair.stops == ("left front", "left rear")
        assert pair.instead == (pair.one, "no leaks", "dry")


def test_points_and_values_that_sound_alike_are_named(tmp_path: Path) -> None:
    """Names of two points, and the values on the two sides of a limit."""
    text = SHEET.replace('name = "cab latch"', 'name = "van belt"').replace('"1 1/2"', "60")
    text = text.replace('resolution = "1/8"', "resolution = 1").replace('max = "3/4"', "max = 20")
    found = confusable(load_sheet(written(tmp_path, text)), ear_for(load_sheet(tmp_path / "bay.toml")))
    assert [(p.one, p.other) for p in found if p.kind == "point"] == [("fan belt", "van belt")]
    assert ("fourteen", "forty") in {(p.one, p.other) for p in found if p.kind == "value"}


def test_a_sheet_without_such_pairs_passes(tmp_path: Path) -> None:
    """The command's exit code is 0, and it says that there is nothing."""
    result = CliRunner().invoke(main, ["sheet", "check", str(written(tmp_path)), "--sounds"])
    assert result.exit_code == 0, result.output
    assert "a defect and a pass: none" in result.output
    assert "left and right: none" in result.output


def test_a_sheet_with_such_a_pair_fails_and_says_where_it_is_written(tmp_path: Path) -> None:
    """Exit code 1; file and line of both words; what to say instead."""
    path = written(tmp_path, lexicon=bad_lexicon())
    result = CliRunner().invoke(main, ["sheet", "check", str(path), "--sounds"])
    assert result.exit_code == 1
    assert f"written at {tmp_path / 'lexicon.toml'}:" in result.output
    assert 'instead of "dry" say "no leaks"' in result.output
