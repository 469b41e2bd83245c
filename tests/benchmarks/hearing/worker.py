"""One recogniser in a process of its own: lines of JSON in, lines of JSON out.

``python -m tests.benchmarks.hearing.worker SETUP`` with the setup as JSON. It says ``ready`` once it
can take sound, answers each sound that comes in, and at the end of its input says the highest memory
that it had. Sound comes from the parent, so that time and memory are the recogniser's alone.
"""

from __future__ import annotations

import base64
import json
import os
import re
import sys
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.hearing.systems import Setup, make_system
from voicelog.errors import VoicelogError


def peak_mb() -> float:
    """Return the highest resident memory of this process, in 10^6 bytes.

    VmHWM, not ru_maxrss: the latter counts what the parent had when the process was made.
    """
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    found = re.search(r"^VmHWM:\s+(\d+) kB", status, re.MULTILINE)
    assert found is not None, "the kernel reports VmHWM"
    return int(found[1]) * 1024 / 1e6


def main() -> None:
    """Serve until the input ends."""
    # Libraries may print; what they print must not come between the answers.
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)

    def say(kind: str, value: Any) -> None:
        out.write(json.dumps([kind, value]) + "\n")
        out.flush()

    wanted = json.loads(sys.argv[1])
    name = wanted.pop("system")
    for key in ("grammar", "model"):
        wanted[key] = Path(wanted[key]) if wanted[key] else None
    try:
        system = make_system(name, Setup(**wanted))
    except VoicelogError as error:
        say("error", [error.what, error.where, error.remedy])
        return
    say("ready", system.identity.model_dump(mode="json"))
    for line in sys.stdin:
        pcm = np.frombuffer(base64.b64decode(line), dtype=np.int16)
        say("answer", system.answer(pcm).model_dump(mode="json"))
    say("peak_mb", peak_mb())


if __name__ == "__main__":
    main()
