"""A system in its own process, as the parent sees it."""

from __future__ import annotations

import base64
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from types import TracebackType
from typing import Any

from tests.benchmarks.hearing.mixing import Pcm
from tests.benchmarks.hearing.results import Answer, Identity
from tests.benchmarks.hearing.systems import Setup
from voicelog.errors import VoicelogError

ROOT = Path(__file__).parents[3]


class Process:
    """Starts a system; use it in a ``with`` statement. Each answer is waited for."""

    def __init__(self, system: str, setup: Setup) -> None:
        self._system = system
        self._errors = tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace")  # noqa: SIM115 - closed in __exit__
        spec = {
            "system": system,
            "grammar": str(setup.grammar.resolve()),
            "model": str(setup.model.resolve()) if setup.model else None,
            "threads": setup.threads,
            "prompt": setup.prompt,
            "cutoff": setup.cutoff,
        }
        threads = {name: str(setup.threads) for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")}
        self._started = time.perf_counter()
        self._child = subprocess.Popen(
            [sys.executable, "-m", f"{__package__}.worker", json.dumps(spec)],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._errors,
            text=True,
            env={**os.environ, **threads, "HF_HUB_OFFLINE": "1"},
        )
        try:
            self.identity = Identity.model_validate(self._receive("ready"))
        except BaseException:
            self._close()
            raise
        self.ready_s = time.perf_counter() - self._started
        """Seconds from the start of the process until it could take sound."""
        self.first_answer_s = 0.0
        """Seconds from the start of the process to its first answer; 0 before."""

    def __enter__(self) -> Process:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._close()

    def answer(self, pcm: Pcm) -> Answer:
        """Return what the system makes of mono 16-bit samples. Raises :class:`VoicelogError`."""
        self._send(base64.b64encode(pcm.tobytes()).decode("ascii") + "\n")
        answer = Answer.model_validate(self._receive("answer"))
        self.first_answer_s = self.first_answer_s or time.perf_counter() - self._started
        return answer

    def finish(self) -> float:
        """End the process and return its highest memory, in 10^6 bytes."""
        assert self._child.stdin is not None
        self._child.stdin.close()
        return float(self._receive("peak_mb"))

    def _close(self) -> None:
        for pipe in (self._child.stdin, self._child.stdout):
            if pipe is not None:
                pipe.close()
        self._child.wait()
        self._errors.close()

    def _send(self, line: str) -> None:
        assert self._child.stdin is not None
        try:
            self._child.stdin.write(line)
            self._child.stdin.flush()
        except BrokenPipeError:
            raise self._died() from None

    def _receive(self, wanted: str) -> Any:
        assert self._child.stdout is not None
        line = self._child.stdout.readline()
        if not line.endswith("\n"):
            raise self._died()
        kind, value = json.loads(line)
        if kind == "error":
            what, where, remedy = value
            raise VoicelogError(what, where=where, remedy=remedy)
        assert kind == wanted, (kind, wanted)
        return value

    def _died(self) -> VoicelogError:
        self._child.wait()
        self._errors.seek(0)
        said = self._errors.read().strip().splitlines()
        return VoicelogError(
            f"its process ended with code {self._child.returncode}: {said[-1] if said else 'no message'}",
            where=self._system,
            remedy="the rows so far are kept; run the same command to go on, or leave the system out",
        )
