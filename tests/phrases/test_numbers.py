"""Spoken numbers: every form means what a person means by it, and nothing else is reachable.

Cardinal words are checked against num2words, an independent library. Trade phrases come from
common practice, no published source; "niner" is ICAO radiotelephony (Annex 10, from memory).
"""

from __future__ import annotations

import re
import time
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from num2words import num2words

from voicelog.errors import GrammarError
from voicelog.phrases import numbers
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.expression import Grammar

F = Fraction

Range = tuple[str, str, str]

VOLTS: Range = ("0", "16", "0.1")
FINE_VOLTS: Range = ("0", "16", "0.01")
PSI: Range = ("0", "150", "1")
STROKE: Range = ("0", "3", "1/8")
TREAD: Range = ("0", "1", "1/32")
RPM: Range = ("0", "3000", "50")
DEGREES: Range = ("-40", "300", "1")


def forms_of(within: Range) -> dict[str, tuple[Fraction, ...]]:
    """Return the forms of a range written as text."""
    low, high, resolution = (F(part) for part in within)
    return numbers.number_forms(low, high, resolution)


def plain(text: str) -> str:
    """Return num2words' wording without its hyphens and commas."""
    return re.sub(r"\s+", " ", text.replace("-", " ").replace(",", "")).strip()


def test_every_whole_number_has_its_cardinal_as_num2words_writes_it() -> None:
    """All of 0 to 9999, worded by num2words, mean that number and no other."""
    meanings = numbers.number_forms(F(0), F(9999), F(1))
    wrong = [n for n in range(10_000) if meanings.get(plain(num2words(n))) != (F(n),)]
    assert wrong == []


def test_read_back_of_whole_numbers_is_the_cardinal_without_and() -> None:
    """The form read back is num2words' cardinal less its "and", for all of 0 to 9999."""
    wrong = [
        n for n in range(10_000) if numbers.say_value(F(n), F(1)) != plain(num2words(n)).replace(" and ", " ")
    ]
    assert wrong == []


@pytest.mark.parametrize(("places", "high"), [(1, 160), (2, 16), (3, 3)])
def test_every_decimal_has_its_wording_as_num2words_writes_it(places: int, high: int) -> None:
    """Decimals worded by num2words mean that value and no other."""
    step = F(1, 10**places)
    meanings = numbers.number_forms(F(0), F(high), step)
    wrong = []
    for count in range(high * 10**places + 1):
        value = count * step
        written = f"{float(value):.{places}f}".rstrip("0").rstrip(".")
        said = plain(num2words(written if "." in written else int(written)))
        if meanings.get(said) != (value,):
            wrong.append((written, said, meanings.get(said)))
    assert wrong == []


def test_every_negative_whole_number_follows_num2words() -> None:
    """Negative temperatures are "minus" and the cardinal, as num2words words them."""
    meanings = forms_of(DEGREES)
    assert [n for n in range(-40, 0) if meanings.get(plain(num2words(n))) != (F(n),)] == []


