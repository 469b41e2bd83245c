"""The life of a defect: a table of state, act and person, to the state after it or a refusal."""

from __future__ import annotations

from typing import get_args

import pytest

from voicelog.defects.events import Role
from voicelog.defects.life import ENDED, LIFE, Act, State, after
from voicelog.errors import DefectError

STATES: dict[str, State] = {
    "heard": "heard",
    "conf": "confirmed",
    "defer": "deferred",
    "shop": "in the shop",
    "rep": "repaired",
    "none": "no repair needed",
    "cert": "certified",
    "closed": "closed",
    "gone": "taken back",
}
# Common practice of a repair shop, and 49 CFR 396.11(a)(3) and 396.13 for what must come before a
# defect is done with: a certificate, then the next driver's acknowledgement. `-` is a refusal.
TABLE = """
act                    who                heard  conf   defer  shop   rep    none   cert   closed gone
hear                   operator,officer   heard  conf   defer  shop   heard  heard  heard  -      heard
hear worse             operator,officer   heard  heard  heard  shop   heard  heard  heard  -      heard
hear of before         operator,officer   -      -      -      -      rep    none   cert   -      -
take back              operator,officer   gone   gone   gone   gone   gone   gone   gone   -      -
take back one          operator,officer   heard  conf   defer  shop   rep    none   cert   -      -
say sound              operator,officer   heard  conf   defer  shop   rep    none   cert   -      -
take back sound        operator,officer   heard  conf   defer  shop   rep    none   cert   -      -
take back what closed  operator,officer   -      -      -      -      -      -      -      cert   -
confirm                officer            conf   -      -      -      -      -      -      -      -
defer                  officer            defer  defer  defer  defer  -      -      -      -      -
send                   officer,mechanic   shop   shop   shop   -      -      -      -      -      -
repair                 mechanic           rep    rep    rep    rep    rep    rep    -      -      -
need no repair         mechanic           none   none   none   none   -      -      -      -      -
certify                mechanic           -      -      -      -      cert   cert   -      -      -
acknowledge            operator           heard  conf   defer  shop   rep    none   cert   -      -
close                  operator,officer   -      -      -      -      -      -      closed -      -
reopen                 officer,mechanic   -      -      -      -      heard  heard  heard  -      -
"""
ROLES: tuple[Role, ...] = get_args(Role)


def cases() -> list[tuple[State, Act, Role, State | None]]:
    """Return every state, act and person of the table with the state after it, or None."""
    head, *lines = (line for line in TABLE.splitlines() if line)
    found = []
    for line in lines:
        act, cells = line[:23].strip(), line[23:].split()
        assert act in get_args(Act)
        for name, cell in zip(head[23:].split()[1:], cells[1:], strict=True):
            for role in ROLES:
                allowed = role in cells[0].split(",") and cell != "-"
                found.append((STATES[name], act, role, STATES[cell] if allowed else None))
    return found  # type: ignore[return-value]


@pytest.mark.parametrize(("state", "act", "role", "following"), cases())
def test_each_act_leads_where_the_table_says(
    state: State, act: Act, role: Role, following: State | None
) -> None:
    """An act leads to the table's state, or is refused with what to do instead."""
    if following is not None:
        assert after(state, act, role, "engine_61-d1") == following
        return
    with pytest.raises(DefectError) as caught:
        after(state, act, role, "engine_61-d1")
    assert caught.value.what and caught.value.remedy and caught.value.where == "engine_61-d1"


def test_the_table_is_complete() -> None:
    """Every state, act and person is in the table."""
    found = {(state, act, role) for state, act, role, _ in cases()}
    assert found == {(s, a, r) for s in get_args(State) for a in get_args(Act) for r in ROLES}


def test_no_way_leads_to_closed_but_over_a_certificate() -> None:
    """Whatever is done, the state before closed is certified, and before that work was recorded."""
    into: dict[State, set[State]] = {state: set() for state in get_args(State)}
    for state, moves in LIFE.items():
        for following in moves.values():
            if following != state:
                into[following].add(state)
    assert into["closed"] == {"certified"}
    assert into["certified"] == {"repaired", "no repair needed", "closed"}
    assert {state for state in ENDED if LIFE[state].get("certify")} == set()
