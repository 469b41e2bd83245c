"""Words of a sheet that a Vosk model does not know, where they are written, and what to say instead."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from voicelog.hearing.vosk.folder import find_vosk
from voicelog.hearing.vosk.vocabulary import Vocabulary, read_vocabulary
from voicelog.phrases.expression import all_words
from voicelog.phrases.sheet_grammar import sheet_grammar
from voicelog.sheet import Problem, Unit, load_sheet, spoken_phrases


def check_words(sheet_path: Path, model: Path, unit: Unit | None = None) -> tuple[Problem, ...]:
    """Return a warning for each phrase of a sheet that a model cannot hear.

    What can be said beside the sheet and its lexicon (numbers, control words, small words) is told
    under the sheet's own name, without a line. Reads the model's words without loading the model.
    Raises :class:`~voicelog.errors.ModelError` and :class:`~voicelog.errors.SheetError`.
    """
    known = read_vocabulary(find_vosk(model))
    return tuple(_problems(sheet_path, known, unit))


def _problems(sheet_path: Path, known: Vocabulary, unit: Unit | None) -> Iterator[Problem]:
    written: set[str] = set()
    remedies: dict[str, str] = {}
    phrases = spoken_phrases(sheet_path, unit=unit)
    said = {word for phrase in phrases for word in phrase.text.split()}
    if len(said - known.words) > len(said) / 2:
        what = f"the model knows only {len(said & known.words)} of the {len(said)} words of this sheet"
        remedy = "Use a model of the sheet's language; models_readme says which."
        yield Problem(str(sheet_path), 0, what, remedy, "warning")
        return
    for phrase in phrases:
        words = phrase.text.split()
        written.update(words)
        for word in words:
            if word not in known.words:
                what = f'the model does not know "{word}", so "{phrase.text}" cannot be heard'
                if word not in remedies:
                    remedies[word] = _remedy(word, known)
                yield Problem(phrase.path, phrase.line, what, remedies[word], "warning")
    sheet = load_sheet(sheet_path, unit=unit)
    own: set[str] = set()
    for stop in sheet.stops:
        own |= all_words(sheet_grammar(sheet, stop.id))
    unknown = sorted(own - written - known.words)
    if unknown:
        listed = ", ".join(unknown)
        what = f"the model does not know these of voicelog's own words (numbers, control words): {listed}"
        remedy = "Use a model of the sheet's language; until then the keys and the keyboard still work."
        yield Problem(str(sheet_path), 0, what, remedy, "warning")


def _remedy(word: str, known: Vocabulary) -> str:
    instead = known.suggestion(word)
    if instead is None:
        return "Say it in other words; the model has none like it."
    return f'Say it in other words, such as "{instead}" if that means the same.'
