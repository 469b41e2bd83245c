"""The colours of the screens, and which state wears which.

The hues are those of Okabe and Ito, "Color Universal Design" (2002, revised 2008), chosen so that
people with any kind of colour vision can tell them apart. A colour is never the only carrier of a
meaning: every state also has a sign and a word.
"""

from __future__ import annotations

from voicelog.walk.replies import ReplyKind
from voicelog.walk.state import PointStatus

ORANGE = "#E69F00"
SKY_BLUE = "#56B4E9"
BLUISH_GREEN = "#009E73"
YELLOW = "#F0E442"
VERMILLION = "#D55E00"
REDDISH_PURPLE = "#CC79A7"

GROUND = "#0C0F13"
RAISED = "#181D23"
RULE = "#3A434E"
TEXT = "#F2F4F6"
QUIET = "#AEB8C2"

STATUS_COLOUR: dict[PointStatus, str] = {
    "open": QUIET,
    "sound": BLUISH_GREEN,
    "defect": VERMILLION,
    "doubt": YELLOW,
}

# "Taken" is not green: a defect that was taken must not look like a pass.
REPLY_COLOUR: dict[ReplyKind, str] = {
    "taken": SKY_BLUE,
    "doubt": YELLOW,
    "not understood": ORANGE,
    "answer": TEXT,
    "caution": ORANGE,
    "trouble": REDDISH_PURPLE,
}


def label(colour: str) -> str:
    """Return the style of a label: dark letters on the colour."""
    return f"bold {GROUND} on {colour}"
