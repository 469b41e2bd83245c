"""Names that can be taken for one another, PINs that are guessed first, and locks that end."""

from __future__ import annotations

import stat
import unicodedata
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from tests.people.making import CHEAP, OFFICER, OPERATOR, PINS, peopled, station
from tests.records.making import START, Ticking
from voicelog.errors import PersonError
from voicelog.people.keys import Signer, WrongPin, check_pin, make_key, open_box
from voicelog.people.lockout import MOST_IN_A_ROW, NEVER, locked_until, others_who_lift
from voicelog.people.names import checked_name, looks_like
from voicelog.records.people_record import person_rows
from voicelog.records.store import Store
from voicelog.screens.review_people import IDLE, Hands

CYRILLIC_A, GREEK_RHO, FULL_WIDTH_R = "\u0410", "\u03a1", "\uff32"


@pytest.fixture
def clock() -> Ticking:
    """Give the clock of the store."""
    return Ticking()


@pytest.fixture
def store(tmp_path: Path, clock: Ticking) -> Iterator[Store]:
    """Give a store with nobody on record."""
    with station(tmp_path / "data", clock) as opened:
        yield opened


@pytest.fixture
def signers(store: Store) -> dict[str, Signer]:
    """Put the station's people on record and give their open keys."""
    return peopled(store)


# Pairs that Unicode Technical Standard 39, confusables, holds to be alike, and others.
ALIKE = [
    ("R. A1der", True),
    ("R. AIder", True),
    ("R. A\u217cder", True),
    (f"R. {CYRILLIC_A}lder", True),
    (f"{FULL_WIDTH_R}. Alder", True),
    ("R Alder", False),
    ("R. Alter", False),
    ("A. Rider", False),
    ("\u041f\u0451\u0442\u0440 \u0421\u0435\u0434\u043e\u0432", False),
]


@pytest.mark.parametrize(("name", "alike"), ALIKE)
def test_which_names_can_be_taken_for_one_another(name: str, alike: bool) -> None:
    """On paper a reader sees shapes, not code points."""
    assert (looks_like(name, ["M. Ruiz", "R. Alder"]) == "R. Alder") is alike


@pytest.mark.parametrize(
    "name",
    [
        f"R. {CYRILLIC_A}lder",
        f"{GREEK_RHO}eter Novak",
        "R.\u202eredlA",
        "R.\u200bAlder",
        "R. Alder\x9b31m",
        "R. Alder\u2066",
        "\udcff",
        " ",
        "x" * 81,
    ],
)
def test_a_name_that_hides_something_is_refused(name: str) -> None:
    """Two scripts in one word, marks that turn or hide, control characters, bytes that are no text."""
    with pytest.raises(PersonError):
        checked_name(name)


@pytest.mark.parametrize(
    "name",
    [
        "Jos\u00e9 N\u00fa\u00f1ez",
        "\u041f\u0451\u0442\u0440",
        "O'Brien-\u0141ukasz",
        "\u5c71\u7530 \u306f\u306a",
    ],
)
def test_names_of_all_the_world_are_taken(name: str) -> None:
    """However their marks are composed, they are kept composed, and are one name."""
    apart = unicodedata.normalize("NFD", name)
    assert checked_name(apart) == unicodedata.normalize("NFC", name)


def test_the_record_keeps_look_alikes_out(store: Store, signers: dict[str, Signer]) -> None:
    """Neither one that looks like a person on record nor the same name composed otherwise comes on record."""
    officer = signers[OFFICER]
    store.people.add("Jos\u00e9 Vance", ("operator",), "482914", by=officer)
    before = len(person_rows(store._db))
    for name in ("R. A1der", "\uff2d. Ruiz", "Jose\u0301 Vance", "JOSE\u0301  VANCE"):
        with pytest.raises(PersonError, match=r"taken for|on record already"):
            store.people.add(name, ("officer",), "605142", by=officer)
    assert len(person_rows(store._db)) == before
    assert store.people.unlock("jose\u0301 vance", "482914").name == "Jos\u00e9 Vance"
    assert store.verify_all() == ()


