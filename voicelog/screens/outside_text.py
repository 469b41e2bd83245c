"""Text that came from outside (names, sheets, speech, typing) made safe to show.

Invariant: what :func:`visible` returns is one line without terminal escapes, control characters
or marks that reorder text. Markup is not its business: views hand text over as plain text.
"""

from __future__ import annotations

import unicodedata

from rich.text import Text

_PLAIN = str.maketrans(
    {
        "\u2018": "'",
        "\u2019": "'",
        "\u201c": '"',
        "\u201d": '"',
        "\u2013": "-",
        "\u2014": "-",
        "\u2026": "...",
    }
)


def visible(text: str) -> str:
    """Return the text as one line that can do nothing to a terminal."""
    if text.isprintable():
        return text.strip()  # nothing in it does anything; most texts are so
    # from_ansi drops whole escape sequences, so that "\x1b[31m" does not leave "[31m" behind.
    parts = (Text.from_ansi(line).plain for line in text.splitlines())
    joined = " ".join(part.strip() for part in parts if part.strip())
    return "".join(c for c in joined.replace("\t", " ") if unicodedata.category(c)[0] != "C")


def shortened(text: str, most: int) -> str:
    """Return the text in at most ``most`` characters, for a place that tells it in full elsewhere."""
    return text if len(text) <= most else f"{text[: most - 3].rstrip()}..."


def in_ascii(text: str) -> str:
    """Return the text for an output that knows only ASCII; accents go, unknown letters become ``?``."""
    decomposed = unicodedata.normalize("NFKD", text.translate(_PLAIN))
    bare = "".join(c for c in decomposed if not unicodedata.combining(c))
    return bare.encode("ascii", "replace").decode("ascii")
