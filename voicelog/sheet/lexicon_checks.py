"""What a well-formed lexicon must still satisfy.

Pure: tables in, faults out, as in :mod:`voicelog.sheet.checks`. Every defect has a class, so
that no defect is of unknown weight; no phrase means two conditions.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from voicelog.sheet import language_checks
from voicelog.sheet.build import build_language
from voicelog.sheet.checks import Fault, check_id, check_phrases
from voicelog.sheet.lines import KeyPath
from voicelog.sheet.model import Language
from voicelog.sheet.problems import suggestion
from voicelog.sheet.schema import ConditionTable, LexiconFile
from voicelog.sheet.units import known_unit


def check(file: LexiconFile) -> Iterator[Fault]:
    """Yield every fault of a lexicon."""
    if not file.condition:
        yield (), "the lexicon is empty: it has no condition", "Add a [[condition]].", "error"
    yield from _unique_ids(file)
    yield from language_checks.check(file)
    language = build_language(file)
    aspects = [aspect.id for aspect in file.aspect]
    classes = [defect_class.id for defect_class in file.class_]
    for i, defect_class in enumerate(file.class_):
        if defect_class.rank < 1:
            what = f'the class "{defect_class.id}" has rank {defect_class.rank}'
            yield ("class", i, "rank"), what, "Write 1 for the least, and more for worse.", "error"
        if not defect_class.source.strip():
            what = f'the class "{defect_class.id}" has no source'
            yield ("class", i, "source"), what, "Say who defined it, with the edition.", "error"
    for i, condition in enumerate(file.condition):
        yield from _check_condition(("condition", i), condition, aspects, classes, language)
    yield from _shared_phrases(file)
    for i, measure in enumerate(file.measure):
        yield from check_phrases(("measure", i), None, measure.say, language)
        if not known_unit(measure.unit):
            what = f'pint does not know the unit "{measure.unit}"'
            remedy = "Write a unit of pint's default registry, such as inch, psi, volt or quart."
            yield ("measure", i, "unit"), what, remedy, "error"
    for i, side in enumerate(file.side):
        yield from check_phrases(("side", i), None, side.say, language)
        if side.id == "none":
            what = 'the side "none" is never said'
            yield ("side", i), what, "Take it out; write only left and right.", "error"
    for wanted in ("left", "right"):
        if wanted not in {side.id for side in file.side}:
            what = f'the lexicon does not say how the side "{wanted}" is spoken'
            yield (), what, f'Add a [[side]] with id = "{wanted}" and say = ["{wanted}"].', "error"


def _unique_ids(file: LexiconFile) -> Iterator[Fault]:
    tables: dict[str, tuple[str, list[str]]] = {
        "aspect": ("id", [row.id for row in file.aspect]),
        "class": ("id", [row.id for row in file.class_]),
        "condition": ("id", [row.id for row in file.condition]),
        "measure": ("unit", [row.unit for row in file.measure]),
        "side": ("id", [row.id for row in file.side]),
    }
    for table, (key, ids) in tables.items():
        seen: Counter[str] = Counter()
        for i, name in enumerate(ids):
            seen[name] += 1
            if table in ("aspect", "class", "condition"):
                yield from check_id((table, i, key), name)
            if seen[name] == 2:
                what = f'the {table} {key} "{name}" is used twice'
                yield (table, i, key), what, "Put the two together, or rename one.", "error"


def _check_condition(
    path: KeyPath,
    condition: ConditionTable,
    aspects: list[str],
    classes: list[str],
    language: Language | None,
) -> Iterator[Fault]:
    yield from check_phrases(path, None, condition.say, language)
    if condition.aspect not in aspects:
        what = f'unknown aspect "{condition.aspect}"'
        yield (*path, "aspect"), what, suggestion(condition.aspect, aspects), "error"
    if condition.class_id is not None and condition.class_id not in classes:
        what = f'unknown class "{condition.class_id}"'
        yield (*path, "class"), what, suggestion(condition.class_id, classes), "error"
    if condition.polarity == "defect" and condition.class_id is None:
        what = f'the defect "{condition.id}" has no class, so its weight is unknown'
        yield path, what, "Add class = to it: one of " + ", ".join(classes) + ".", "error"
    if condition.polarity == "sound" and condition.class_id is not None:
        what = f'the sound condition "{condition.id}" has a class of defect'
        yield (*path, "class"), what, "Take the class out, or make it a defect.", "error"


def _shared_phrases(file: LexiconFile) -> Iterator[Fault]:
    taken: dict[str, ConditionTable] = {}
    for i, condition in enumerate(file.condition):
        for j, phrase in enumerate(condition.say):
            other = taken.setdefault(phrase, condition)
            if other is not condition:
                what = f'"{phrase}" is said for two conditions, "{other.id}" and "{condition.id}"'
                yield ("condition", i, "say", j), what, "Leave it with one of them.", "error"
    sides: dict[str, str] = {}
    for i, side in enumerate(file.side):
        for j, phrase in enumerate(side.say):
            path = ("side", i, "say", j)
            if sides.setdefault(phrase, side.id) != side.id:
                what = f'"{phrase}" is said for both left and right'
                yield path, what, "Leave it with one of them.", "error"
            if phrase in taken:
                what = f'"{phrase}" is said for a side and for the condition "{taken[phrase].id}"'
                yield path, what, "Leave it with one of them.", "error"
