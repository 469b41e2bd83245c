"""Handing a walk over in its middle: the new person's name, and their PIN where people are on record."""

from __future__ import annotations

import re
from collections.abc import Callable

from voicelog.committing import Committing
from voicelog.records.store import Store
from voicelog.starting import operator_name
from voicelog.walk.replies import Update

_LINE = re.compile(r"\s*hand over(?: the tablet)? to\s+(?P<name>\S.*)", re.IGNORECASE)


def named_in(line: str) -> str | None:
    """Return who a typed line hands the walk to: ``hand over to J. Okafor``; None where it is another."""
    found = _LINE.fullmatch(line)
    return found["name"].strip() if found else None


class HandingOver:
    """Gives the walk of one conductor into other hands."""

    def __init__(self, store: Store, conductor: Committing) -> None:
        """Take the record, which knows the people, and the walk."""
        self._store, self._conductor = store, conductor

    @property
    def pins(self) -> bool:
        """Whether people are on record, and a PIN is needed."""
        return bool(self._store.people.now())

    def to(self, name: str, pin: Callable[[], str]) -> Update:
        """Hand the walk to ``name``; ``pin`` asks for their PIN, where it is needed.

        Raises PersonError and WalkError; then the walk is in the hands it was in.
        """
        if not self.pins:
            return self._conductor.hand_over(operator_name(name), None)
        known = self._store.people.now().with_role(name, "operator", "take over a walk")
        signer = self._store.people.unlock(known.name, pin())
        return self._conductor.hand_over(signer.name, signer)
