"""What is removed when its time is past stays told: by whom, why, by which rule, and where its copy is."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from tests.people.making import MECHANIC, OFFICER, OPERATOR, station
from tests.records.making import START, Ticking, entry, files, tamper
from tests.walk.reviewing import doubted, logged, said, sheet, started, tone, walk
from voicelog.defects.removal_events import SoundRemoved, WalksRemoved
from voicelog.defects.retention import DAYS
from voicelog.errors import PersonError, RecordError, WalkError
from voicelog.loading import load_walk
from voicelog.people.keys import Signer
from voicelog.records.clip_files import clip_path
from voicelog.records.clips import sha256_hex
from voicelog.records.export import pack
from voicelog.records.export_proof import prove
from voicelog.records.proof import prove_folder
from voicelog.records.removed import told, told_act, told_copy
from voicelog.records.store import Store
from voicelog.removing import past_walks
from voicelog.reports.text import text_report
from voicelog.reports.write import walk_contents
from voicelog.walk import review
from voicelog.walk.events import RecheckAsked

from .old_walks import LATER, NAMES, POLICY, begun, clip_of, old_station, past, removed, sign, state, walked

Old = tuple[Store, dict[str, Signer], Ticking]


@pytest.fixture
def old(tmp_path: Path) -> Iterator[Old]:
    """Give a station with three signed walks of three years ago."""
    made = old_station(tmp_path / "data")
    yield made
    made[0].close()


def test_a_removed_walk_is_told_and_its_copy_proves_itself(old: Old, tmp_path: Path) -> None:
    """Its rows and sound are gone; the sealed event names it whole, and the copy is what it names."""
    store, signers, _ = old
    before = {name: store.events(name) for name in NAMES}
    (done,), failed = removed(store, signers[OFFICER], tmp_path / "copies")
    assert failed == () and isinstance(done, WalksRemoved)
    # The latest of its kind stays, so that what is due next can be told.
    assert [one.walk for one in done.walks] == ["old_1", "old_2"]
    assert [found.walk for found in store.walks()] == ["old_3"]
    assert store.events("old_1") == () and len(files(store.folder)) == 1
    assert (done.by, done.role, done.reason, done.months) == (OFFICER, "officer", "time past", 24)
    for one in done.walks:
        copy = Path(one.copy_path)
        assert copy == tmp_path / "copies" / f"{one.walk}.record"
        assert sha256_hex(copy.read_bytes()) == one.copy_sha256
        proof = prove(copy.read_bytes(), "copy")
        assert (proof.problems, proof.head, proof.events) == ((), one.head, one.events)
        events = before[one.walk]
        assert one.head == events[-1].hash and one.events == len(events) and one.clips == 1
        assert one.lines == ((events[0].seq, events[-1].seq),)
        assert (one.started, one.last) == (events[0].at, events[-1].at)
    assert store.verify_all() == () and store.verify("old_1") == () and store.verify("old_3") == ()
    proof_of_all = prove_folder(store.folder)
    assert [told_act(*one)[:25] for one in proof_of_all.removed.acts] == ["removed under retention o"]
    gone = store.removal.walk("old_1")
    assert gone is not None and "by M. Ruiz (officer): time past" in told(gone)
    assert done.walks[0].copy_sha256 in told_copy(gone)


def test_no_list_has_a_removed_walk(old: Old, tmp_path: Path) -> None:
    """Readings, points and walks are those of what is left; what is due next is told as before."""
    store, signers, _ = old
    last = store.across.last_walks()
    point = ("engine_61", "engine_bay", "fan_belt")
    assert len(store.across.readings("engine_61", "engine_bay")) == 3
    removed(store, signers[OFFICER], tmp_path / "copies")
    assert [r.walk for r in store.across.readings("engine_61", "engine_bay")] == ["old_3"]
    assert {e.walk for e in store.point_history(*point).entries} == {"old_3"}
    assert [f.walk for f in store.across.facts_of("engine_61")] == ["old_3"]
    assert store.across.last_walks() == last and store.defects.not_taken_up() == ()


def test_whoever_asks_for_it_is_told_what_became_of_it(old: Old, tmp_path: Path) -> None:
    """Reading it, its sound, or beginning another under its name: when, by whom, where the copy is."""
    store, signers, _ = old
    removed(store, signers[OFFICER], tmp_path / "copies")
    for ask in (
        lambda: load_walk(store, "old_1", None),
        lambda: store.append("old_1", [started()], signer=signers[OPERATOR]),
    ):
        with pytest.raises(WalkError, match=r"removed under retention on 2029-11-2.*by M. Ruiz") as refused:
            ask()
        assert str(tmp_path / "copies" / "old_1.record") in refused.value.remedy
    at = START.replace(year=2026)
    taken = store.new_walk_id("engine_61", at)
    assert taken == store.new_walk_id("engine_61", at)


@pytest.mark.parametrize("who", [OPERATOR, MECHANIC, None])
def test_only_an_officers_key_removes(old: Old, tmp_path: Path, who: str | None) -> None:
    """Anybody else is refused by the record itself, and nothing is gone; nor is it without people."""
    store, signers, _ = old
    done, failed = removed(store, signers[who] if who else None, tmp_path / "copies")
    assert done == () and len(failed) == 1 and isinstance(failed[0], PersonError)
    assert len(store.walks()) == 3 and store.verify_all() == ()


def test_another_officers_name_is_refused(old: Old) -> None:
    """A removal is in the name of whoever's PIN was given."""
    store, signers, _ = old
    event = _event(store, "old_1").model_copy(update={"by": OPERATOR})
    with pytest.raises(PersonError, match="whose PIN was given"):
        store.removal.remove(event, signer=signers[OFFICER])


