"""A broken sheet is refused with the line, what is wrong and what to write.

Each case changes one thing of a sheet that is whole. The expected line is found in the changed
text by the mark ``#!``, so that it is counted here and not by the code under test.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from voicelog.errors import SheetError
from voicelog.sheet import check_lexicon, check_sheet, check_unit, load_sheet

from .making import LEXICON, SHEET, UNIT, written

_LIMIT = 'limit = { max = "3/4", source = "invented", basis = "common practice" }'

# name: (text replaced, text put in its place with #! on the line expected, words of "what",
# words of the remedy)
SHEET_CASES: dict[str, tuple[str, str, str, str]] = {
    "unknown key": ('side = "left"', 'sid = "left" #!', 'unknown key "sid"', '"side"'),
    "unknown key, nothing near": ('id = "rear"', 'id = "rear"\nwheels = 4 #!', '"wheels"', "keys here are"),
    "unknown key in a limit": (
        _LIMIT,
        _LIMIT.replace("source", "sourze") + " #!",
        'unknown key "sourze"',
        '"source"',
    ),
    "missing key": (
        '[[stop.point]]\nid = "belt"\n',
        "[[stop.point]] #!\n",
        '"id" is missing from [stop.point]',
        "Add a line: id",
    ),
    "missing head": ('[sheet]\nid = "bay"', '[[sheet]] #!\nid = "bay"', '"sheet"', "table"),
    "wrong kind": ('name = "cab latch"', "name = 4 #!", '"name" in [stop.point] cannot be 4', "in quotes"),
    "not a list": ('say = ["left front corner"]', 'say = "left front corner" #!', '"say"', "square brackets"),
    "required in quotes": (
        'name = "cab latch"',
        'name = "cab latch"\nrequired = "no" #!',
        "required",
        "true or false",
    ),
    "unknown aspect": (
        'name = "fan belt"\naspects = ["leak"]',
        'name = "fan belt"\naspects = ["leek"] #!',
        'unknown aspect "leek"',
        '"leak"',
    ),
    "unknown aspect in a list over lines": (
        'name = "fan belt"\naspects = ["leak"]',
        'name = "fan belt"\naspects = [\n  "leak",\n  "colour", #!\n]',
        'unknown aspect "colour"',
        "general, leak",
    ),
    "unknown side": ('side = "left"', 'side = "lefft" #!', 'unknown side "lefft"', '"left"'),
    "unknown basis": (
        _LIMIT,
        _LIMIT.replace("common", "comon") + " #!",
        "unknown basis",
        '"common practice"',
    ),
    "unknown unit": ('unit = "inch"', 'unit = "inhc" #!', 'unknown unit of measure "inhc"', '"inch"'),
    "unit by its plural": ('unit = "inch"', 'unit = "inches" #!', "unknown unit of measure", '"inch"'),
    "unit the lexicon cannot say": (
        'unit = "inch"',
        'unit = "furlong" #!',
        '"furlong" is spoken',
        "[[measure]]",
    ),
    "id with spaces": ('id = "latch"', 'id = "Cab Latch" #!', "cannot be an id", '"cab_latch"'),
    "duplicate stop": ('id = "rear"', 'id = "front" #!', 'stop id "front" is used twice', "front_2"),
    "duplicate point": ('id = "latch"', 'id = "belt" #!', 'point id "belt" is used twice', "belt_2"),
    "same words for two points": (
        '[[stop.point]]\nid = "belt"\nname = "fan belt"',
        '[[stop.point]] #!\nid = "belt"\nname = "cab lift cylinder"',
        'both be meant by "cab lift cylinder"',
        "other words",
    ),
    "same words with and without a side": (
        '[[stop.point]]\nid = "belt"\nname = "fan belt"',
        '[[stop.point]] #!\nid = "belt"\nside = "none"\nname = "lift cylinder"',
        'both be meant by "lift cylinder"',
        "another side",
    ),
    "same words for two stops": (
        '[[stop]]\nid = "rear"\nname = "left rear"',
        '[[stop]] #!\nid = "rear"\nname = "left front corner"',
        'both called "left front corner"',
        "words of its own",
    ),
    "a point named as a stop": (
        '[[stop.point]]\nid = "latch"\nname = "cab latch"',
        '[[stop.point]] #!\nid = "latch"\nname = "left front"',
        'the stop "left front"',
        "another name",
    ),
    "a point named as a condition": (
        '[[stop.point]]\nid = "latch"\nname = "cab latch"',
        '[[stop.point]] #!\nid = "latch"\nname = "dry"',
        "also a condition",
        "another name",
    ),
    "a side said twice": (
        'say = ["cab lift cylinder"]',
        'say = ["left cab lift cylinder"] #!',
        "has its side in its name",
        '"cab lift cylinder"',
    ),
    "empty list of phrases": ('say = ["cab lift cylinder"]', "say = [] #!", '"say" is empty', "at least one"),
    "empty phrase": ('say = ["cab lift cylinder"]', 'say = [" "] #!', "empty phrase", "take the phrase out"),
    "digits": (
        'say = ["cab lift cylinder"]',
        'say = ["cylinder 2"] #!',
        '"cylinder 2" has digits',
        '"cylinder two"',
    ),
    "punctuation": (
        'say = ["cab lift cylinder"]',
        'say = ["lift-cylinder!"] #!',
        "punctuation",
        '"lift cylinder"',
    ),
    "capitals": ('name = "cab latch"', 'name = "Cab latch" #!', "capital letters", '"cab latch"'),
    "an accent": ('name = "cab latch"', 'name = "cab l\u00e4tch" #!', "letters beyond a to z", '"cab latch"'),
    "control word": ('name = "cab latch"', 'name = "say again" #!', "control word", "stand by"),
    "range upside down": ('range = [0, "1 1/2"]', 'range = ["1 1/2", 0] #!', "not below its end", "lowest"),
    "range without width": ('range = [0, "1 1/2"]', "range = [1, 1] #!", "not below its end", "lowest"),
    "range of three": ('range = [0, "1 1/2"]', "range = [0, 1, 2] #!", "has 3 values", "two values"),
    "range in words": ('range = [0, "1 1/2"]', 'range = [0, "two"] #!', '"two"', '"1 1/2"'),
    "range with a part above one": ('range = [0, "1 1/2"]', 'range = [0, "1 3/2"] #!', '"1 3/2"', '"1 1/2"'),
    "division by zero": ('resolution = "1/8"', 'resolution = "1/0" #!', '"1/0"', "fraction"),
    "resolution that does not divide": (
        'resolution = "1/8"',
        "resolution = 0.4 #!",
        "0.4 does not divide the range 0 to 1 1/2",
        "whole number of times",
    ),
    "resolution of nothing": ('resolution = "1/8"', "resolution = 0 #!", "not above zero", "1/8"),
    "limit outside the range": (_LIMIT, _LIMIT.replace('"3/4"', "2") + " #!", "max 2 lies outside", "Widen"),
    "limit that cannot be passed": (
        _LIMIT,
        _LIMIT.replace('"3/4"', '"1 1/2"') + " #!",
        "no value past it can be said",
        "sayable",
    ),
    "limit upside down": (_LIMIT, _LIMIT.replace("max", "min = 1, max") + " #!", "above its max", "Swap"),
    "limit of nothing": (_LIMIT, _LIMIT.replace('max = "3/4", ', "") + " #!", "neither min nor max", "max ="),
    "limit without source": (
        _LIMIT,
        _LIMIT.replace('source = "invented", ', "") + " #!",
        "no source",
        "where the figure comes from",
    ),
    "limit with a blank source": (_LIMIT, _LIMIT.replace("invented", " ") + " #!", "no source", "edition"),
    "two readings of one id": (
        _LIMIT,
        _LIMIT + '\n[[stop.point.reading]]\nid = "deflection" #!\nname = "slack"\nunit = "inch"\n'
        'range = [0, 1]\nresolution = "1/8"',
        'reading id "deflection" is used twice',
        "of its own",
    ),
    "two readings of one name": (
        _LIMIT,
        _LIMIT + '\n[[stop.point.reading]] #!\nid = "slack"\nname = "deflection"\nunit = "inch"\n'
        'range = [0, 1]\nresolution = "1/8"',
        'both called "deflection"',
        "words of its own",
    ),
    "stop without a point": (
        '[[stop.point]]\nid = "latch"\nname = "cab latch"\naspects = ["leak"]\n',
        '[[stop]] #!\nid = "last"\nname = "last look"\ncautions = ["Count the tools."]\n',
        'stop "last look" has no point',
        "[[stop.point]]",
    ),
    "bad TOML": ('name = "cab latch"', "name = cab latch #!", "not valid TOML", "quotes"),
    "same key twice": (
        'name = "cab latch"',
        'name = "cab latch"\nname = "latch" #!',
        "not valid TOML",
        "once",
    ),
    "lexicon not there": (
        'lexicon = "lexicon.toml"',
        'lexicon = "words.toml" #!',
        "no such lexicon",
        "lexicon.toml",
    ),
}

LEXICON_CASES: dict[str, tuple[str, str, str, str]] = {
    "shared phrase": (
        'say = ["leaking"]',
        'say = ["leaking", "dry"] #!',
        "said for two conditions",
        "one of them",
    ),
    "control word": ('say = ["leaking"]', 'say = ["correction"] #!', "control word", "Choose another"),
    "unknown aspect": (
        'id = "leaking"\naspect = "leak"',
        'id = "leaking"\naspect = "leeks" #!',
        'unknown aspect "leeks"',
        '"leak"',
    ),
    "unknown class": ('class = "repair"', 'class = "repare" #!', 'unknown class "repare"', '"repair"'),
    "defect without class": (
        '[[condition]]\nid = "leaking"\naspect = "leak"\npolarity = "defect"\nclass = "repair"',
        '[[condition]] #!\nid = "leaking"\naspect = "leak"\npolarity = "defect"',
        "has no class",
        "repair",
    ),
    "sound with class": (
        'polarity = "sound"',
        'polarity = "sound"\nclass = "repair" #!',
        "sound condition",
        "Take the class out",
    ),
    "unknown polarity": (
        'polarity = "sound"',
        'polarity = "fine" #!',
        'unknown polarity "fine"',
        "sound, defect",
    ),
    "unit pint lacks": ('unit = "inch"', 'unit = "smidgen" #!', "pint does not know", "registry"),
    "rank of nothing": ("rank = 1", "rank = 0 #!", "rank 0", "1 for the least"),
    "class without source": ('source = "invented"', 'source = "" #!', "no source", "edition"),
    "two conditions of one id": (
        'id = "leaking"',
        'id = "dry" #!',
        'condition id "dry" is used twice',
        "rename",
    ),
    "one phrase for both sides": (
        'say = ["right"]',
        'say = ["left"] #!',
        "both left and right",
        "one of them",
    ),
    "one phrase for a side and a condition": (
        'say = ["right"]',
        'say = ["right", "dry"] #!',
        'for the condition "dry"',
        "one of them",
    ),
    "digits": ('say = ["inch", "inches"]', 'say = ["inch", "1 inch"] #!', "digits", "one inch"),
}

UNIT_CASES: dict[str, tuple[str, str, str, str]] = {
    "no sheets": ('sheets = ["bay"]', "sheets = [] #!", "no sheet", "engine_bay"),
    "sheets missing": (UNIT, UNIT.replace('sheets = ["bay"]\n', "").replace("[unit]", "[unit] #!"),
                       '"sheets" is missing', "Add a line: sheets"),
    "empty id": ('id = "engine_9"', 'id = "" #!', "cannot be an id", "lower-case letters"),
    "empty name": ('name = "Engine 9"', 'name = " " #!', "no name", "spoken of"),
    "unknown key": ('station = "Station 1"', 'statoin = "One" #!', 'unknown key "statoin"', '"station"'),
}  # fmt: skip


def changed(text: str, old: str, new: str) -> tuple[str, int]:
    """Return the text with one thing changed, and the line that the change is marked on."""
    assert text.count(old) == 1, old
    text = text.replace(old, new)
    before, mark, after = text.partition("#!")
    assert mark
    return before + after, before.count("\n") + 1


def test_the_sheet_that_the_cases_change_is_whole(tmp_path: Path) -> None:
    """Without a change there is nothing to report, so each case's report is its own."""
    path = written(tmp_path)
    (tmp_path / "unit.toml").write_text(UNIT)
    assert check_sheet(path) == ()
    assert check_lexicon(tmp_path / "lexicon.toml") == ()
    assert check_unit(tmp_path / "unit.toml") == ()


