"""Songs, sung by festival's singing mode: melodies that nobody owns, a note a syllable.

Notes are the common tunes from memory. The voice is kal_diphone, the only one here that can sing.
"""

from __future__ import annotations

import subprocess
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from xml.sax.saxutils import escape

import soundfile
import soxr

from tests.benchmarks.bay.speakers import kept, trimmed
from voicelog.errors import VoicelogError
from voicelog.hearing.recogniser import RATE, Samples

TIMEOUT_S = 120


@dataclass(frozen=True, slots=True)
class Song:
    """A line of a song. ``notes`` is word, then note:beats for each of its syllables."""

    title: str
    beats_a_minute: int
    notes: str


_SONGS = (
    Song(
        "twinkle",
        100,
        "twinkle C3:1,C3:1 twinkle G3:1,G3:1 little A3:1,A3:1 star G3:2 how F3:1 i F3:1 wonder E3:1,E3:1 "
        "what D3:1 you D3:1 are C3:2",
    ),
    Song(
        "mary",
        120,
        "mary E3:1,D3:1 had C3:1 a D3:1 little E3:1,E3:1 lamb E3:2 little D3:1,D3:1 lamb D3:2 "
        "little E3:1,G3:1 lamb G3:2",
    ),
    Song(
        "row",
        110,
        "row C3:1.5 row C3:1.5 row C3:1 your D3:0.5 boat E3:1.5 gently E3:1,D3:0.5 down E3:1 the F3:0.5 "
        "stream G3:3",
    ),
    Song(
        "jingle",
        150,
        "jingle E3:1,E3:1 bells E3:2 jingle E3:1,E3:1 bells E3:2 jingle E3:1,G3:1 all C3:1.5 the D3:0.5 "
        "way E3:4",
    ),
    Song(
        "saints",
        120,
        "oh C3:1 when E3:1 the F3:1 saints G3:4 go C3:1 marching E3:1,F3:1 in G3:4 oh C3:1 when E3:1 "
        "the F3:1 saints G3:2 go E3:2 marching C3:2,E3:2 in D3:4",
    ),
    Song(
        "susanna",
        130,
        "oh C3:0.5 i D3:0.5 come E3:1 from G3:1 alabama G3:1.5,A3:0.5,G3:1,E3:1 with C3:1.5 my D3:0.5 "
        "banjo E3:1,E3:1 on D3:1 my C3:1 knee D3:3",
    ),
    Song(
        "bridge",
        120,
        "london G3:1.5,A3:0.5 bridge G3:1 is F3:1 falling E3:1,F3:1 down G3:2 falling D3:1,E3:1 down F3:2 "
        "falling E3:1,F3:1 down G3:2",
    ),
    Song(
        "clementine",
        110,
        "in F3:0.75 a F3:0.25 cavern F3:1,C3:1 in A3:0.75 a A3:0.25 canyon A3:1,F3:1 excavating "
        "F3:0.75,A3:0.25,C4:1.5,C4:0.5 for B3:0.75 a A3:0.25 mine G3:2",
    ),
    Song(
        "grace",
        80,
        "amazing C3:1,F3:2,A3:0.5 grace A3:2 how G3:1 sweet F3:2 the D3:1 sound C3:3",
    ),
    Song(
        "wheels",
        120,
        "the C3:0.5 wheels F3:1 on F3:0.5 the F3:0.5 bus F3:1 go A3:1 round C4:1 and A3:1 round F3:2 "
        "round G3:1 and E3:1 round C3:2 round C4:1 and A3:1 round F3:2",
    ),
    Song(
        "down by the station",
        120,
        "down C3:1 by C3:0.5 the C3:0.5 station C3:0.5,D3:0.5 early E3:1,E3:1 in E3:0.5 the D3:0.5 "
        "morning C3:1,G2:1 see E3:1 the D3:0.5 little D3:0.5,D3:0.5 engines D3:1,E3:1 all F3:0.5 in E3:0.5 "
        "a D3:0.5 row C3:2",
    ),
    Song(
        "fan and belt",
        110,
        "tighten G3:1,G3:1 it A3:1 low G3:2 and E3:1 dry E3:1 it F3:1 slow E3:2 good D3:1 old D3:1 "
        "engine E3:1,D3:1 off C3:1 we D3:1 go C3:2",
    ),
)
"""The last is no song that anybody knows: words of the trade, sung."""
SONGS: dict[str, Song] = {song.title: song for song in _SONGS}


def sung(title: str, folder: Path) -> Samples:
    """Return a song as samples at 16 kHz, kept in ``folder``.

    KeyError for a song that is not in :data:`SONGS`; VoicelogError when festival cannot sing.
    """
    song = SONGS[title]
    return kept(folder / f"song {title}.flac", lambda: trimmed(_sing(song)))


@cache
def words_of(title: str) -> str:
    """Return the words of a song."""
    return " ".join(_pairs(SONGS[title])[0])


def markup(song: Song) -> str:
    """Return the song in festival's singing markup."""
    lines = []
    for word, notes in zip(*_pairs(song), strict=True):
        pitches = ",".join(note.split(":")[0] for note in notes)
        beats = ",".join(note.split(":")[1] for note in notes)
        lines.append(f'<DURATION BEATS="{beats}"><PITCH NOTE="{pitches}">{escape(word)}</PITCH></DURATION>')
    head = '<?xml version="1.0"?>\n<!DOCTYPE SINGING PUBLIC "-//SINGING//DTD SINGING mark up//EN" '
    body = "\n".join(lines)
    return f'{head}"Singing.v0_1.dtd" []>\n<SINGING BPM="{song.beats_a_minute}">\n{body}\n</SINGING>\n'


def _pairs(song: Song) -> tuple[list[str], list[list[str]]]:
    parts = song.notes.split()
    return parts[::2], [notes.split(",") for notes in parts[1::2]]


def _sing(song: Song) -> Samples:
    with tempfile.TemporaryDirectory() as folder:
        score, wave = Path(folder) / "song.xml", Path(folder) / "song.wav"
        score.write_text(markup(song))
        command = ["text2wave", "-mode", "singing", "-eval", "(voice_kal_diphone)", str(score)]
        result = subprocess.run(
            [*command, "-o", str(wave)], capture_output=True, text=True, timeout=TIMEOUT_S, check=False
        )
        if result.returncode or not wave.exists():
            raise VoicelogError(
                f"festival could not sing: {result.stderr.strip()[:300]}",
                where=f"song {song.title}",
                remedy="apt install festival festvox-kallpc16k",
            )
        samples, rate = soundfile.read(wave, dtype="float32", always_2d=True)
    found: Samples = soxr.resample(samples.mean(axis=1), rate, RATE).astype("float32")
    return found
