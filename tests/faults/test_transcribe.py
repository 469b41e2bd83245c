"""``voicelog transcribe``: the words that a walk did not come to."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from tests.dictating import Dictated
from tests.faults.making import BAY, UNIT, command, is_told
from tests.people.making import OFFICER, OPERATOR, peopled
from voicelog.conduct import Conductor
from voicelog.hearing import engines
from voicelog.records.store import Store
from voicelog.sheet import load_sheet, load_unit
from voicelog.walk.events import RemarkTranscribed, SignedOff

Clock = Callable[[], datetime]
REMARK = {0: "remark", 10: "clamp looks new", 20: "and dry, end of remark"}


@pytest.mark.parametrize("with_people", [False, True])
def test_words_are_made_once_and_never_after_a_signature(
    with_people: bool, tmp_path: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It makes what is owed and no more; it needs nobody's PIN; a signed walk is left as it was signed."""
    ear, data = Dictated(REMARK), tmp_path / "data"
    monkeypatch.setattr(engines, "make_recogniser", lambda chosen: ear)
    with Store.open(data, clock=clock) as store:
        signers = peopled(store) if with_people else {}
        sheet = load_sheet(BAY)
        store.keep_editions(sheet)
        walks = []
        for _ in range(2):
            walk = Conductor(store, sheet, load_unit(UNIT), ear, clock=clock, signer=signers.get(OPERATOR))
            walk.begin(OPERATOR)
            for at_s in REMARK:
                walk.hear(ear.said(at_s, 1.0 if at_s == 0 else 3.0))
            walk.finish()
            walks.append(walk.walk_id)
        first, second = walks
        for meaning, by, role, decision in (
            ("inspected by", OPERATOR, "operator", "none"),
            ("confirmed by", OFFICER, "officer", "out of service"),
        ):
            signed = SignedOff(
                by=by,
                role=role,
                meaning=meaning,
                decision=decision,
                reason="not looked at",
                head=store.head(second),
            )
            store.append(second, (signed,), signer=signers.get(by))
    made = command("--data", data, "transcribe", first, "--sheet", BAY)
    assert made.exit_code == 0 and made.output == "r1: clamp looks new\nr2: and dry\n", made.output
    again = command("--data", data, "transcribe", first, "--sheet", BAY)
    assert again.exit_code == 0 and "every remark has its transcript" in again.output
    refused = command("--data", data, "transcribe", second, "--sheet", BAY)
    is_told(refused.exit_code, refused.output, "is signed", "play the sound")
    with Store.open(data, clock=clock) as store:
        words = [s.event for s in store.events(first) if isinstance(s.event, RemarkTranscribed)]
        assert [(w.text, w.by) for w in words] == [("clamp looks new", ear.name), ("and dry", ear.name)]
        assert store.verify_all() == ()