@pytest.mark.parametrize("case", SHEET_CASES)
def test_a_broken_sheet_is_reported_at_its_line(case: str, tmp_path: Path) -> None:
    """Every kind of mistake in a sheet names its line, what is wrong and what to write."""
    old, new, what, remedy = SHEET_CASES[case]
    text, line = changed(SHEET, old, new)
    path = written(tmp_path, sheet=text)
    found = [(p.path, p.line, p.severity) for p in check_sheet(path) if what in p.what and remedy in p.remedy]
    assert (str(path), line, "error") in found, check_sheet(path)
    with pytest.raises(SheetError) as raised:
        load_sheet(path)
    assert str(path) in raised.value.where
    assert raised.value.remedy


@pytest.mark.parametrize("case", LEXICON_CASES)
def test_a_broken_lexicon_is_reported_at_its_line(case: str, tmp_path: Path) -> None:
    """A mistake in the lexicon is reported in the lexicon, also when a sheet is checked."""
    old, new, what, remedy = LEXICON_CASES[case]
    text, line = changed(LEXICON, old, new)
    sheet = written(tmp_path, lexicon=text)
    path = tmp_path / "lexicon.toml"
    for problems in (check_lexicon(path), check_sheet(sheet)):
        found = [(p.path, p.line, p.severity) for p in problems if what in p.what and remedy in p.remedy]
        assert (str(path), line, "error") in found, problems


