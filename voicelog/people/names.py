"""Names of people: how they are kept, and that no two can be taken for one another; pure."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from functools import cache

from voicelog.errors import PersonError

_LONGEST_NAME = 80
_ALIKE = frozenset(("LATIN", "GREEK", "CYRILLIC", "ARMENIAN", "CHEROKEE"))
"""Scripts with letters of one shape. Others are rightly mixed, as in Japanese names."""


def checked_name(name: str) -> str:
    """Return a person's name as it is kept: composed (Unicode NFC), with single spaces.

    Raises PersonError for marks that cannot be seen, and for a word of letters of two scripts: it looks
    like a name that it is not.
    """
    name = unicodedata.normalize("NFC", " ".join(name.split()))
    # Cc: control characters; Cf: marks that cannot be seen; Cs: bytes that were not text.
    odd = any(unicodedata.category(letter) in ("Cc", "Cf", "Cs") for letter in name)
    if not name or len(name) > _LONGEST_NAME or odd:
        raise PersonError(
            "this cannot be a person's name",
            remedy=f"write it with letters, spaces and marks, {_LONGEST_NAME} at most",
        )
    for word in name.split():
        if _of_two_scripts(word):
            raise PersonError(
                f"'{word}' has letters of two scripts that look alike",
                remedy="type the name again with one keyboard layout",
            )
    return name


def looks_like(name: str, others: Iterable[str]) -> str | None:
    """Return which of the names ``others`` this one can be taken for on paper; None where none.

    Letters are alike as the data of Unicode Technical Standard 39, confusables, says they are.
    """
    seen = {_skeleton(name), _skeleton(name.casefold())}
    return next((o for o in others if seen & {_skeleton(o), _skeleton(o.casefold())}), None)


def _of_two_scripts(word: str) -> bool:
    from confusable_homoglyphs.categories import unique_aliases

    return len(_ALIKE & set(unique_aliases(word))) > 1


def _skeleton(name: str) -> str:
    alike = _alike()
    return "".join(
        alike.get(letter, letter) for letter in unicodedata.normalize("NFKC", name) if not letter.isspace()
    )


@cache
def _alike() -> dict[str, str]:
    """Return for each letter that has look-alikes the one that stands for all of them."""
    from confusable_homoglyphs.confusables import confusables_data

    stands: dict[str, str] = {}
    for letter in confusables_data:
        if letter in stands:
            continue
        # What looks like a look-alike counts too: the data name each pair from one side only.
        left = [letter]
        while left:
            if (one := left.pop()) not in stands:
                stands[one] = letter
                left += [c["c"] for c in confusables_data.get(one, ()) if len(c["c"]) == 1]
    return stands
