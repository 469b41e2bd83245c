"""What is inspected: check sheets, the lexicon of trade words, and units."""

from voicelog.sheet.extent import EXTENTS, of_extent
from voicelog.sheet.load import (
    check_lexicon,
    check_limits,
    check_sheet,
    check_unit,
    load_lexicon,
    load_limits,
    load_sheet,
    load_unit,
    sheet_needs_unit,
    spoken_phrases,
)
from voicelog.sheet.model import (
    Basis,
    Caution,
    Condition,
    DefectClass,
    Extent,
    Lexicon,
    Limit,
    Measure,
    Point,
    Polarity,
    Reading,
    Sheet,
    Side,
    Stop,
    Unit,
)
from voicelog.sheet.places import SpokenPhrase
from voicelog.sheet.problems import Problem
from voicelog.sheet.spoken import CONTROL_PHRASES

__all__ = [
    "CONTROL_PHRASES",
    "EXTENTS",
    "Basis",
    "Caution",
    "Condition",
    "DefectClass",
    "Extent",
    "Lexicon",
    "Limit",
    "Measure",
    "Point",
    "Polarity",
    "Problem",
    "Reading",
    "Sheet",
    "Side",
    "SpokenPhrase",
    "Stop",
    "Unit",
    "check_lexicon",
    "check_limits",
    "check_sheet",
    "check_unit",
    "load_lexicon",
    "load_limits",
    "load_sheet",
    "load_unit",
    "of_extent",
    "sheet_needs_unit",
    "spoken_phrases",
]
