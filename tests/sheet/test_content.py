"""The sheet and lexicon that come with voicelog hold what they promise."""

from __future__ import annotations

import itertools
import re
from fractions import Fraction
from pathlib import Path

import pint
import pytest
from rapidfuzz.distance import Levenshtein

from voicelog.sheet import (
    CONTROL_PHRASES,
    Condition,
    Sheet,
    check_lexicon,
    check_sheet,
    check_unit,
    load_sheet,
    load_unit,
)
from voicelog.sheet.spoken import MAY_BE_LEFT_OUT

ROOT = Path(__file__).parents[2]
SHEET_PATH = ROOT / "grammars" / "engine_bay.toml"

# The leak classes that US Army maintenance manuals print with their checks (PMCS), from memory:
# I: seepage shown by wetness or discoloration, not great enough to form drops;
# II: great enough to form drops, not enough to make them drip from the item;
# III: great enough to form drops that fall from the item.
LEAK_CLASS_OF = {
    "damp": 1, "wet": 1, "stained": 1, "seeping": 1, "weeping": 1,
    "beading": 2, "drops forming": 2, "drops hanging": 2,
    "dripping": 3, "drops falling": 3, "running out": 3, "spraying": 3,
    "leaking": 3, "has a leak": 3,  # no class said: the worst, so that nothing is understated
}  # fmt: skip


@pytest.fixture(scope="module")
def sheet() -> Sheet:
    """The engine bay sheet with its lexicon."""
    return load_sheet(SHEET_PATH)


def spoken(sheet: Sheet) -> dict[str, Condition]:
    """Return every condition phrase with its condition."""
    return {phrase: c for c in sheet.lexicon.conditions.values() for phrase in c.say}


def test_the_files_have_no_problem_and_no_warning() -> None:
    """What is shipped passes the checks that others' files must pass."""
    assert check_sheet(SHEET_PATH) == ()
    assert check_lexicon(ROOT / "grammars" / "lexicon.toml") == ()
    assert check_unit(ROOT / "samples" / "engine_61.toml") == ()


def test_the_sample_unit_names_sheets_that_exist() -> None:
    """The demonstration can be started as it is."""
    unit = load_unit(ROOT / "samples" / "engine_61.toml")
    for name in unit.sheets:
        assert load_sheet(ROOT / "grammars" / f"{name}.toml", unit=unit).id == name


def test_the_sheet_is_of_the_size_it_should_be(sheet: Sheet) -> None:
    """More than sixty points and eight readings, in seven to ten stops, on both sides."""
    points = sheet.points.values()
    assert len(points) >= 66
    assert sum(len(point.readings) for point in points) >= 8
    assert 7 <= len(sheet.stops) <= 10
    assert {point.side for point in points} == {"left", "right", "none"}


def test_what_is_on_one_side_is_on_the_other(sheet: Sheet) -> None:
    """A part with a side has its twin, looked at for the same things and measured alike."""
    left = {p.name: p for p in sheet.points.values() if p.side == "left"}
    right = {p.name: p for p in sheet.points.values() if p.side == "right"}
    assert set(left) == set(right)
    for name, point in left.items():
        twin = right[name]
        assert (point.say, point.aspects, point.look_for) == (twin.say, twin.aspects, twin.look_for)
        assert point.readings == twin.readings


def test_cautions_come_first_and_at_every_stop(sheet: Sheet) -> None:
    """Chocks, key and prop are named before the walk, and each stop says what can hurt there."""
    opening = " ".join(sheet.cautions).lower()
    for word in ("chock", "engine off", "key", "prop", "maker", "policy"):
        assert word in opening
    for stop in sheet.stops:
        assert stop.cautions, stop.id
        assert all(caution.endswith(".") for caution in stop.cautions)


def test_every_limit_says_where_it_comes_from(sheet: Sheet) -> None:
    """A published figure names its document and how it is known; others defer to the maker."""
    limits = [r.limit for p in sheet.points.values() for r in p.readings if r.limit is not None]
    assert len(limits) >= 8
    for limit in limits:
        if limit.basis == "published":
            assert "from memory" in limit.source or "seen" in limit.source
        else:
            assert "common practice" in limit.source and "no published source" in limit.source