@pytest.mark.parametrize("case", UNIT_CASES)
def test_a_broken_unit_is_reported_at_its_line(case: str, tmp_path: Path) -> None:
    """A mistake in a unit file names its line, what is wrong and what to write."""
    old, new, what, remedy = UNIT_CASES[case]
    text, line = changed(UNIT, old, new)
    path = tmp_path / "unit.toml"
    path.write_text(text)
    found = [(p.line, p.severity) for p in check_unit(path) if what in p.what and remedy in p.remedy]
    assert (line, "error") in found, check_unit(path)


def test_a_missing_sheet_names_the_ones_that_are_there(tmp_path: Path) -> None:
    """A mistyped file name is answered with the names that exist."""
    written(tmp_path)
    (problem,) = check_sheet(tmp_path / "boy.toml")
    assert problem.what == "there is no such check sheet"
    assert "bay.toml" in problem.remedy
    with pytest.raises(SheetError, match="no such check sheet"):
        load_sheet(tmp_path / "boy.toml")


def test_a_sheet_in_another_encoding_is_named_with_its_line(tmp_path: Path) -> None:
    """Bytes that are not UTF-8 are reported at the line they are on."""
    path = written(tmp_path)
    path.write_bytes(SHEET.replace('title = "Bay"', 'title = "B\u00e4y"').encode("latin-1"))
    (problem,) = check_sheet(path)
    assert (problem.line, problem.what) == (3, "the check sheet is not UTF-8 text")