@pytest.mark.parametrize(
    ("said", "within", "value"),
    [
        ("zero", PSI, "0"),
        ("one hundred five", PSI, "105"),
        ("one hundred and five", PSI, "105"),
        ("a hundred and five", PSI, "105"),
        ("a hundred five", PSI, "105"),
        ("one oh five", PSI, "105"),
        ("one zero five", PSI, "105"),
        ("one twenty", PSI, "120"),
        ("one twenty five", PSI, "125"),
        ("one two zero", PSI, "120"),
        ("one two oh", PSI, "120"),
        ("one ten", PSI, "110"),
        ("a hundred", PSI, "100"),
        ("niner", PSI, "9"),
        ("one zero niner", PSI, "109"),
        ("niner niner", PSI, "99"),
        ("minus ten", DEGREES, "-10"),
        ("minus one zero", DEGREES, "-10"),
        ("two twelve", DEGREES, "212"),
        ("twenty four hundred", RPM, "2400"),
        ("twenty four fifty", RPM, "2450"),
        ("twenty four hundred and fifty", RPM, "2450"),
        ("two thousand four hundred", RPM, "2400"),
        ("two four zero zero", RPM, "2400"),
        ("ten fifty", RPM, "1050"),
        ("a thousand", RPM, "1000"),
        ("six fifty", RPM, "650"),
        ("twelve point six", VOLTS, "12.6"),
        ("twelve six", VOLTS, "12.6"),
        ("twelve oh", VOLTS, "12"),
        ("one two point six", VOLTS, "12.6"),
        ("twelve and a half", VOLTS, "12.5"),
        ("nine six", VOLTS, "9.6"),
        ("zero point five", VOLTS, "0.5"),
        ("point five", VOLTS, "0.5"),
        ("oh point five", VOLTS, "0.5"),
        ("half", VOLTS, "0.5"),
        ("point niner", VOLTS, "0.9"),
        ("twelve point six five", FINE_VOLTS, "12.65"),
        ("twelve sixty five", FINE_VOLTS, "12.65"),
        ("twelve six five", FINE_VOLTS, "12.65"),
        ("twelve point sixty five", FINE_VOLTS, "12.65"),
        ("twelve point six zero", FINE_VOLTS, "12.6"),
        ("twelve point six", FINE_VOLTS, "12.6"),
        ("twelve sixty", FINE_VOLTS, "12.6"),
        ("twelve oh six", FINE_VOLTS, "12.06"),
        ("twelve point zero six", FINE_VOLTS, "12.06"),
        ("twelve and a quarter", FINE_VOLTS, "12.25"),
        ("one oh five", FINE_VOLTS, "1.05"),
        ("half", STROKE, "1/2"),
        ("a half", STROKE, "1/2"),
        ("one half", STROKE, "1/2"),
        ("quarter", STROKE, "1/4"),
        ("a quarter", STROKE, "1/4"),
        ("one quarter", STROKE, "1/4"),
        ("three quarters", STROKE, "3/4"),
        ("three quarter", STROKE, "3/4"),
        ("an eighth", STROKE, "1/8"),
        ("one eighth", STROKE, "1/8"),
        ("three eighths", STROKE, "3/8"),
        ("four eighths", STROKE, "1/2"),
        ("one and a half", STROKE, "3/2"),
        ("one and three quarters", STROKE, "7/4"),
        ("one three quarters", STROKE, "7/4"),
        ("two and one half", STROKE, "5/2"),
        ("one and seven eighths", STROKE, "15/8"),
        ("one point seven five", STROKE, "7/4"),
        ("one point three seven five", STROKE, "11/8"),
        ("point one twenty five", STROKE, "1/8"),
        ("five sixteenths", ("0", "3", "1/16"), "5/16"),
        ("a sixteenth", ("0", "3", "1/16"), "1/16"),
        ("four thirty seconds", TREAD, "1/8"),
        ("an eighth", TREAD, "1/8"),
        ("two thirty seconds", TREAD, "1/16"),
        ("a thirty second", TREAD, "1/32"),
        ("twenty two thirty seconds", TREAD, "11/16"),
        ("thirty two thirty seconds", TREAD, "1"),
        ("zero thirty seconds", TREAD, "0"),
        ("two and a half", ("0", "32", "1/2"), "5/2"),
        ("two point five", ("0", "32", "1/2"), "5/2"),
        ("one point five", ("0.5", "9.5", "1"), "3/2"),
    ],
)
def test_trade_phrases_mean_their_value(said: str, within: Range, value: str) -> None:
    """A phrase of the trade means its one value."""
    assert forms_of(within).get(said) == (F(value),)


