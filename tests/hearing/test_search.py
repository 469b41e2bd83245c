"""The search's own decisions, apart from any model."""

from __future__ import annotations

import pytest

from voicelog.hearing.confidence import Confidence, merge, outside, ranked, share
from voicelog.hearing.search import Found, SearchOptions, _repeats


@pytest.mark.parametrize(
    ("said", "circles"),
    [
        ("tilt pump low tilt pump low", True),
        ("oil filter dry and oil filter dry", True),
        ("oil filter dry oil filter is dry", True),
        ("wet and wet and", False),
        ("dry dry", False),
        ("twelve point five five", False),
        ("left hose dry right hose dry", False),
        ("", False),
    ],
)
def test_going_round_in_circles_is_told_from_saying_a_word_twice(said: str, circles: bool) -> None:
    """Two or more words said twice over are a circle; one word twice is not."""
    assert _repeats(tuple(said.split())) == circles


def test_spellings_of_a_phrase_add_up() -> None:
    """Two paths of the same words become one with the sum of their likelihoods."""
    paths = [
        Found(("dry",), -1.0, -1.0, -0.5, 3.0, -0.1, (1,)),
        Found(("dry",), -1.0, -1.0, -0.7, 2.0, -0.1, (2,)),
    ]
    (merged,) = merge(paths)
    assert merged.log_likelihood == pytest.approx(-1.0 + 0.6931, abs=1e-4)


def test_shares_sum_to_one_and_keep_their_order() -> None:
    """A softmax, also over scores that would overflow."""
    shares = share([1000.0, 999.0, 0.0], 1.0)
    assert sum(shares) == pytest.approx(1.0)
    assert shares == sorted(shares, reverse=True)


def test_the_worse_a_phrase_explains_the_sound_the_likelier_it_was_none() -> None:
    """Both the gap to free decoding and the weakest word count against it."""
    confidence, tokens = Confidence(), tuple(range(8))
    good = outside(Found((), -5.0, 0.0, -2.0, 5.0, -0.1, tokens), -4.0, confidence)
    wide = outside(Found((), -25.0, 0.0, -2.0, 5.0, -0.1, tokens), -4.0, confidence)
    weak = outside(Found((), -5.0, 0.0, -12.0, -3.0, -0.1, tokens), -4.0, confidence)
    assert good < wide and good < weak
    assert good < 0.01 < 0.5 < weak < 1


def test_options_that_cannot_work_are_refused() -> None:
    """A beam of none, a weight beyond one, a temperature of zero."""
    for make in (
        lambda: SearchOptions(beam=0),
        lambda: SearchOptions(expectation_weight=1.5),
        lambda: Confidence(temperature=0.0),
    ):
        with pytest.raises(ValueError, match="must"):
            make()


def test_a_short_phrase_must_fit_better_than_any_word_fits_a_noise() -> None:
    """The same likelihood a token is enough for a long phrase and not for one word."""
    confidence = Confidence()
    one = outside(Found((), -8.0, 0.0, -3.0, 7.0, -0.1, (1,)), -4.0, confidence)
    ten = outside(Found((), -44.0, 0.0, -3.0, 7.0, -0.1, tuple(range(10))), -40.0, confidence)
    assert ten < 0.1 < 0.9 < one


def test_a_phrase_the_sound_does_not_speak_for_is_not_ranked_first() -> None:
    """A search can fall for a long phrase of the graph that free decoding beats by far."""
    right = Found(("oil", "filter", "dry"), -6.0, 40.0, -2.0, 8.0, -0.1, (1, 2, 3, 4))
    strayed = Found(("oil", "filter", "dry", "oil"), -38.0, 45.0, -11.0, 1.0, -0.1, tuple(range(9)))
    assert ranked([strayed, right], -6.0, Confidence())[0].words == right.words
