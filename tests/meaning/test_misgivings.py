"""What a pass must not be made of, although its phrase was heard well.

The wordings are common practice, no published source.
"""

from __future__ import annotations

import pytest

from voicelog.meaning.misgivings import misgiving
from voicelog.sheet.model import Sheet


@pytest.mark.parametrize(
    ("phrase", "free", "asks"),
    [
        ("left lift cylinder is secure", "Left lift cylinder insecure.", True),
        ("left lift cylinder is secure", "Left lift cylinder is secure.", False),
        ("left lift cylinder secure", "left lift cylinder secured", False),
        ("pitman arm is tight", "Pitman arm, is it tight?", True),
        ("oil filter dry", "Oil filter's not dry.", True),
        ("oil filter dry", "The oil filter isn\N{RIGHT SINGLE QUOTATION MARK}t dry", True),
        ("oil filter no leaks", "oil filter, no leaks", False),
        ("left slack adjuster travel one and one eighth", "one and one eighth seconds", True),
        ("left slack adjuster travel one and one eighth inches", "1 and 1 8 seconds", False),
        ("primary air tank is one hundred ten", "primary air tank 110", False),
        ("oil filter dry", "", False),
    ],
)
def test_a_denial_a_question_and_another_unit_are_asked_about(
    engine_bay: Sheet, phrase: str, free: str, asks: bool
) -> None:
    """The unconstrained reading is only ever a reason to ask."""
    assert bool(misgiving(tuple(phrase.split()), free, engine_bay.lexicon)) == asks