def _event(store: Store, name: str, **changed: object) -> WalksRemoved:
    event = WalksRemoved(
        unit_id="engine_61",
        unit_name="Engine 61",
        by=OFFICER,
        reason="time past",
        policy=POLICY.title,
        policy_edition=POLICY.edition,
        policy_sha256=POLICY.sha256,
        months=24,
        repairs_months=36,
        walks=(store.removal.described(name, WalksRemoved),),
    )
    return event.model_copy(update=changed)


def test_three_months_are_kept_whatever_the_policy_says(tmp_path: Path) -> None:
    """49 CFR 396.11(a)(4) (seen at second hand): not on the last day of them, by policy or by hand."""
    store, signers, clock = old_station(tmp_path / "data")
    ended = store.events("old_1")[-1].at
    month = replace(POLICY, walks_months=1, repairs_months=0)
    with store:
        for days, due in ((31, []), (DAYS, []), (DAYS + 1, ["old_1"])):
            today = (ended + timedelta(days=days)).date()
            assert [one.found.walk for one in past_walks(store, month, today) if not one.holds] == due
        clock.now = ended + timedelta(days=DAYS)
        with pytest.raises(RecordError, match="was to be kept until"):
            store.removal.remove(_event(store, "old_1", months=1), signer=signers[OFFICER])
        with pytest.raises(RecordError, match="did not say how long"):
            store.removal.remove(_event(store, "old_1", months=0), signer=signers[OFFICER])
        assert len(store.walks()) == 3