# Published benchmarks that limits of the sheet rest on.
LIMITS: list[tuple[str, str, Fraction | None, Fraction | None]] = [
    # 49 CFR 393.47(e), clamp-type chambers 16, 20 and 24, standard stroke: 1 3/4 in (from memory; the
    # same figure was read in a truck maker's table of actuator strokes).
    # US model commercial driver's manual 5.3: more than about 1 in by hand (from memory).
    ("slack_adjuster_left", "hand_travel", None, Fraction(1)),
    # The same manual, older editions, section 11: belt play up to 3/4 in (from memory).
    ("fan_belt", "deflection", None, Fraction(3, 4)),
    # FMVSS 121 S5.1.5: warning below 60 psi (from memory).
    ("air_tank_primary", "pressure", Fraction(60), None),
    # Flooded 12 V battery at rest, 75 % charge: 12.45 V by Battery Council International's table, read
    # on two battery makers' pages.
    ("front_battery", "voltage", Fraction("12.45"), None),
]


@pytest.mark.parametrize(("point", "reading", "minimum", "maximum"), LIMITS)
def test_limits_are_the_figures_of_their_sources(
    sheet: Sheet, point: str, reading: str, minimum: Fraction | None, maximum: Fraction | None
) -> None:
    """The figures are those of the documents named with them."""
    limit = sheet.points[point].reading(reading).limit
    assert limit is not None
    assert (limit.minimum, limit.maximum) == (minimum, maximum)


def test_leak_words_have_their_published_class(sheet: Sheet) -> None:
    """Each leak word is filed under the class its definition gives it."""
    ranks = {
        phrase: sheet.lexicon.classes[condition.class_id].rank
        for phrase, condition in spoken(sheet).items()
        if condition.aspect == "leak" and condition.class_id is not None
    }
    assert {phrase: ranks[phrase] for phrase in LEAK_CLASS_OF} == LEAK_CLASS_OF


def test_the_lexicon_is_of_the_size_it_should_be(sheet: Sheet) -> None:
    """Enough trade words, most with synonyms, and each aspect can be both passed and failed."""
    conditions = sheet.lexicon.conditions.values()
    assert len(conditions) >= 120
    assert sum(len(c.say) > 1 for c in conditions) >= 120
    assert len(spoken(sheet)) >= 400
    for aspect in sheet.lexicon.aspects:
        assert {c.polarity for c in conditions if c.aspect == aspect} == {"sound", "defect"}, aspect


def test_every_defect_is_weighed_and_no_sound_word_is(sheet: Sheet) -> None:
    """A defect without a class could not be put in order of weight."""
    for condition in sheet.lexicon.conditions.values():
        assert (condition.class_id is None) == (condition.polarity == "sound"), condition.id
    for defect_class in sheet.lexicon.classes.values():
        assert defect_class.rank >= 1
        assert defect_class.source


def test_classes_of_one_aspect_do_not_share_a_rank(sheet: Sheet) -> None:
    """Two classes that can meet in one aspect are ordered."""
    lexicon = sheet.lexicon
    for aspect in lexicon.aspects:
        used = {c.class_id for c in lexicon.conditions_of((aspect,)) if c.class_id}
        assert len({lexicon.classes[name].rank for name in used}) == len(used), aspect


def test_every_measure_can_be_calculated_with(sheet: Sheet) -> None:
    """Reference: pint's default registry."""
    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    for measure in sheet.lexicon.measures.values():
        assert measure.unit in registry
        assert measure.say


def test_a_denial_is_a_phrase_of_its_own(sheet: Sheet) -> None:
    """A sound word that people deny ("not tight", "does not work") has a denial among the defects."""
    phrases = spoken(sheet)
    denied = [phrase.removeprefix("not ") for phrase in phrases if phrase.startswith("not ")]
    assert len(denied) >= 20
    for phrase in denied:
        assert phrases[f"not {phrase}"].polarity == "defect"
        if phrase in phrases:
            assert phrases[phrase].polarity == "sound"
            assert phrases[phrase].aspect == phrases[f"not {phrase}"].aspect
    for condition in sheet.lexicon.conditions.values():
        if condition.polarity == "sound" and not condition.say[0].startswith(("no ", "like ")):
            stem = condition.say[0].split()[0].removesuffix("s")
            denials = [
                phrase
                for phrase, c in phrases.items()
                if (c.polarity, c.aspect) == ("defect", condition.aspect)
                and phrase.startswith(("not ", "does not ", "will not "))
            ]
            assert any(f" {stem}" in phrase for phrase in denials), condition.id