# Common ones by published lists of leaked passwords, as the library zxcvbn holds them; and patterns.
GUESSED = ["123123", "112233", "121212", "147258", "159753", "696969", "password", "qwerty", "letmein"]
GUESSED += ["abcdef", "abc123", "020202", "741852", "314159", "aaaaaa1"[:6], "iloveyou"]


@pytest.mark.parametrize("pin", GUESSED)
def test_a_pin_that_is_guessed_first_is_refused(pin: str) -> None:
    """NIST SP 800-63B, 5.1.1.2 (from memory): commonly used, repeated and in a row are refused."""
    with pytest.raises(PersonError, match="guessed"):
        check_pin(pin)


@pytest.mark.parametrize("pin", [*PINS.values(), "605142", "904411", "wet boot seven kettle " * 2])
def test_other_pins_are_taken(pin: str) -> None:
    """Six digits without a pattern, and words, do."""
    assert check_pin(pin) == pin


def test_a_pin_of_bytes_that_are_no_text_is_wrong_and_no_more() -> None:
    """A terminal may give such; nothing breaks."""
    made = make_key("482913", CHEAP)
    with pytest.raises(WrongPin):
        open_box(made.box, made.public_key, "48291\udcff")


def _wrong(store: Store, name: str, clock: Ticking, times: int) -> None:
    for _ in range(times):
        clock.now += timedelta(hours=2)
        with pytest.raises(PersonError, match="not the PIN"):
            store.people.unlock(name, "000001")


def test_a_clock_that_was_ahead_locks_nobody_for_years(
    store: Store, clock: Ticking, signers: dict[str, Signer]
) -> None:
    """Once it is put right the wait begins anew, an hour at most; and putting it back frees nobody."""
    clock.now = START + timedelta(days=3650)
    _wrong(store, OFFICER, clock, 4)
    clock.now = START + timedelta(hours=1)
    with pytest.raises(PersonError, match="may be tried again from 2026-11-25"):
        store.people.unlock(OFFICER, PINS[OFFICER])
    clock.now += timedelta(seconds=30)
    with pytest.raises(PersonError, match="may be tried again"):
        store.people.unlock(OFFICER, PINS[OFFICER])
    clock.now += timedelta(seconds=31)
    assert store.people.unlock(OFFICER, PINS[OFFICER]).name == OFFICER
    assert [row.kind for row in person_rows(store._db)].count("lock begun anew") == 1
    assert store.verify_all() == ()


def test_a_hundred_wrong_pins_need_an_officer(
    store: Store, clock: Ticking, signers: dict[str, Signer]
) -> None:
    """NIST SP 800-63B, 5.2.2: no more than 100 in a row. The only officer's cannot be lifted by anybody."""
    _wrong(store, OPERATOR, clock, 3)
    _wrong(store, OFFICER, clock, 3)
    people = store.people.now()
    at = clock.now + timedelta(days=400)
    for name, others in ((OPERATOR, True), (OFFICER, False)):
        person = people.person(name)
        assert others_who_lift(people, person) is others
        object.__setattr__(person, "refused", MOST_IN_A_ROW - 1)
        assert locked_until(person, at, others=others) is None
        object.__setattr__(person, "refused", MOST_IN_A_ROW)
        assert locked_until(person, at, others=others) is (NEVER if others else None)


def test_a_screen_that_was_left_alone_is_in_nobody_s_hands(store: Store, signers: dict[str, Signer]) -> None:
    """After a while without anything done, and when the clock was set back, the PIN is asked again."""
    now = [START]
    hands = Hands(store, "walk-1", lambda: now[0])
    for away, held in ((IDLE, True), (IDLE + timedelta(seconds=1), False), (timedelta(seconds=-1), False)):
        hands.take(OFFICER, PINS[OFFICER])
        now[0] += away
        assert (hands.signer is not None) is held
        assert (hands.signer is not None) is held


def test_the_data_folder_is_its_owner_s_alone(store: Store) -> None:
    """Locked keys are in it: whoever can read them can try PINs elsewhere, without a wait."""
    assert stat.S_IMODE(store.folder.stat().st_mode) == 0o700
