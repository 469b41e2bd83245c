"""What decides must run without a screen, a database, a microphone or a speech engine."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

HEAVY = ("ctranslate2", "sounddevice", "sqlite3", "textual")


def imported_with(module: str) -> set[str]:
    """Return the top-level modules that importing ``module`` in a new interpreter brings in."""
    program = (
        f"import json, sys, {module}\n"
        "print(json.dumps(sorted({name.partition('.')[0] for name in sys.modules})))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    return set(json.loads(done.stdout))


@pytest.mark.parametrize(
    "module", ["voicelog.meaning.interpret", "voicelog.walk.decide", "voicelog.walk.review"]
)
def test_what_decides_imports_nothing_heavy(module: str) -> None:
    """Interpretation and the walk are importable where no device, database or engine is."""
    assert imported_with(module).isdisjoint(HEAVY)


def test_the_command_line_answers_before_anything_heavy_is_loaded() -> None:
    """Help comes at once: an engine or a screen is loaded only by the command that needs it."""
    assert imported_with("voicelog.cli").isdisjoint(HEAVY)


def test_what_is_imported_is_seen() -> None:
    """The check above would notice: the record store does bring in the database."""
    assert "sqlite3" in imported_with("voicelog.records.store")