def test_no_defect_word_turns_sound_by_losing_a_sound_at_its_start(sheet: Sheet) -> None:
    """No defect phrase, "not" apart, ends in a sound phrase of an aspect it can meet."""
    phrases = spoken(sheet)
    met = {
        pair for point in sheet.points.values() for pair in itertools.product(point.aspects, point.aspects)
    }
    for (one, sound), (other, defect) in itertools.product(phrases.items(), phrases.items()):
        if sound.polarity == "sound" and defect.polarity == "defect" and (sound.aspect, defect.aspect) in met:
            denial = other == f"not {one}" or (
                other.startswith(("not ", "does not ")) and other.endswith(one)
            )
            if not denial:
                assert not other.endswith(one), (one, other)


def test_points_of_one_stop_are_spelt_apart(sheet: Sheet) -> None:
    """Two parts at one stop differ by a whole word at the least."""
    for stop in sheet.stops:
        for one, other in itertools.combinations(stop.points, 2):
            for a, b in itertools.product(one.say, other.say):
                assert set(a.split()) ^ set(b.split()), (a, b)
                assert Levenshtein.normalized_distance(a, b) > 0.09, (a, b)


def test_no_condition_or_name_holds_a_side_word(sheet: Sheet) -> None:
    """ "Left" and "right" in another phrase would be taken for the side of the point."""
    names = [phrase for point in sheet.points.values() for phrase in point.say]
    for phrase in [*spoken(sheet), *names]:
        assert not {"left", "right"} & set(phrase.split()), phrase


def test_the_guides_examples_are_whole(tmp_path: Path) -> None:
    """The sheet in the guide loads with the lexicon that is shipped, and the lexicons by themselves."""
    guide = (ROOT / "grammars" / "README.md").read_text(encoding="utf-8")
    examples = re.findall(r"```toml\n(.*?)```", guide, flags=re.DOTALL)
    sheet_text, timed_text, unit_text, parts_text, computed_text, lexicon_text, language_text = examples[:7]
    path = tmp_path / "example.toml"
    path.write_text(sheet_text, encoding="utf-8")
    assert check_sheet(path, lexicon_path=ROOT / "grammars" / "lexicon.toml") == ()
    pressure = '[[stop.point.reading]]\nid = "pressure"\nname = "pressure"\nunit = "psi"\nrange = [0, 150]\n'
    path.write_text(f"{sheet_text}{pressure}resolution = 1\n{timed_text}", encoding="utf-8")
    assert check_sheet(path, lexicon_path=ROOT / "grammars" / "lexicon.toml") == ()
    (tmp_path / "unit.toml").write_text(unit_text, encoding="utf-8")
    unit = load_unit(tmp_path / "unit.toml")
    path.write_text(sheet_text + parts_text, encoding="utf-8")
    sheet = load_sheet(path, lexicon_path=ROOT / "grammars" / "lexicon.toml", unit=unit)
    assert "pushrod_axle_1_left" in sheet.points
    marks = ("applied", "released")
    readings = "".join(
        f'[[stop.point.reading]]\nid = "{r}"\nname = "{r}"\nunit = "inch"\nrange = [0, 4]\nresolution = 1\n'
        for r in marks
    )
    point = '[[stop.point]]\nid = "marks"\nfor_each = "wheel end"\nname = "axle {axle} marks"\n'
    path.write_text(sheet_text + point + readings + computed_text, encoding="utf-8")
    sheet = load_sheet(path, lexicon_path=ROOT / "grammars" / "lexicon.toml", unit=unit)
    assert sheet.points["marks_axle_1_left"].computed
    path.write_text(lexicon_text, encoding="utf-8")
    assert check_lexicon(path) == ()
    path.write_text(language_text + lexicon_text, encoding="utf-8")
    problems = check_lexicon(path)
    # The example shows one control word of them all.
    assert {(p.severity, p.what[:23]) for p in problems} == {("warning", "there is no way to say ")}
    assert len(problems) == len(CONTROL_PHRASES) - len(MAY_BE_LEFT_OUT) - 1
