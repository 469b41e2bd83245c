"""Tampering: whatever is altered behind the store's back is found, and told where it is."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from voicelog.records.chain import link
from voicelog.records.clips import sha256_hex
from voicelog.records.store import Store

from .making import WALK, Ticking, entry, rows, signed, sound, started, tamper

CLIP = sound(1)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make the data folder that each test alters a copy of."""
    folder = tmp_path_factory.mktemp("made") / "data"
    with Store.open(folder, clock=Ticking()) as store:
        store.append(WALK, [started(), entry(1)])
        store.append("other", [started(), entry(1)])
        store.append(WALK, [entry(2, CLIP), entry(3)], [CLIP])
        store.append(WALK, [signed(store.head(WALK))])
        store.append("other", [entry(2)])
    return folder


@pytest.fixture
def whole(made: Path, tmp_path: Path) -> Iterator[Store]:
    """Give a store with two walks, interleaved, that is whole."""
    with Store.open(Path(shutil.copytree(made, tmp_path / "data")), clock=Ticking()) as store:
        yield store


def test_nothing_is_found_where_nothing_was_altered(whole: Store) -> None:
    """The record that the tests below alter is whole."""
    assert whole.verify(WALK) == whole.verify("other") == whole.verify_all() == ()


@pytest.mark.parametrize("number", [1, 2, 3, 5], ids="event {}".format)
@pytest.mark.parametrize(
    "change",
    [
        "seq = -seq",
        "seq = seq + 100",
        "walk = 'third'",
        "number = number + 100",
        "number = 77",
        "at = '2026-11-25T07:10:59-05:00'",
        "at = 'yesterday'",
        "kind = 'walk resumed'",
        "body = replace(body, 'engine_61', 'engine_62') || ' '",
        "body = replace(body, '{', '{ ')",
        "body = 'nothing'",
        'body = \'{"kind":"walk resumed","operator":"X"}\'',
        "previous = '" + "1" * 64 + "'",
        "hash = '" + "1" * 64 + "'",
    ],
)
def test_every_altered_column_is_found(whole: Store, number: int, change: str) -> None:
    """An altered value in any column of any event is found, and the other walk is not blamed."""
    tamper(whole.folder, f"UPDATE events SET {change} WHERE walk = '{WALK}' AND number = {number}")
    assert whole.verify(WALK) != ()
    assert whole.verify("other") == ()
    assert whole.verify_all() != ()


@pytest.mark.parametrize("number", range(1, 6))
def test_every_removed_event_is_found(whole: Store, number: int) -> None:
    """A removed event is found, the first, the last or between."""
    tamper(whole.folder, f"DELETE FROM events WHERE walk = '{WALK}' AND number = {number}")
    found = whole.verify(WALK)
    assert any("missing" in problem for problem in found), found
    assert whole.verify_all() != ()


def test_a_removed_walk_is_found(whole: Store) -> None:
    """A walk that is gone altogether leaves a gap in the line numbers and its sound."""
    tamper(whole.folder, f"DELETE FROM events WHERE walk = '{WALK}'")
    found = whole.verify_all()
    assert sum("Line" in problem for problem in found) >= 5
    assert any(WALK in problem for problem in found)