@pytest.mark.parametrize("text", ["", '[sheet]\nid = "a"\ntitle = "A"\nedition = "1"\n'])
def test_an_empty_sheet_is_refused(text: str, tmp_path: Path) -> None:
    """A sheet with nothing to inspect cannot start a walk that would count as complete."""
    problems = check_sheet(written(tmp_path, sheet=text))
    assert any("empty" in p.what or "missing" in p.what for p in problems)
    assert all(p.severity == "error" for p in problems)


def test_a_stop_without_caution_is_a_warning_only(tmp_path: Path) -> None:
    """A sheet can be used while its author still has cautions to write."""
    text, line = changed(
        SHEET,
        '[[stop]]\nid = "rear"\nname = "left rear"\ncautions = ["Chock the wheels."]',
        '[[stop]] #!\nid = "rear"\nname = "left rear"',
    )
    path = written(tmp_path, sheet=text)
    (problem,) = check_sheet(path)
    assert (problem.line, problem.severity) == (line, "warning")
    assert load_sheet(path).stop("rear").cautions == ()


def test_every_problem_is_listed_and_the_first_is_raised(tmp_path: Path) -> None:
    """An author mends a sheet in one pass; the error that is raised counts the rest."""
    text = SHEET.replace('aspects = ["leak"]', 'aspects = ["leek"]')
    path = written(tmp_path, sheet=text)
    problems = check_sheet(path)
    assert [p.what for p in problems] == ['unknown aspect "leek"'] * 3
    assert [p.line for p in problems] == sorted({p.line for p in problems})
    with pytest.raises(SheetError) as raised:
        load_sheet(path)
    assert raised.value.where == f"{path}:{problems[0].line}"
    assert "2 more problems" in raised.value.remedy
