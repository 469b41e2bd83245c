"""What a lexicon that is not English must still say. Pure: tables in, faults out."""

from __future__ import annotations

from collections.abc import Iterator

from voicelog.sheet.build import build_language
from voicelog.sheet.checks import Fault
from voicelog.sheet.problems import suggestion
from voicelog.sheet.schema import LexiconFile
from voicelog.sheet.spoken import CONTROL_PHRASES, MAY_BE_LEFT_OUT, letters_fault


def check(file: LexiconFile) -> Iterator[Fault]:
    """Yield the faults of a lexicon's language and control words."""
    language = build_language(file)
    if language is None:
        if file.command:
            what = "the control words of an English lexicon are voicelog's own"
            yield ("command", 0), what, "Take the [[command]] out, or add a [language] table.", "error"
        return
    taken: dict[str, str] = {}
    for i, command in enumerate(file.command):
        path = ("command", i)
        if command.id not in CONTROL_PHRASES:
            what = f'unknown control word "{command.id}"'
            yield (*path, "id"), what, suggestion(command.id, CONTROL_PHRASES), "error"
        for j, phrase in enumerate(command.say):
            if found := letters_fault(phrase, language):
                yield ((*path, "say", j), *found, "error")
            # As "negative" in English, one word may be both an answer and a correction.
            other = taken.setdefault(phrase, command.id)
            if other != command.id and "correction" not in (other, command.id):
                what = f'"{phrase}" is said for two control words, "{other}" and "{command.id}"'
                yield (*path, "say", j), what, "Leave it with one of them.", "error"
    for name in sorted(
        set(CONTROL_PHRASES) - set(MAY_BE_LEFT_OUT) - {command.id for command in file.command if command.say}
    ):
        what = f'there is no way to say "{name}" in {language.name}'
        remedy = f'Add a [[command]] with id = "{name}" and say = [...]; until then only the keys do it.'
        yield ("language",), what, remedy, "warning"
    small = file.language
    assert small is not None
    for key, phrases in small.model_dump(by_alias=True, exclude={"name"}).items():
        for j, phrase in enumerate(phrases):
            if found := letters_fault(phrase, language):
                yield (("language", key, j), *found, "error")
