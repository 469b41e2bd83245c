"""What the tests of faults are made of: the command, run here or apart, and a recogniser."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from click.testing import CliRunner, Result

from voicelog.cli import main
from voicelog.clock import now
from voicelog.hearing.recogniser import Decoding, Hypothesis, Utterance
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.walk.events import EntryLogged
from voicelog.walk.replies import Update

ROOT = Path(__file__).parents[2]
UNIT = ROOT / "samples" / "engine_61.toml"
BAY = ROOT / "tests" / "reports" / "bay.toml"
"""A small sheet, so that its grammar is compiled at once."""
TYPED = ("walk", "--plain", "--keyboard", "--unit", str(UNIT), "--sheet", str(BAY), "--operator", "R. Alder")

SAID = "affirmative\n" * 3 + "left lift cylinder dripping\n"
"""The cautions of that sheet and of its first stop are affirmed, and then a defect is said."""
NOT_COMPLETE = "is not complete; the same command takes it up again"


class Listed:
    """A recogniser that hears what it is told; meets :class:`voicelog.hearing.recogniser.Recogniser`."""

    name, model_sha256, text = "list", "", ""

    def __init__(self, *phrases: str) -> None:
        self._phrases = iter(phrases)

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        """Return the next phrase, refused where it cannot be said."""
        self.text = next(self._phrases)
        words = tuple(self.text.split())
        if not graph.accepts(words):
            return Decoding((), 1.0, self.text, 0.0, "not a phrase that can be said here")
        return Decoding((Hypothesis(words, 0.0, 1.0),), 0.0, self.text, 0.0)

    def dictate(self, utterance: Utterance) -> str:
        """Return the words of the last decoding."""
        return self.text


def command(*arguments: str | Path, typed: str = "") -> Result:
    """Run the command in this process with ``typed`` on standard input."""
    return CliRunner().invoke(main, [str(a) for a in arguments], input=typed)


def start(
    *arguments: str | Path, before: Callable[[], object] | None = None, **more: Any
) -> subprocess.Popen[str]:
    """Start the command in a process of its own, with pipes where ``more`` does not say otherwise."""
    pipe = subprocess.PIPE
    streams: dict[str, Any] = {"stdin": pipe, "stdout": pipe, "stderr": pipe} | more
    environment = os.environ | {"PYTHONPATH": str(ROOT)} | streams.pop("env", {})
    line = [sys.executable, "-m", "voicelog.cli", *(str(a) for a in arguments)]
    return subprocess.Popen(line, text=True, env=environment, preexec_fn=before, **streams)


def is_told(code: int, said: str, *parts: str) -> None:
    """Check that an error ended with exit code 2 and was told with what, where and what to do."""
    assert code == 2, said
    assert "Traceback" not in said
    for part in (*parts, "What to do: "):
        assert part in said, said
    remedy = said.partition("What to do: ")[2].strip()
    assert len(remedy.split()) >= 3, said


def kinds(update: Update) -> list[str]:
    """Return the kinds of what is replied, without the cautions that go with a stop."""
    return [reply.kind for reply in update.replies if reply.kind != "caution"]


def walks(data: Path) -> list[str]:
    """Return the ids of the walks in a data folder."""
    with Store.open(data, clock=now) as store:
        return [walk.walk for walk in store.walks()]


def entries(data: Path) -> int:
    """Return how many entries the only walk has; its record must be whole."""
    with Store.open(data, clock=now) as store:
        (walk,) = store.walks()
        assert store.verify_all() == ()
        return sum(isinstance(stored.event, EntryLogged) for stored in store.events(walk.walk))
