"""Who may do what about a defect at a desk, as :mod:`voicelog.people.rules` asks it; pure."""

from __future__ import annotations

from voicelog.defects.events import (
    Act,
    DefectClosed,
    DefectConfirmed,
    DefectDeferred,
    DefectEvent,
    DefectReopened,
    DefectRepaired,
    NoRepairNeeded,
    RepairCertified,
    SentToShop,
)
from voicelog.defects.removal_events import SoundRemoved, WalksRemoved
from voicelog.people.rules import Need

_TO_DO: dict[type[Act], str] = {
    DefectConfirmed: "confirm a defect",
    DefectDeferred: "defer a defect",
    SentToShop: "send a defect to the shop",
    DefectRepaired: "record a repair",
    NoRepairNeeded: "record that no repair is needed",
    RepairCertified: "certify a repair",
    DefectClosed: "close a defect",
    DefectReopened: "open a defect again",
}


def need_of_act(event: DefectEvent) -> Need | None:
    """Return what an act at a desk needs; None for what comes of a walk, which its own seals vouch for."""
    if isinstance(event, WalksRemoved | SoundRemoved):
        return need_of_removal(event.by)
    if not isinstance(event, Act):
        return None
    if isinstance(event, DefectConfirmed | DefectClosed) and event.walk:
        return None
    return Need(event.role, _TO_DO[type(event)], event.by, True)


def need_of_removal(by: str) -> Need:
    """Return what removing walks, or their sound, needs."""
    return Need("officer", "remove what is past its time", by, True)
