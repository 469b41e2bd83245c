"""Feeds every system every utterance at every ratio, one system after the other, and keeps the rows.

What the journal has already is not decoded again.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

from tests.benchmarks.hearing.dataset import RATE, Dataset, read_mono, sound
from tests.benchmarks.hearing.process import Process
from tests.benchmarks.hearing.results import Journal, Row, Session, Settings, Start
from tests.benchmarks.hearing.systems import Setup
from voicelog.errors import VoicelogError

Job = tuple[float | None, str]
"""A ratio in decibels, and an utterance."""
Say = Callable[[str], None]


@dataclass(slots=True)
class _Pace:
    """How long what is left will take: seconds of work for a second of sound, by system."""

    to_do: dict[str, float]
    """Seconds of sound that each system has still to decode."""
    spent: dict[str, float] = field(default_factory=dict)
    heard: dict[str, float] = field(default_factory=dict)

    def add(self, system: str, audio_s: float, spent_s: float, *, counts: bool = True) -> None:
        self.spent[system] = self.spent.get(system, 0.0) + spent_s
        self.heard[system] = self.heard.get(system, 0.0) + audio_s
        if counts:
            self.to_do[system] -= audio_s

    def left_s(self, lanes: int) -> float:
        """Return the seconds left, all systems together."""
        paces = {s: self.spent[s] / self.heard[s] for s in self.spent if self.heard[s] > 0}
        return sum(max(0.0, self.to_do[s]) * pace for s, pace in paces.items() if s in self.to_do) / lanes


def pending(settings: Settings, journal: Journal) -> dict[str, list[Job]]:
    """Return, by system, what has still to be decoded."""
    done = {(row.system, row.ratio_db, row.utterance) for row in journal.rows}
    return {
        system: [
            (ratio, stem)
            for ratio in settings.conditions
            for stem in settings.utterances
            if (system, ratio, stem) not in done
        ]
        for system in settings.systems
    }


def run(data: Dataset, settings: Settings, setup: Setup, journal: Journal, starts: int, say: Say) -> None:
    """Decode all that is wanted and not yet in the journal.

    Every system is started first, ``starts`` times, so that what cannot run is known at once and the
    time of the whole can be told. Raises :class:`VoicelogError`; the rows so far are in the journal.
    """
    from tqdm import tqdm

    noise = read_mono(data.noise)
    jobs = pending(settings, journal)
    seconds = {stem: len(read_mono(data.files[stem])) / RATE for stem in settings.utterances}
    pace = _Pace({name: sum(seconds[stem] for _, stem in jobs[name]) for name in jobs})
    first = settings.utterances[0]
    begun = {
        name: _start(name, data, setup, journal, starts, first, pace, say) for name in jobs if jobs[name]
    }
    lock, stop = threading.Lock(), threading.Event()
    for name, times in begun.items():
        bar = tqdm(
            total=len(jobs[name]),
            desc=name,
            unit="utt",
            file=sys.stderr,
            miniters=1,
            mininterval=0.5 if sys.stderr.isatty() else 30.0,
        )

        def lane(mine: list[Job], name: str = name, bar: tqdm = bar) -> float:
            with Process(name, setup) as process:
                for ratio, stem in mine:
                    if stop.is_set():
                        break
                    pcm = sound(data, stem, ratio, noise)
                    answer = process.answer(pcm)
                    row = Row(
                        system=name, utterance=stem, ratio_db=ratio, audio_s=len(pcm) / RATE, answer=answer
                    )
                    with lock:
                        journal.add("row", row)
                        pace.add(name, row.audio_s, answer.decode_s + answer.match_s)
                        bar.set_postfix_str(
                            f"{_at(ratio)}, all done in {_minutes(pace.left_s(settings.jobs))}", refresh=False
                        )
                        bar.update()
                return process.finish()

        lanes = [part for k in range(settings.jobs) if (part := jobs[name][k :: settings.jobs])]
        with bar, ThreadPoolExecutor(len(lanes)) as pool:
            try:
                peaks = list(pool.map(lane, lanes))
            except BaseException:
                stop.set()  # or the other lanes would be waited for to their end
                raise
        session = Session(
            identity=journal.identities[name],
            starts=tuple(times),
            peak_mb=max(peaks),
            comparable=settings.jobs == 1,
        )
        journal.add("session", session)


def _start(
    name: str, data: Dataset, setup: Setup, journal: Journal, starts: int, first: str, pace: _Pace, say: Say
) -> list[Start]:
    pcm = sound(data, first, None, read_mono(data.noise))
    times = []
    for _ in range(starts):
        with Process(name, setup) as process:
            answer = process.answer(pcm)
            times.append(Start(ready_s=process.ready_s, first_answer_s=process.first_answer_s))
            process.finish()
            pace.add(name, len(pcm) / RATE, answer.decode_s + answer.match_s, counts=False)
        known = journal.identities.get(name)
        if known is None:
            journal.add("identity", process.identity)
        elif known != process.identity:
            raise VoicelogError(
                f"this folder's rows are of another one ({known.version}; now {process.identity.version})",
                where=name,
                remedy=f"measure it anew with --again {name}, or choose another folder with --out",
            )
    say(f"{name}: ready in {times[-1].ready_s:.1f} s, first answer after {times[-1].first_answer_s:.1f} s")
    return times


def _at(ratio: float | None) -> str:
    return "clean" if ratio is None else f"{ratio:g} dB"


def _minutes(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"
