"""What can be said of a timed test: its start, and while it runs its readings and its end.

Spans: ``timed`` (``start``, ``mark`` or ``stop``), inside it ``test`` (``point/test``, the ids) and
``value`` (the reading). While a test runs only that test can be spoken of: the less can be said, the
better it is heard.
"""

from __future__ import annotations

from voicelog.phrases.commands import language_of
from voicelog.phrases.expression import Expression, Maybe, Null, Tag, choice, phrases, sequence, words
from voicelog.phrases.quantities import quantity_expression
from voicelog.sheet.model import Lexicon, Point, Sheet, TimedTest

Running = tuple[str, str]
"""The point's id and the test's."""


def has_timed(sheet: Sheet) -> bool:
    """Return whether a sheet has any timed test."""
    return any(point.timed for point in sheet.points.values())


def timed_expression(sheet: Sheet, running: Running | None) -> Expression | None:
    """Return what can be said of timed tests now; None where nothing can be."""
    if running is not None:
        point = sheet.points[running[0]]
        return _while_running(point, point.timed_test(running[1]), sheet.lexicon)
    language = language_of(sheet.lexicon)
    tests = [(point, test) for point in sheet.points.values() for test in point.timed]
    if not language.start or not tests:
        return None
    named = choice(
        sequence(_named(point, test, sheet.lexicon), Maybe(_reading(point, test, sheet.lexicon) or Null()))
        for point, test in tests
    )
    return Tag("timed", "start", sequence(phrases(language.start), _maybe(language.the), named))


def _while_running(point: Point, test: TimedTest, lexicon: Lexicon) -> Expression | None:
    language = language_of(lexicon)
    reading = _reading(point, test, lexicon)
    forms: list[Expression] = []
    if language.stop:
        lead, the = phrases(language.stop), _maybe(language.the)
        ends = sequence(the, _named(point, test, lexicon), Maybe(reading or Null()))
        forms.append(Tag("timed", "stop", sequence(lead, choice((ends, reading)) if reading else ends)))
    if reading is not None:
        mark = phrases(language.mark) if language.mark else None
        if test.by_reading:
            forms.append(Tag("timed", "mark", sequence(Maybe(mark) if mark else Null(), reading)))
        elif mark is not None:
            forms.append(Tag("timed", "mark", sequence(mark, reading)))
    return choice(forms) if forms else None


def _named(point: Point, test: TimedTest, lexicon: Lexicon) -> Expression:
    said = Tag("test", f"{point.id}/{test.id}", phrases(test.result.say))
    return sequence(said, Maybe(words("test"))) if lexicon.language is None else said


def _reading(point: Point, test: TimedTest, lexicon: Lexicon) -> Expression | None:
    """Return the reading of a test as it is said with it, without its name."""
    if test.reading_id is None:
        return None
    reading = point.reading(test.reading_id)
    quantity = quantity_expression(reading, lexicon.measures.get(reading.unit))
    return sequence(_maybe(language_of(lexicon).at), quantity)


def _maybe(said: tuple[str, ...]) -> Expression:
    return Maybe(phrases(said)) if said else Null()
