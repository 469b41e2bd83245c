"""Signatures and the decision on service, as a report tells of them."""

from __future__ import annotations

from voicelog.reports.entries import NO_REASON, full_time, zone
from voicelog.reports.parts import DecisionPart, SignaturePart
from voicelog.walk.state import PointStatus, WalkState
from voicelog.walk.wording import show_signing_key

_SHORT = 12
"""Hex digits that a hash is shortened to."""
DECIDED: dict[str, PointStatus] = {
    "out of service": "defect",
    "in service with restrictions": "doubt",
    "in service": "sound",
    "": "open",
}
"""As which state of a point each decision is marked; empty where there is none."""


def latest_decision(state: WalkState) -> DecisionPart:
    """Return the latest decision, or that there is none."""
    for at, signed in reversed(state.signatures):
        if signed.decision != "none":
            against = ", against the local policy" if signed.overridden else ""
            told = f"by {signed.by}, {full_time(at)}{against}"
            return DecisionPart(DECIDED[signed.decision], signed.decision, told)
    return DecisionPart("open", "no decision yet", "no officer has decided on service")


def signatures(state: WalkState) -> tuple[SignaturePart, ...]:
    """Return every signature, in order."""
    return tuple(
        SignaturePart(
            name=signed.by,
            role=signed.role,
            meaning=signed.meaning,
            decision="no decision on service" if signed.decision == "none" else signed.decision,
            date=f"{at:%Y-%m-%d}",
            time=f"{at:%H:%M:%S}",
            zone=zone(at),
            reason=signed.reason or NO_REASON,
            over=signed.head[:_SHORT],
            key=show_signing_key(signed),
            overridden=signed.overridden,
            override_reason=signed.override_reason,
        )
        for at, signed in state.signatures
    )


def unsigned(state: WalkState) -> str:
    """Return what no signature covers; empty where all is covered or nothing is signed."""
    after = state.events - state.signature_numbers[-1] if state.signatures else 0
    if not after:
        return ""
    events = "1 event was" if after == 1 else f"{after} events were"
    return f"{events} recorded after the last signature; no signature covers them."
