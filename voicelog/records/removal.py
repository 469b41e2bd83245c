"""Removing walks, or their sound, whose time is past: part of :class:`voicelog.records.store.Store`.

A removal is one transaction: the sealed event in the unit's chain, and the rows that it names going.
So whoever stops it at any moment finds the walks whole, or their removal told. The sound files go after
that; which ones is kept on the disk until they are gone.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, suppress
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from threading import RLock

from sqlite_utils import Database

from voicelog.defects.events import DEFECT_EVENT
from voicelog.defects.removal_events import Removal, RemovedWalk, SoundRemoved, WalksRemoved
from voicelog.defects.retention import wrongly_removed
from voicelog.errors import RecordError
from voicelog.people.keys import Signer
from voicelog.people.state import People
from voicelog.records import schema
from voicelog.records.chain import canonical, clip_named, link, stored
from voicelog.records.clip_files import clip_path, sync_folder
from voicelog.records.copies import Copy
from voicelog.records.defect_rows import book_of, chain_name, last_of
from voicelog.records.defect_seals import check_may_remove, sealed_removal
from voicelog.records.faults import faults
from voicelog.records.people_rows import Roll
from voicelog.records.removed import Gone, Removed, no_longer_there, removed, runs, told
from voicelog.records.seals import Seal, clips_digest, seals_digest, seals_of
from voicelog.walk.events import SignedOff, WalkStarted


class RemovalRecord:
    """What was removed from one data folder, and the removing."""

    def __init__(
        self,
        db: Database,
        path: Path,
        turn: RLock,
        writing: Callable[[], AbstractContextManager[object]],
        now: Callable[[], str],
        people: Callable[[], People],
        roll: Callable[[], Roll],
    ) -> None:
        """Take what the store holds; ``writing`` opens its only write transaction."""
        self._db, self._path, self._turn = db, path, turn
        self._writing, self._now, self._people, self._roll = writing, now, people, roll
        self._clips = path.parent / "clips"

    # what was removed -------------------------------------------------------------------------

    def removed(self) -> Removed:
        """Return everything that was removed, as the units' chains tell it."""
        with self._turn, faults(self._path):
            return removed(self._db, self._roll())

    def walk(self, walk: str) -> Gone | None:
        """Return how a walk was removed; None where it was not."""
        return self.removed().walks.get(walk) if self._listed(walk) else None

    def check_there(self, walk: str) -> None:
        """Raise WalkError for a walk that was removed, with when, by whom and where its copy is."""
        if gone := self.walk(walk):
            raise no_longer_there(gone)

    def sound(self, walk: str) -> Gone | None:
        """Return how a walk's sound was removed, where its events stayed; None where it was not."""
        return self.removed().sound.get(walk) if self.without_sound(walk) else None

    def without_sound(self, walk: str) -> bool:
        """Return whether a walk's sound was removed and its events stayed."""
        return "sound" in self._listed(walk)

    def sound_of(self, walk: str) -> tuple[int, int]:
        """Return how many sound clips a walk has here, and their bytes on the disk."""
        with self._turn, faults(self._path):
            sql = "SELECT count(*), coalesce(sum(bytes), 0) FROM clips WHERE walk = ?"
            count, size = self._db.conn.execute(sql, (walk,)).fetchone()
            return int(count), int(size)

    def text_of(self, walk: str) -> int:
        """Return about how many bytes the events of a walk take up."""
        with self._turn, faults(self._path):
            sql = "SELECT coalesce(sum(length(body) + 300), 0) FROM events WHERE walk = ?"
            return int(self._db.conn.execute(sql, (walk,)).fetchone()[0])

    def of_clip(self, sha256: str) -> Gone | None:
        """Return what removed a clip that is no longer there; None where nothing did."""
        with self._turn, faults(self._path):
            named = f'"clip":"{sha256}"'
            silent = "SELECT walk FROM removed_list WHERE what = 'sound'"
            found = [
                *self._db.conn.execute(
                    f"SELECT walk FROM events WHERE walk IN ({silent}) AND instr(body, ?)", (named,)
                ),
                *self._db.conn.execute(
                    "SELECT json_extract(body, '$.walk') FROM defect_events WHERE instr(body, ?)", (named,)
                ),
            ]
            if not found:
                return None
            gone = self.removed()
        of_walks = ((gone.walks.get(walk) or gone.sound.get(walk)) for (walk,) in found)
        return next((one for one in of_walks if one), None)

    def _listed(self, walk: str) -> set[str]:
        with self._turn, faults(self._path):
            found = self._db.conn.execute("SELECT what FROM removed_list WHERE walk = ?", (walk,))
            return {what for (what,) in found}

    # removing ---------------------------------------------------------------------------------

    def described(self, walk: str, kind: type[Removal], copy: Copy | None = None) -> RemovedWalk:
        """Return what is sealed of a walk when it is removed, as it now stands on record.

        Raises RecordError for a walk that is not there, or that no officer has signed as it stands.
        """
        with self._turn, faults(self._path):
            rows = schema.rows(self._db, "walk = ?", (walk,))
            seals = seals_of(self._db, walk)
        events = [stored(row) for row in rows]
        begun = events[0].event if events else None
        if not isinstance(begun, WalkStarted):
            raise RecordError("There is no such walk.", where=walk, remedy="List them: voicelog walks")
        _check_signed([line.event for line in events], walk)
        clips = {sha for row in rows if (sha := clip_named(row)) is not None}
        return RemovedWalk(
            walk=walk,
            sheet_id=begun.sheet_id,
            sheet_title=begun.sheet_title,
            operator=begun.operator,
            started=events[0].at,
            last=max(line.at for line in events),
            events=len(rows),
            head=rows[-1].hash,
            lines=runs(row.seq for row in rows) if kind is WalksRemoved else (),
            clips=len(clips),
            clips_sha256=clips_digest(clips),
            seals_sha256=seals_digest(seals),
            copy_path=copy.path if copy else "",
            copy_sha256=copy.sha256 if copy else "",
        )

    def check_may(self, signer: Signer | None) -> None:
        """Raise PersonError for anybody but an officer on record; :meth:`remove` asks again."""
        check_may_remove(self._people(), signer)

    def remove(self, event: Removal, *, signer: Signer | None) -> Removal:
        """Remove what ``event`` names, and return it as it is sealed; all of it or nothing.

        Each of its walks is as :meth:`described` and must still be so. Raises PersonError for anybody
        but an officer on record, and RecordError for what may not be removed. The sound files are taken
        off the disk by :meth:`finish`.
        """
        with self._turn, faults(self._path):
            # The log is then written from its beginning, which takes no more room on a full disk.
            with suppress(sqlite3.Error):
                self._db.conn.execute("PRAGMA wal_checkpoint(RESTART)").fetchone()
            return self._removed(event, signer)

    def _removed(self, event: Removal, signer: Signer | None) -> Removal:
        with self._writing():
            sealed = sealed_removal(event, self._people(), signer)
            now = self._now()
            book = book_of(self._db, event.unit_id)
            for why in wrongly_removed(sealed, book, datetime.fromisoformat(now).date()):
                raise RecordError(
                    f"It cannot be removed: {why}.", where=event.unit_id, remedy="See: voicelog retention"
                )
            for walk in sealed.walks:
                self._check_same(walk, sealed)
            self._append(sealed, now, signer)
            for walk in sealed.walks:
                self._take_out(walk, sealed)
        return sealed

    def finish(self) -> int:
        """Take the sound files of what was removed off the disk; return how many were still there."""
        with self._turn, faults(self._clips):
            waiting = [sha for (sha,) in self._db.conn.execute("SELECT sha256 FROM clips_leaving")]
            if not waiting:
                return 0
            # Within the transaction, so that no walk can come to rely on one of them meanwhile.
            with self._writing():
                return take_off(self._db, self._clips)

    def give_back(self) -> bool:
        """Give the room of removed rows in the record's file back to the disk; False if it must wait.

        It waits while another program has the record open, or where the disk has no room for it.
        """
        with self._turn:
            try:
                self._db.execute("VACUUM")
                (busy, _, _) = self._db.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            except sqlite3.OperationalError:
                return False
            return not busy

    def _check_same(self, walk: RemovedWalk, event: Removal) -> None:
        copy = Copy(walk.copy_path, walk.copy_sha256, new=False) if walk.copy_path else None
        if self.described(walk.walk, type(event), copy) != walk:
            raise RecordError(
                "The walk went on since it was copied.",
                where=f"walk {walk.walk}",
                remedy="Look at it as it is now, then do it again.",
            )
        if self._unit_of(walk.walk) != event.unit_id:
            raise RecordError(
                "The walk is of another unit.", where=f"walk {walk.walk}", remedy="Report this."
            )

    def _unit_of(self, walk: str) -> str:
        found = self._db.conn.execute("SELECT unit_id FROM walk_list WHERE walk = ?", (walk,)).fetchone()
        return str(found[0]) if found else ""

    def _append(self, event: Removal, now: str, signer: Signer | None) -> None:
        chain = chain_name(event.unit_id)
        number, previous = last_of(self._db, event.unit_id)
        number += 1
        body = canonical(DEFECT_EVENT.dump_python(event, mode="json")).decode()
        digest = link(chain, number, now, event.kind, body, previous)
        self._db.table("defect_events").insert(
            {
                "unit": event.unit_id,
                "number": number,
                "at": now,
                "kind": event.kind,
                "body": body,
                "previous": previous,
                "hash": digest,
            }
        )
        assert signer is not None
        self._db.table("seals").insert(asdict(Seal(chain, number, signer.key_id, signer.seal(digest))))
        what = "sound" if isinstance(event, SoundRemoved) else "walk"
        for walk in event.walks:
            self._db.execute(
                "INSERT INTO removed_list (walk, what, unit_id, number) VALUES (?, ?, ?, ?)",
                (walk.walk, what, event.unit_id, number),
            )

    def _take_out(self, walk: RemovedWalk, event: Removal) -> None:
        """Take a walk's rows out of the tables, now that its removal is on the list."""
        name = (walk.walk,)
        self._db.execute(
            "INSERT OR IGNORE INTO clips_leaving (sha256) SELECT sha256 FROM clips WHERE walk = ?", name
        )
        self._db.execute("DELETE FROM clips WHERE walk = ?", name)
        if isinstance(event, SoundRemoved):
            return
        for first, last in walk.lines:
            self._db.execute(
                "DELETE FROM point_list WHERE unit_id = ? AND sheet_id = ? AND seq BETWEEN ? AND ?",
                (event.unit_id, walk.sheet_id, first, last),
            )
        for table in ("reading_list", "seals", "events", "walk_list"):
            self._db.execute(f"DELETE FROM {table} WHERE walk = ?", name)