@pytest.mark.parametrize(
    ("said", "within", "why"),
    [
        ("oh", PSI, "a sigh must not become zero"),
        ("nothing", PSI, "it begins 'nothing wrong'"),
        ("one fifty one", PSI, "outside the range"),
        ("minus ten", PSI, "outside the range"),
        ("minus zero", DEGREES, "not a value"),
        ("minus forty one", DEGREES, "outside the range"),
        ("twelve point five", PSI, "finer than the resolution"),
        ("one hundred and", PSI, "broken off"),
        ("twenty four ten", RPM, "2410 is not on the gauge"),
        ("twenty four", RPM, "24 is not on the gauge, and it does not mean 2400"),
        ("twelve point six five", VOLTS, "finer than the resolution"),
        ("twelve sixty five", VOLTS, "finer than the resolution"),
        ("twelve point", FINE_VOLTS, "broken off"),
        ("sixteen point one", VOLTS, "outside the range"),
        ("one sixteenth", STROKE, "finer than the resolution"),
        ("three and a half", STROKE, "outside the range"),
        ("thirty three thirty seconds", TREAD, "outside the range"),
        ("four thirty", TREAD, "a time, or broken off"),
        ("four", TREAD, "4 inches of tread is outside the range, and it does not mean 4/32"),
        ("one thirty seconds", TREAD, "not how one is said"),
    ],
)
def test_phrases_that_must_not_become_a_value(said: str, within: Range, why: str) -> None:
    """A phrase that names no value of the range has no meaning in it."""
    assert said not in forms_of(within), why


def test_after_a_bare_ten_a_digit_is_a_whole_number() -> None:
    """ "Twenty five" is 25 even on a gauge with tenths, where 20.5 needs its point."""
    meanings = forms_of(("0", "30", "0.1"))
    assert meanings["twenty five"] == (F(25),)
    assert meanings["twenty point five"] == (F("20.5"),)
    assert forms_of(("0", "30", "0.01"))["twenty six five"] == (F("26.5"),)


@pytest.mark.parametrize(
    ("within", "ambiguous"),
    [
        (
            VOLTS,
            {
                "one zero": ("1", "10"),
                "one oh": ("1", "10"),
                "one one": ("1.1", "11"),
                "one two": ("1.2", "12"),
                "one three": ("1.3", "13"),
                "one four": ("1.4", "14"),
                "one five": ("1.5", "15"),
                "one six": ("1.6", "16"),
            },
        ),
        (
            FINE_VOLTS,
            {
                "one one": ("1.1", "11"),
                "one two": ("1.2", "12"),
                "one three": ("1.3", "13"),
                "one four": ("1.4", "14"),
                "one five": ("1.5", "15"),
                "one six": ("1.6", "16"),
            },
        ),
        (PSI, {}),
        (STROKE, {}),
        (TREAD, {}),
        (RPM, {}),
        (DEGREES, {}),
        (("0", "3", "1/16"), {}),
        (("0", "9999", "1"), {}),
    ],
)
def test_the_ambiguous_forms_are_these_and_no_others(
    within: Range, ambiguous: dict[str, tuple[str, ...]]
) -> None:
    """A form with two meanings lists both; typical ranges have only these."""
    found = {form: meant for form, meant in forms_of(within).items() if len(meant) > 1}
    assert found == {form: tuple(F(value) for value in meant) for form, meant in ambiguous.items()}


@pytest.mark.parametrize("within", [VOLTS, FINE_VOLTS, PSI, STROKE, TREAD, RPM, DEGREES])
def test_the_read_back_form_means_one_value_only(within: Range) -> None:
    """What is read back never has a second meaning, for any value of the range."""
    low, high, resolution = (F(part) for part in within)
    meanings = numbers.number_forms(low, high, resolution)
    wrong = [
        value
        for value in numbers.values(low, high, resolution)
        if meanings[numbers.say_value(value, resolution)] != (value,)
    ]
    assert wrong == []


RESOLUTIONS = [
    F(1),
    F(10),
    F(5),
    F("0.5"),
    F("0.1"),
    F("0.05"),
    F("0.01"),
    F(1, 4),
    F(1, 8),
    F(1, 16),
    F(1, 32),
]


@st.composite
def a_range(draw: st.DrawFn) -> tuple[Fraction, Fraction, Fraction]:
    """Return a range of at most 200 values somewhere between -200 and 9000."""
    resolution = draw(st.sampled_from(RESOLUTIONS))
    first = draw(st.integers(min_value=int(-200 / resolution), max_value=int(5000 / resolution)))
    count = draw(st.integers(min_value=0, max_value=200))
    return first * resolution, min((first + count) * resolution, F(9000)), resolution