@pytest.mark.parametrize("columns", ["number", "body", "at, kind, body", "at, kind, body, previous, hash"])
def test_swapped_events_are_found(whole: Store, columns: str) -> None:
    """Two events that changed places are found."""
    names = columns.split(", ")
    connection = sqlite3.connect(whole.folder / "voicelog.db")
    select = f"SELECT {columns} FROM events WHERE walk = '{WALK}' AND number = ?"
    values = [connection.execute(select, (number,)).fetchone() for number in (2, 4)]
    seqs = [
        connection.execute(f"SELECT seq FROM events WHERE walk = '{WALK}' AND number = {n}").fetchone()[0]
        for n in (2, 4)
    ]
    connection.close()

    def put(value: tuple[object, ...], seq: int) -> str:
        parts = (f"{name} = {_quoted(part)}" for name, part in zip(names, value, strict=True))
        return f"UPDATE events SET {', '.join(parts)} WHERE seq = {seq}"

    away = f"UPDATE events SET number = 99, hash = '{'2' * 64}' WHERE seq = {seqs[0]}"
    keep = ("number", "hash")
    back = [name for name in keep if name not in names]
    old = dict(zip(keep, _row(whole.folder, seqs[0]), strict=True))
    restore = [f"UPDATE events SET {name} = {_quoted(old[name])} WHERE seq = {seqs[0]}" for name in back]
    tamper(whole.folder, away, put(values[0], seqs[1]), put(values[1], seqs[0]), *restore)
    assert whole.verify(WALK) != ()


def test_swapped_line_numbers_are_found(whole: Store) -> None:
    """Two events whose line numbers changed places are found, though their own chain is whole."""
    tamper(
        whole.folder,
        f"UPDATE events SET seq = -number WHERE walk = '{WALK}' AND number IN (2, 4)",
        f"UPDATE events SET seq = 6 WHERE walk = '{WALK}' AND number = 2",
        f"UPDATE events SET seq = 2 WHERE walk = '{WALK}' AND number = 4",
    )
    assert {row[0] for row in rows(whole.folder)[:8]} == set(range(1, 9))
    assert any("moved" in problem for problem in whole.verify(WALK))


def _row(folder: Path, seq: int) -> tuple[object, object]:
    """Return the number and hash of one line."""
    return next((row[2], row[7]) for row in rows(folder) if row[0] == seq)


def _quoted(value: object) -> str:
    return str(value) if isinstance(value, int) else "'" + str(value).replace("'", "''") + "'"


def test_an_event_put_in_is_found(whole: Store) -> None:
    """An event put in between, with a hash that is right for itself, breaks the chain."""
    body = '{"kind":"walk resumed","operator":"X"}'
    first = rows(whole.folder)[0]
    at, previous = str(first[3]), str(first[7])
    digest = link(WALK, 2, at, "walk resumed", body, previous)
    tamper(
        whole.folder,
        f"UPDATE events SET number = number + 100 WHERE walk = '{WALK}' AND number > 1",
        f"INSERT INTO events VALUES"
        f" (NULL, '{WALK}', 2, '{at}', 'walk resumed', '{body}', '{previous}', '{digest}')",
        f"UPDATE events SET number = number - 99 WHERE walk = '{WALK}' AND number > 100",
    )
    assert whole.verify(WALK) != ()


def test_an_event_rewritten_with_its_hash_is_found(whole: Store) -> None:
    """Altering an event and making its own hash anew breaks the link of the event after it."""
    row = next(row for row in rows(whole.folder) if row[1:3] == (WALK, 2))
    body = str(row[5]).replace('"1/32"', '"2/32"')
    assert body != row[5]
    digest = link(WALK, 2, str(row[3]), str(row[4]), body, str(row[6]))
    tamper(whole.folder, f"UPDATE events SET body = '{body}', hash = '{digest}' WHERE seq = {row[0]}")
    assert whole.verify(WALK) == ("The chain is broken between event 2 and event 3.",)


