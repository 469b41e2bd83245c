"""A removal that is cut off at any step leaves every walk whole, or its removal told."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import ROOT


@pytest.mark.parametrize(("how", "what"), [("kill", "walks"), ("kill", "sound"), ("raise", "walks")])
def test_cut_off_at_every_step(tmp_path: Path, how: str, what: str) -> None:
    """Killed as by ``kill -9``, or with the disk full, before each of its steps in turn."""
    program = [sys.executable, "-m", "tests.records.removing", str(tmp_path), how, what]
    done = subprocess.run(program, cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    ended = re.search(r"ended after (\d+) steps; (\d+) whole, (\d+) told", done.stdout)
    assert ended is not None, done.stdout
    steps, whole, told = map(int, ended.groups())
    # Both sides of the one moment that decides were tried.
    assert steps >= 15 and whole >= 10 and told >= 2