def test_what_something_still_rests_on_stays(tmp_path: Path) -> None:
    """Each kind of hold is told with what to do, and the record refuses what the holds are about."""
    store, signers, clock = old_station(tmp_path / "data", ())
    clock.now = START
    held = {
        "unfinished": "never finished",
        "unsigned": "no officer has signed",
        "doubt": "a doubt is open",
        "open": "engine_61-d1, which is open",
        "asked": "be looked at again",
        "changed": "no officer has signed",
        "latest": "latest check",
    }
    dripping = said("lift_cylinder_left", "dripping")
    with store:
        walked(store, "unfinished", signers, finished=False, signed=False)
        walked(store, "unsigned", signers, signed=False)
        walked(store, "doubt", signers, doubted("d1", (dripping, 0.6)), signed=False)
        walked(store, "open", signers, logged("e3", dripping))
        walked(store, "asked", signers, signed=False)
        asked = RecheckAsked(point_id="alternator", by=OFFICER, reason="was it looked at?")
        store.append("asked", [asked], signer=signers[OFFICER])
        sign(store, "asked", signers[OFFICER])
        walked(store, "changed", signers)
        again = review.confirm(state(store, "changed"), "e1", OFFICER)
        store.append("changed", [again], signer=signers[OFFICER])
        store.defects.take_up("changed", state(store, "changed"))
        walked(store, "latest", signers)
        clock.now = LATER
        found = {one.found.walk: [hold.why for hold in one.holds] for one in past(store)}
        assert found.keys() == held.keys()
        for name, why in held.items():
            assert len(found[name]) == 1 and why in found[name][0], (name, found[name])
        for name in ("unfinished", "unsigned", "doubt", "open", "asked", "changed"):
            with pytest.raises(RecordError, match=r"signed|open"):
                store.removal.remove(_event(store, name), signer=signers[OFFICER])
        assert len(store.walks()) == len(held) and store.verify_all() == ()


def test_a_walk_stays_as_long_as_its_ended_defect(tmp_path: Path) -> None:
    """Of a repair kept 36 months, whoever heard, acknowledged or closed it stays so long."""
    store, signers, clock = old_station(tmp_path / "data", ())
    clock.now = START
    with store:
        walked(store, "heard", signers, logged("e3", said("lift_cylinder_left", "dripping")))
        (defect,) = store.defects.queue()
        withdrawn = review.reject(state(store, "heard"), "e3", OFFICER, "it was rain")
        store.append("heard", [withdrawn], signer=signers[OFFICER])
        sign(store, "heard", signers[OFFICER])
        assert store.defects.queue() == ()
        ended = store.defects.book("engine_61").defect(defect.defect_id).history[-1][0]
        clock.now += timedelta(days=1)
        walked(store, "latest", signers)
        until = ended.date().replace(year=ended.year + 3)
        for day, held in ((until, True), (until + timedelta(days=1), False)):
            found = {one.found.walk: one.holds for one in past_walks(store, POLICY, day)}
            assert bool(found["heard"]) is held


def test_a_clock_that_lost_the_day_makes_no_walk_old(tmp_path: Path) -> None:
    """A walk dated 1970 after one of 2026 is of 2026 at the earliest, and is not past its time yet."""
    store, signers, clock = old_station(tmp_path / "data", ("old_1",))
    with store:
        clock.now = START.replace(year=1970)
        walked(store, "wrong_clock", signers)
        day = (START + timedelta(days=200)).date()
        assert past_walks(store, POLICY, day) == ()
        due = [one.found.walk for one in past_walks(store, POLICY, LATER.date())]
        assert sorted(due) == ["old_1", "wrong_clock"]


def test_only_the_sound_goes_and_the_events_stay(old: Old, tmp_path: Path) -> None:
    """Verify, the export and a report say that the sound was removed by rule; then the walk can go too."""
    store, signers, clock = old
    clip = tone(clip_of("old_1")).sha256
    events = store.events("old_1")
    (done,), failed = removed(store, signers[OFFICER], tmp_path / "copies", sound=True)
    assert failed == () and isinstance(done, SoundRemoved) and len(done.walks) == 3
    assert files(store.folder) == set() and store.events("old_1") == events
    assert store.verify_all() == () and store.verify("old_1") == ()
    assert prove_folder(store.folder).removed.sound.keys() == set(NAMES)
    with pytest.raises(RecordError, match="The sound of old_1 was removed under retention"):
        store.clip(clip)
    assert "The sound of old_1 was removed" in text_report(walk_contents(store, "old_1", sheet()))
    proof = prove(pack(store.exported("old_1", sheet())), "file")
    assert proof.problems == () and proof.without_sound is not None
    assert past(store, sound=True) == ()
    # An officer can sign it again: the signature is over the clips that the events name.
    _, second = store.people.add("J. Okafor", ("officer",), "605142", by=signers[OFFICER])
    sign(store, "old_1", second)
    assert store.verify_all() == ()
    clock.now = LATER + timedelta(days=3 * 366)
    # The copy of old_1 with its sound is of before the second signature, and is not taken for it.
    done_, failed = removed(store, signers[OFFICER], tmp_path / "copies", at=clock.now)
    assert done_ == () and "no copy of the walk as it stands" in failed[0].what
    (whole,), failed = removed(store, signers[OFFICER], tmp_path / "others", at=clock.now)
    assert failed == () and sorted(one.walk for one in whole.walks) == ["old_1", "old_2"]
    for name in ("old_1", "old_2"):
        copy = prove((tmp_path / "others" / f"{name}.record").read_bytes(), "copy")
        assert copy.problems == () and copy.without_sound is not None
    assert store.verify_all() == ()


