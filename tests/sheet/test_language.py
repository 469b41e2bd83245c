"""A lexicon in another language: its own control words and small words, and what it must still say."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.conftest import ROOT
from tests.sheet.making import LEXICON
from voicelog.phrases.compiling import compile_grammar
from voicelog.phrases.graph import PhraseGraph
from voicelog.phrases.sheet_grammar import listening_grammar, sheet_grammar
from voicelog.sheet import check_lexicon, check_sheet, load_sheet
from voicelog.sheet.model import Sheet
from voicelog.sheet.spoken import CONTROL_PHRASES, MAY_BE_LEFT_OUT

KOREAN = ROOT / "tests" / "korean" / "bay.toml"


@pytest.fixture(scope="module")
def sheet() -> Sheet:
    return load_sheet(KOREAN)


@pytest.fixture(scope="module")
def graph(sheet: Sheet) -> PhraseGraph:
    return compile_grammar(sheet_grammar(sheet, "driver"))


def problems(folder: Path, lexicon: str) -> list[str]:
    path = folder / "lexicon.toml"
    path.write_text(lexicon, encoding="utf-8")
    return [f"{p.line} {p.severity} {p.what}" for p in check_lexicon(path)]


def test_the_korean_sheet_is_whole() -> None:
    """No mistake and no warning: every control word has its Korean."""
    assert check_sheet(KOREAN) == ()


@pytest.mark.parametrize(
    ("said", "span"),
    [
        ("왼쪽 브레이크 마모", ("condition", "worn")),
        ("브레이크 마모 그리고 파손", ("condition", "broken")),
        ("마모", ("condition", "worn")),
        ("정정 마모", ("correction", "")),
        ("이동 적재함", ("goto", "locker")),
        ("다음 장소", ("command", "next stop")),
        ("점검 완료", ("command", "walk complete")),
        ("오른쪽", ("side", "right")),
    ],
)
def test_what_can_be_said_in_korean(graph: PhraseGraph, said: str, span: tuple[str, str]) -> None:
    """The same meanings as in English, by their ids."""
    (parse,) = graph.parse(tuple(said.split()))
    assert span in [(s.name, s.value) for s in parse]


@pytest.mark.parametrize("said", ["next stop", "go to 적재함", "the 브레이크 마모", "브레이크 is 마모"])
def test_english_small_words_are_not_said(graph: PhraseGraph, said: str) -> None:
    """Another language has its own or none."""
    assert not graph.parse(tuple(said.split()))


def test_the_walk_listens_for_its_own_word_while_standing_by(sheet: Sheet) -> None:
    """Resume is heard in the lexicon's language."""
    language = sheet.lexicon.language
    assert language is not None
    standing_by = compile_grammar(listening_grammar(("resume",), language))
    assert standing_by.accepts(("계속",)) and not standing_by.accepts(("resume",))


def test_control_words_without_a_language_are_an_error(tmp_path: Path) -> None:
    """English ones are voicelog's own."""
    (found,) = problems(tmp_path, '[[command]]\nid = "resume"\nsay = ["go on"]\n' + LEXICON)
    assert found == "1 error the control words of an English lexicon are voicelog's own"


def test_each_control_word_that_cannot_be_said_is_named(tmp_path: Path) -> None:
    """A warning for each that a walk needs: the keys still do it."""
    found = problems(tmp_path, '[language]\nname = "Danish"\n' + LEXICON)
    assert len(found) == len(CONTROL_PHRASES) - len(MAY_BE_LEFT_OUT)
    assert all(line.startswith("1 warning there is no way to say") for line in found)


@pytest.mark.parametrize(
    ("command", "fault"),
    [
        ('id = "resum"\nsay = ["videre"]', 'unknown control word "resum"'),
        ('id = "resume"\nsay = ["Videre"]', "has capital letters in it"),
        ('id = "resume"\nsay = ["vide re!"]', "has punctuation in it"),
        ('id = "resume"\nsay = ["dry"]', "is a control word and cannot name anything else"),
        ('id = "resume"\nsay = ["\\u0061\\u030a"]', "put together from parts"),
    ],
)
def test_mistakes_in_control_words(tmp_path: Path, command: str, fault: str) -> None:
    """Each by its line, beside the warnings."""
    text = f'[language]\nname = "Danish"\n[[command]]\n{command}\n{LEXICON}'
    errors = [line for line in problems(tmp_path, text) if " error " in line]
    assert len(errors) == 1 and fault in errors[0]


def test_values_are_refused_in_another_language(tmp_path: Path) -> None:
    """Spoken numbers are English; a reading that nobody could say must not be in a sheet."""
    text = KOREAN.read_text(encoding="utf-8")
    reading = '[[stop.point.reading]]\nid = "play"\nname = "간격"\nunit = "inch"\nrange = [0, 2]\n'
    (tmp_path / "bay.toml").write_text(text + reading + 'resolution = "1/2"\n', encoding="utf-8")
    lexicon = (KOREAN.parent / "lexicon.toml").read_text(encoding="utf-8")
    measure = '\n[[measure]]\nunit = "inch"\nsymbol = "in"\nsay = ["인치"]\n'
    (tmp_path / "lexicon.toml").write_text(lexicon + measure, encoding="utf-8")
    (found,) = check_sheet(tmp_path / "bay.toml")
    assert found.severity == "error" and "values can only be said in English" in found.what
