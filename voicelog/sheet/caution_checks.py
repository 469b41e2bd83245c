"""What a caution must be so that a person can affirm it. Pure: tables in, faults out."""

from __future__ import annotations

from collections.abc import Iterator

from voicelog.sheet.checks import Fault, check_phrases
from voicelog.sheet.lines import KeyPath
from voicelog.sheet.model import Lexicon
from voicelog.sheet.schema import CautionTable, SheetFile


def check(file: SheetFile, lexicon: Lexicon | None) -> Iterator[Fault]:
    """Yield the faults of a sheet's cautions; without a lexicon, as if it were English."""
    language = lexicon.language if lexicon is not None else None
    for path, caution in cautions(file):
        if not caution.text.strip():
            what = "a caution without words cannot be read out"
            yield path, what, "Write what can hurt a person here, or take the caution out.", "error"
        yield from check_phrases(path, None, caution.say, language)
        if language is not None and not caution.say and not language.commands.get("affirmative"):
            what = "nobody could affirm this caution: there is no word for it"
            yield path, what, 'Add say = [...] to it, or a [[command]] with id = "affirmative".', "error"


def cautions(file: SheetFile) -> Iterator[tuple[KeyPath, CautionTable]]:
    """Yield the cautions of a sheet and of its stops with their key paths."""
    for k, caution in enumerate(file.sheet.cautions):
        yield ("sheet", "cautions", k), caution
    for i, stop in enumerate(file.stop):
        for k, caution in enumerate(stop.cautions):
            yield ("stop", i, "cautions", k), caution