def test_a_copy_that_is_there_is_used_only_if_it_is_one(old: Old, tmp_path: Path) -> None:
    """A whole copy of the walk as it stands is taken; any other file stops the unit, and is left alone."""
    store, signers, _ = old
    copies = tmp_path / "copies"
    copies.mkdir()
    whole = pack(store.exported("old_1", sheet()))
    (copies / "old_1.record").write_bytes(whole)
    other = pack(store.exported("old_2", sheet()))
    for wrong in (b"", whole, other[:-1], other.replace(b"e2", b"e3", 1)):
        (copies / "old_2.record").write_bytes(wrong)
        done, failed = removed(store, signers[OFFICER], copies)
        assert done == () and "no copy of the walk as it stands" in failed[0].what
        assert (copies / "old_2.record").read_bytes() == wrong
        assert len(store.walks()) == 3 and store.verify_all() == ()
    (copies / "old_2.record").unlink()
    (copies / ".old_2.record.77.part").write_bytes(whole[:100])
    (done_,), failed = removed(store, signers[OFFICER], copies)
    assert failed == () and [one.walk for one in done_.walks] == ["old_1", "old_2"]
    assert (copies / "old_1.record").read_bytes() == whole
    # What was half written when a removal was cut off is not left lying.
    assert {path.name for path in copies.iterdir()} == {"old_1.record", "old_2.record"}


def test_without_copies_the_event_says_so(old: Old) -> None:
    """No path and no hash of a copy."""
    store, signers, _ = old
    (done,), _ = removed(store, signers[OFFICER], None)
    assert {(one.copy_path, one.copy_sha256) for one in done.walks} == {("", "")}
    gone = store.removal.walk("old_1")
    assert gone is not None and told_copy(gone) == "no copy was made"
    assert store.verify_all() == ()


def test_a_walk_that_is_not_whole_is_not_removed(old: Old, tmp_path: Path) -> None:
    """An altered event, or lost sound, stops the removal of that unit."""
    store, signers, _ = old
    path = clip_path(store.folder / "clips", tone(clip_of("old_1")).sha256)
    flac = path.read_bytes()
    path.unlink()
    done, failed = removed(store, signers[OFFICER], tmp_path / "copies")
    assert done == () and len(failed) == 1
    path.write_bytes(flac)
    tamper(
        store.folder, "UPDATE events SET at = replace(at, '2026', '2025') WHERE walk = 'old_2' AND number = 2"
    )
    done, failed = removed(store, signers[OFFICER], tmp_path / "copies")
    assert done == () and "not whole" in failed[0].what and len(store.walks()) == 3


def test_a_walk_that_went_on_is_not_removed(old: Old) -> None:
    """What was put on record after the copy is not lost: the removal is refused."""
    store, signers, _ = old
    event = _event(store, "old_1")
    confirmed = review.confirm(state(store, "old_1"), "e1", OFFICER)
    store.append("old_1", [confirmed], signer=signers[OFFICER])
    sign(store, "old_1", signers[OFFICER])
    with pytest.raises(RecordError, match="went on since it was copied"):
        store.removal.remove(event, signer=signers[OFFICER])
    assert store.events("old_1") and store.verify_all() == ()


