"""A recorded walk with its script: what was said, when, and what must come of it.

Pure: reads files and compares. The walk itself is run by whoever calls :func:`score` with its
events.
"""

from voicelog.demo.outcomes import Outcome, read_outcome
from voicelog.demo.scoring import LineScore, PassedDefect, Score, Verdict, score
from voicelog.demo.script import Line, Script, load_script
from voicelog.demo.table import closing_table

__all__ = [
    "Line",
    "LineScore",
    "Outcome",
    "PassedDefect",
    "Score",
    "Script",
    "Verdict",
    "closing_table",
    "load_script",
    "read_outcome",
    "score",
]