@settings(max_examples=60, deadline=None)
@given(a_range())
def test_every_form_leads_back_to_its_value_and_to_nothing_outside(
    within: tuple[Fraction, Fraction, Fraction],
) -> None:
    """Every form of every value is a form of the range, and every form means values of the range."""
    low, high, resolution = within
    meanings = numbers.number_forms(low, high, resolution)
    for value in numbers.values(low, high, resolution):
        for form in numbers.spoken_forms(value, resolution):
            assert value in meanings[form]
    for meant in meanings.values():
        assert all(low <= value <= high and (value - low) % resolution == 0 for value in meant)
        assert list(meant) == sorted(set(meant))


@settings(max_examples=60, deadline=None)
@given(a_range())
def test_forms_are_lower_case_words_and_never_repeat(within: tuple[Fraction, Fraction, Fraction]) -> None:
    """A form is lower-case letters and single spaces, and is listed once for a value."""
    low, high, resolution = within
    for value in (low, high):
        forms = numbers.spoken_forms(value, resolution)
        assert all(re.fullmatch(r"[a-z]+( [a-z]+)*", form) for form in forms)
        assert len(set(forms)) == len(forms)


def _read_figures(text: str) -> Fraction:
    """Read "12.6", "2,400", "1 1/2" or "1-1/2" with Fraction's own reader."""
    sign = -1 if text.startswith("-") else 1
    parts = re.split(r"[ -]", text.removeprefix("-").replace(",", ""))
    return sign * sum((F(part if not part.startswith(".") else f"0{part}") for part in parts), F(0))


@settings(max_examples=60, deadline=None)
@given(a_range())
def test_written_figures_read_back_as_the_value(within: tuple[Fraction, Fraction, Fraction]) -> None:
    """Figures without glyphs, read by Fraction, are the value exactly."""
    low, high, resolution = within
    for value in (low, high):
        for figures in numbers.digits(value, resolution):
            if not re.search("[½¼¾⅛⅜⅝⅞]", figures):
                assert _read_figures(figures) == value


@pytest.mark.parametrize(
    ("value", "resolution", "first", "others"),
    [
        ("12.6", "0.1", "12.6", set()),
        ("12.6", "0.01", "12.6", {"12.60"}),
        ("105", "1", "105", set()),
        ("2400", "50", "2400", {"2,400"}),
        ("1/2", "1/8", "1/2", {"½", "0.5", "4/8"}),
        ("3/8", "1/8", "3/8", {"⅜", "0.375", ".375"}),
        ("3/2", "1/8", "1 1/2", {"1-1/2", "1½", "1.5"}),
        ("1/8", "1/32", "4/32", {"1/8"}),
        ("2.5", "0.5", "2.5", {"2 1/2"}),
        ("-10", "1", "-10", set()),
        ("12", "0.1", "12", {"12.0"}),
    ],
)
def test_written_figures(value: str, resolution: str, first: str, others: set[str]) -> None:
    """The commonest figures come first, the others are listed."""
    written = numbers.digits(F(value), F(resolution))
    assert written[0] == first
    assert others <= set(written)


@pytest.mark.parametrize(
    ("value", "resolution", "said"),
    [
        ("105", "1", "one hundred five"),
        ("2400", "50", "two thousand four hundred"),
        ("12.6", "0.1", "twelve point six"),
        ("12.65", "0.01", "twelve point six five"),
        ("0.5", "0.1", "zero point five"),
        ("12", "0.1", "twelve"),
        ("3/8", "1/8", "three eighths"),
        ("7/4", "1/8", "one and three quarters"),
        ("1/8", "1/32", "four thirty seconds"),
        ("2.5", "0.5", "two point five"),
        ("-10", "1", "minus ten"),
    ],
)
def test_the_form_read_back(value: str, resolution: str, said: str) -> None:
    """The read-back of a value in its resolution's own style."""
    assert numbers.say_value(F(value), F(resolution)) == said