def test_a_walk_open_in_another_window_is_not_removed(old: Old, tmp_path: Path) -> None:
    """Whoever holds the walk keeps it."""
    store, signers, _ = old
    with store.lock("old_2"):
        done, failed = removed(store, signers[OFFICER], tmp_path / "copies")
    assert done == () and "another window" in failed[0].what and len(store.walks()) == 3


def test_sound_that_another_walk_names_stays(tmp_path: Path) -> None:
    """Two walks with the very same sound: removing one leaves the other's."""
    store, signers, clock = old_station(tmp_path / "data", ())
    clock.now = START
    same = tone(500)
    with store:
        for name in ("old_1", "old_2"):
            events = [begun(), logged("e1", said("water_pump", "dry"), same), *walk()[-1:]]
            store.append(name, events, [same], signer=signers[OPERATOR])
            store.defects.take_up(name, state(store, name))
            sign(store, name, signers[OFFICER])
        clock.now = LATER
        (done,), _ = removed(store, signers[OFFICER], None)
        assert [one.walk for one in done.walks] == ["old_1"]
        assert store.clip(same.sha256) == same.flac and store.verify_all() == ()


def test_a_backup_follows_and_lets_the_sound_go(old: Old, tmp_path: Path) -> None:
    """An earlier backup is brought up to date: it is whole, and the removed sound is not in it either."""
    store, signers, _ = old
    target = tmp_path / "backup"
    store.backup(target)
    assert len(files(target)) == 3
    removed(store, signers[OFFICER], tmp_path / "copies")
    store.backup(target)
    assert files(target) == files(store.folder) and len(files(target)) == 1
    found = prove_folder(target)
    assert found.problems == () and found.removed.walks.keys() == {"old_1", "old_2"}
    # 1 and 1: no log is needed to read it (sqlite.org, Database File Format, section 1.3.3).
    assert (target / "voicelog.db").read_bytes()[18:20] == b"\x01\x01"


def test_a_backup_of_another_record_is_still_refused(old: Old, tmp_path: Path) -> None:
    """A folder with walks that were never here is not overwritten, also where some were removed."""
    store, signers, _ = old
    removed(store, signers[OFFICER], None)
    with station(tmp_path / "other") as other:
        other.append("old_1", [started()])
        other.append("mine", [started(), entry(1)])
    with pytest.raises(RecordError, match="another record"):
        store.backup(tmp_path / "other")


def test_the_room_comes_back(old: Old, tmp_path: Path) -> None:
    """The record's file is shorter afterwards, and the record is whole with that."""
    store, signers, _ = old
    big = [logged(f"x{n}", said("water_pump", "dry"), free="x" * 5000) for n in range(200)]
    store._clock.now = START  # type: ignore[attr-defined]
    for name in ("big_1", "big_2"):
        walked(store, name, signers, *big)
    store._clock.now = LATER + timedelta(days=30)  # type: ignore[attr-defined]
    path = store.folder / "voicelog.db"
    assert store.removal.give_back()
    before = path.stat().st_size
    removed(store, signers[OFFICER], None)
    assert store.removal.give_back()
    assert before - path.stat().st_size > 900_000
    assert store.verify_all() == ()


def test_the_room_waits_for_whoever_reads(old: Old, tmp_path: Path) -> None:
    """While another program reads, the file keeps its size, and is whole as it lies; then it shrinks."""
    store, signers, _ = old
    removed(store, signers[OFFICER], None)
    reader = sqlite3.connect(store.folder / "voicelog.db", isolation_level=None)
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM events").fetchone()
    assert not store.removal.give_back()
    assert store.verify_all() == () and prove_folder(store.folder).problems == ()
    reader.execute("COMMIT")
    reader.close()
    assert store.removal.give_back() and store.verify_all() == ()
