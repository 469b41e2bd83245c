"""A station with people on record, for tests. The names are invented; a try of a PIN costs little."""

from __future__ import annotations

from pathlib import Path

from tests.records.making import Ticking
from voicelog.people.keys import Cost, Signer
from voicelog.records.store import Store

CHEAP = Cost(n=2**4, r=1, p=1)
"""A cost at which tests do not wait; what is real is tested where published values are."""

OFFICER, OPERATOR, MECHANIC = "M. Ruiz", "R. Alder", "T. Novak"
PINS = {OFFICER: "482913", OPERATOR: "770215", MECHANIC: "blue ladder 9"}


def station(folder: Path, clock: Ticking | None = None) -> Store:
    """Return an open store with nobody on record."""
    return Store.open(folder, clock=clock or Ticking(), pin_cost=CHEAP)


def peopled(store: Store) -> dict[str, Signer]:
    """Put an officer, an operator and a mechanic on record, and return their open keys by name."""
    _, officer = store.people.add(OFFICER, ("officer",), PINS[OFFICER])
    signers = {OFFICER: officer}
    _, signers[OPERATOR] = store.people.add(OPERATOR, ("operator",), PINS[OPERATOR], by=officer)
    _, signers[MECHANIC] = store.people.add(MECHANIC, ("mechanic",), PINS[MECHANIC], by=officer)
    return signers
