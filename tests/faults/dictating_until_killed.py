"""A walk whose remark is being written out until it is killed: ``python -m ... FOLDER``."""

from __future__ import annotations

import sys
from pathlib import Path

from tests.dictating import Dictated
from tests.faults.making import BAY, UNIT
from voicelog.clock import now
from voicelog.conduct import Conductor
from voicelog.records.store import Store
from voicelog.sheet import load_sheet, load_unit

REMARK = {0: "remark", 10: "clamp looks newer than the rest"}


def main(folder: Path) -> None:
    """Begin a walk, take a remark, tell on standard output that its words are being made, and hang."""
    ear = Dictated(REMARK)
    ear.let.clear()
    with Store.open(folder, clock=now) as store:
        conductor = Conductor(store, load_sheet(BAY), load_unit(UNIT), ear, clock=now)
        conductor.begin("R. Alder")
        conductor.dictation.quiet(True)
        with conductor.dictation.behind():
            for at_s in REMARK:
                conductor.hear(ear.said(at_s, 1.0 if at_s == 0 else 3.0))
            ear.dictating.wait()
            print("dictating", flush=True)
            ear.let.wait()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