def test_a_chain_made_anew_does_not_bear_the_signature(whole: Store) -> None:
    """Whoever makes all hashes anew must forge the signature too, and cannot keep the signed head."""
    before = whole.events(WALK)[-1].previous
    statements, previous = [], "0" * 64
    for seq, walk, number, at, kind, body, _, _ in (
        row for row in rows(whole.folder) if row[1] == WALK and len(row) == 8
    ):
        text = str(body).replace('"1/32"', '"3/32"')
        digest = link(str(walk), int(str(number)), str(at), str(kind), text, previous)
        statements.append(
            f"UPDATE events SET body = {_quoted(text)}, previous = '{previous}', hash = '{digest}'"
            f" WHERE seq = {seq}"
        )
        previous = digest
    tamper(whole.folder, *statements)
    assert whole.verify(WALK) == ("The signature of event 5 is not over the events before it.",)
    assert whole.events(WALK)[-1].previous != before


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE clips SET walk = 'other'",
        f"UPDATE clips SET sha256 = '{'1' * 64}'",
        "UPDATE clips SET seconds = seconds + 1",
        "UPDATE clips SET bytes = bytes - 1",
        "UPDATE clips SET added = '2026-11-25T07:10:59-05:00'",
        "DELETE FROM clips",
        f"INSERT INTO clips SELECT '{WALK}', '{'1' * 64}', 1.0, 1, added FROM clips",
    ],
)
def test_every_altered_note_of_a_clip_is_found(whole: Store, change: str) -> None:
    """An altered, removed or added row of the table of clips is found."""
    tamper(whole.folder, change)
    found = whole.verify(WALK)
    assert found and all("Sound clip" in problem for problem in found)


@pytest.mark.parametrize("place", [0, 10, 60, -1])
def test_an_altered_byte_of_sound_is_found(whole: Store, place: int) -> None:
    """One bit of a clip that has changed, in its header or its sound, is found."""
    path = whole.folder / "clips" / CLIP.sha256[:2] / f"{CLIP.sha256}.flac"
    flac = bytearray(path.read_bytes())
    flac[place] ^= 1
    path.write_bytes(flac)
    (problem,) = whole.verify(WALK)
    assert "altered" in problem and CLIP.sha256[:12] in problem
    assert whole.verify("other") == ()


def test_removed_and_truncated_sound_is_found(whole: Store) -> None:
    """A clip that is cut short, and one that is gone, are found and cannot be read."""
    path = whole.folder / "clips" / CLIP.sha256[:2] / f"{CLIP.sha256}.flac"
    path.write_bytes(CLIP.flac[:-10])
    assert "altered" in whole.verify(WALK)[0]
    path.unlink()
    assert "missing" in whole.verify(WALK)[0]


def test_other_sound_under_another_name_is_found(whole: Store) -> None:
    """Sound exchanged together with every mention of its name still breaks the event's hash."""
    other = sound(2)
    assert sha256_hex(other.flac) == other.sha256
    path = whole.folder / "clips" / other.sha256[:2] / f"{other.sha256}.flac"
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(other.flac)
    tamper(
        whole.folder,
        f"UPDATE events SET body = replace(body, '{CLIP.sha256}', '{other.sha256}')",
        f"UPDATE clips SET sha256 = '{other.sha256}', bytes = {len(other.flac)}",
    )
    assert whole.verify(WALK) == ("Event 3 was altered: it does not match its own hash.",)


def test_a_removed_guard_is_found(whole: Store) -> None:
    """A trigger that was dropped, or replaced by an idle one, is found."""
    connection = sqlite3.connect(whole.folder / "voicelog.db")
    connection.executescript(
        "DROP TRIGGER events_refuse_update; DROP TRIGGER clips_refuse_delete;"
        "CREATE TRIGGER clips_refuse_delete BEFORE DELETE ON clips BEGIN SELECT 1; END"
    )
    connection.close()
    assert len(whole.verify_all()) == 2


def test_one_altered_event_is_not_told_of_every_event_after_it(whole: Store) -> None:
    """The findings name the altered event and no others."""
    tamper(
        whole.folder,
        f"UPDATE events SET at = '2026-11-25T07:10:59-05:00' WHERE walk = '{WALK}' AND number = 2",
    )
    assert whole.verify(WALK) == ("Event 2 was altered: it does not match its own hash.",)
    with Store.open(whole.folder, clock=Ticking()) as second:
        assert json.dumps(second.verify(WALK)) == json.dumps(whole.verify(WALK))
