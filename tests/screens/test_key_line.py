"""The keys at the bottom of the officer's and the shop's screens."""

from __future__ import annotations

import pytest
from textual.binding import Binding

from voicelog.screens.agenda_screen import AgendaScreen
from voicelog.screens.review_screen import ReviewScreen
from voicelog.screens.shop_screen import ShopScreen
from voicelog.screens.widgets.key_line import GAP, key_rows

SCREENS: tuple[type[AgendaScreen], ...] = (ReviewScreen, ShopScreen)
NAMED = {"question_mark": "?"}


@pytest.mark.parametrize("screen", SCREENS)
def test_every_key_is_shown(screen: type[AgendaScreen]) -> None:
    """Each key that has a meaning here stands at the bottom, but for those that move or are a number."""
    bound = [*AgendaScreen.BINDINGS, *screen.BINDINGS]
    keys = {b.key for b in bound if isinstance(b, Binding) and b.show}
    shown = [key for key, _ in screen.KEYS]
    assert len(set(shown)) == len(shown)
    assert {NAMED.get(key, key) for key in keys} == set(shown) - {"1-9"}


@pytest.mark.parametrize("screen", SCREENS)
@pytest.mark.parametrize("width", [38, 78, 118, 200])
def test_no_row_of_keys_is_cut_off(screen: type[AgendaScreen], width: int) -> None:
    """Rows hold all keys in their order, and none is wider than the screen; two do at eighty columns."""
    rows = key_rows(screen.KEYS, width)
    assert [key for row in rows for key in row] == list(screen.KEYS)
    assert all(sum(len(k) + 1 + len(w) for k, w in row) + GAP * (len(row) - 1) <= width for row in rows)
    assert width < 78 or len(rows) <= 2


@pytest.mark.parametrize("screen", SCREENS)
def test_the_help_page_is_seen_whole(screen: type[AgendaScreen]) -> None:
    """At 80 by 24 a form has room for 21 lines of 72 columns, and help names each key at the bottom."""
    lines = screen.HELP_TEXT.splitlines()
    assert len(lines) <= 21 and max(map(len, lines)) <= 72
    told = {line.split("  ")[0].strip().lower() for line in lines}
    assert {key for key, _ in screen.KEYS if key not in ("?", "1-9")} <= told