@pytest.mark.parametrize(
    ("value", "within", "confused"),
    [
        ("15", PSI, {"50"}),
        ("50", PSI, {"15"}),
        ("115", PSI, {"150"}),
        ("113", PSI, {"130"}),
        ("120", PSI, {"100"}),
        ("125", PSI, {"120"}),
        ("1/2", STROKE, {"3/2", "1"}),
        ("3/2", STROKE, {"1/2", "1"}),
        ("1", STROKE, {"3/2"}),
        ("1/4", STROKE, {"5/4", "1"}),
        ("5/4", STROKE, {"1/4"}),
        ("12", VOLTS, {"12.5"}),
        ("12.5", VOLTS, {"12"}),
        ("12.15", FINE_VOLTS, {"12.5"}),
        ("16/32", TREAD, set()),
    ],
)
def test_values_easily_heard_for_one_another(value: str, within: Range, confused: set[str]) -> None:
    """Teens and tens, halves gained or lost, and a clipped word are among the competitors.

    The teen/ty pairs differ by one final N in CMUdict (0f8072f); NIST's sclite sample report lists
    "fourteen" heard as "forty".
    """
    low, high, resolution = (F(part) for part in within)
    found = numbers.confusable_values(F(value), low, high, resolution)
    assert {F(other) for other in confused} <= set(found)
    assert F(value) not in found
    assert all(low <= other <= high for other in found)


def test_teen_and_ten_are_confused_both_ways() -> None:
    """Thirteen to nineteen and thirty to ninety each list the other."""
    for unit in range(3, 10):
        teen, ten = F(10 + unit), F(10 * unit)
        assert ten in numbers.confusable_values(teen, F(0), F(150), F(1))
        assert teen in numbers.confusable_values(ten, F(0), F(150), F(1))


def test_the_expression_tags_every_form_with_its_values() -> None:
    """The graph of a range's expression gives each form its values, two for an ambiguous form."""
    expression = numbers.number_expression(F(0), F(16), F("0.1"), tag="volts")
    graph = compile_grammar(Grammar("volts", {"reading": expression}, ("reading",)))
    found = {}
    for form in forms_of(VOLTS):
        taggings = graph.parse(tuple(form.split()))
        assert all(span.name == "volts" for tagging in taggings for span in tagging)
        found[form] = tuple(sorted(F(span.value) for (span,) in taggings))
    assert found == forms_of(VOLTS)
    assert found["one two"] == (F("1.2"), F(12))
    assert not graph.accepts(("seventeen",))


@pytest.mark.parametrize(
    ("low", "high", "resolution", "part"),
    [
        ("0", "10", "0", "above zero"),
        ("0", "10", "-1", "above zero"),
        ("10", "0", "1", "upside down"),
        ("0", "9999", "0.01", "too many"),
        ("0", "1", "1/3", "cannot be said"),
        ("0", "1", "0.0005", "cannot be said"),
        ("9990", "10010", "1", "largest is 9999"),
    ],
)
def test_ranges_that_cannot_be_said_are_refused(low: str, high: str, resolution: str, part: str) -> None:
    """A range that cannot be said is refused in words, with what to write instead."""
    with pytest.raises(GrammarError, match=part) as caught:
        numbers.number_forms(F(low), F(high), F(resolution))
    assert caught.value.remedy


def test_values_stop_at_the_last_step_within_the_range() -> None:
    """A range that its resolution does not divide ends below its upper bound."""
    assert numbers.values(F(0), F(1), F("0.4")) == (F(0), F("0.4"), F("0.8"))


def test_a_fine_range_is_enumerated_quickly() -> None:
    """0 to 16 V by 0.01 takes well under the third of a second that a sheet may spend on it."""
    numbers.number_forms.cache_clear()
    numbers.spoken_forms.cache_clear()
    began = time.process_time()
    numbers.number_forms(F(0), F(16), F("0.01"))
    assert time.process_time() - began < 0.3