def take_off(db: Database, clips: Path) -> int:
    """Take the files that are to leave off the disk, but for those a walk on record names; return how many.

    Inside the caller's transaction. Raises OSError.
    """
    folders: set[Path] = set()
    count = 0
    rest = "SELECT sha256 FROM clips_leaving WHERE sha256 NOT IN (SELECT sha256 FROM clips)"
    for (sha,) in db.conn.execute(rest).fetchall():
        path = clip_path(clips, sha)
        with suppress(FileNotFoundError):
            path.unlink()
            folders.add(path.parent)
            count += 1
    for folder in sorted(folders):
        sync_folder(folder)
    db.execute("DELETE FROM clips_leaving")
    return count


def _check_signed(events: Sequence[object], walk: str) -> None:
    """Raise RecordError unless an officer's signature with a key is over all there is of a walk."""
    for event in reversed(events):
        if not isinstance(event, SignedOff):
            break
        if event.meaning == "confirmed by" and event.key_id:
            return
    raise RecordError(
        "No officer has signed this walk with a key as it stands, and so it is not removed.",
        where=f"walk {walk}",
        remedy=f"Let an officer look at it and sign it: voicelog review {walk}",
    )


def removed_sound(gone: Gone) -> RecordError:
    """Return the error for a clip that was removed."""
    walk = gone.walk
    remedy = "Nothing; it is no longer here."
    if walk.copy_path:
        remedy = f"It is in the copy {walk.copy_path}."
    return RecordError(f"The sound of {walk.walk} {told(gone)}.", where=walk.walk, remedy=remedy)
