"""The cautions of a walk with who affirmed or refused each, and when."""

from __future__ import annotations

from voicelog.reports.entries import Wording
from voicelog.walk.events import CautionAffirmed


def caution_lines(wording: Wording, stop_id: str) -> tuple[str, ...]:
    """Return the cautions of a stop (of the sheet: "") with every answer to them."""
    state = wording.state
    gate = state.sheet.stop(stop_id).gate if stop_id else state.sheet.gate
    lines = []
    for number, caution in enumerate(gate, 1):
        answers = [
            f"{'Affirmed' if isinstance(event, CautionAffirmed) else 'Refused'} "
            f"{wording.time(at)} by {event.by}."
            for at, event in state.gate_events
            if (event.stop_id, event.number) == (stop_id, number)
        ]
        lines.append(" ".join((caution.text, *(answers or ("Not affirmed.",)))))
    return tuple(lines)
