"""Hears a case as the live walk does, through the product's own conductor, and returns a row.

Every case begins a walk of its own at its stop, in a record kept in a temporary folder: what is
in the row is what was committed. Nothing here decides anything.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from tests.benchmarks.bay.said import Case, Fact, Logged, Row
from tests.opening import without_gate
from voicelog.conduct import Conductor
from voicelog.feeding import conduct
from voicelog.hearing.audio import BLOCK_S, Block
from voicelog.hearing.endpoint import Endpointer
from voicelog.hearing.recogniser import RATE, Decoding, Recogniser, Samples, Utterance
from voicelog.meaning.facts import Claim
from voicelog.paths import shipped
from voicelog.phrases.graph import PhraseGraph
from voicelog.records.store import Store
from voicelog.sheet import load_sheet, load_unit
from voicelog.sheet.model import Sheet
from voicelog.walk.events import (
    CommandHeard,
    EntryLogged,
    Event,
    NotUnderstood,
    PointNamed,
    RemarkLogged,
    StopEntered,
)


class Remembering:
    """A recogniser that keeps what it made of the last utterances; meets Recogniser."""

    def __init__(self, recogniser: Recogniser) -> None:
        self._recogniser = recogniser
        self.name = recogniser.name
        self.model_sha256 = recogniser.model_sha256
        self.decodings: list[Decoding] = []

    def decode(self, utterance: Utterance, graph: PhraseGraph) -> Decoding:
        """Decode, and remember it."""
        decoding = self._recogniser.decode(utterance, graph)
        self.decodings.append(decoding)
        return decoding

    def dictate(self, utterance: Utterance) -> str:
        """Transcribe freely."""
        return self._recogniser.dictate(utterance)


class Listener:
    """Walks of a sheet, by default the engine bay's, one a case. Use it in a ``with`` statement."""

    def __init__(self, recogniser: Recogniser, sheet: Sheet | None = None) -> None:
        # What is measured is what is heard of points, so no caution stands before them.
        self.sheet = without_gate(sheet or load_sheet(shipped("grammars", "engine_bay.toml")))
        self._unit = load_unit(shipped("samples", "engine_61.toml"))
        self._recogniser = Remembering(recogniser)
        self._graphs: dict[str, PhraseGraph] = {}
        self._folder = tempfile.TemporaryDirectory(prefix="voicelog-bay-")
        self._store = Store.open(Path(self._folder.name) / "data", clock=_now)

    def __enter__(self) -> Self:
        """Return the listener itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Remove the records."""
        self._store.close()
        self._folder.cleanup()

    def hear(self, case: Case, samples: Samples) -> Row:
        """Return what is logged when the samples are heard at the case's stop."""
        said = case.said
        conductor = Conductor(
            self._store, self.sheet, self._unit, self._recogniser, clock=_now, graphs=self._graphs
        )
        conductor.begin("Benchmark")
        conductor.typed(f"go to {self.sheet.stop(said.stop_id).name}")
        for phrase in said.before:
            conductor.typed(phrase)
        if conductor.state.stop_id != said.stop_id:
            raise ValueError(f"{said.before} leads away from {said.stop_id}")
        before = conductor.state.events
        self._recogniser.decodings.clear()
        if case.live:
            conduct(conductor, _blocks(samples), Endpointer(), lambda update: None, update_every_s=1e9)
        else:
            conductor.hear(Utterance(samples, 0.0))
        events = [stored.event for stored in self._store.events(conductor.walk_id)[before:]]
        return self._row(case, events, len(samples) / RATE)

    def _row(self, case: Case, events: list[Event], audio_s: float) -> Row:
        decodings = self._recogniser.decodings
        last = decodings[-1] if decodings else None
        hypotheses = last.hypotheses if last is not None else ()
        return Row(
            case=case,
            utterances=len(decodings),
            # What is computed was not said.
            logged=tuple(
                _logged(event)
                for event in events
                if isinstance(event, EntryLogged) and not event.computed_from
            ),
            acts=tuple(act for event in events if (act := _act(event))),
            text=" / ".join(d.hypotheses[0].text for d in decodings if d.hypotheses),
            free_text=" / ".join(d.free_text for d in decodings),
            outside=round(last.outside, 4) if last is not None else 1.0,
            reason=next((e.reason for e in events if isinstance(e, NotUnderstood)), ""),
            hypotheses=tuple((h.text, round(h.posterior, 5)) for h in hypotheses[:6]),
            audio_s=round(audio_s, 2),
            decode_s=round(sum(d.decode_s for d in decodings), 3),
        )


def fact_of(claim: Claim) -> Fact:
    """Return a claim as a fact."""
    return Fact(
        point_id=claim.point_id,
        condition_id=claim.condition_id,
        reading_id=claim.reading_id,
        value=claim.value,
        sound=claim.polarity == "sound",
    )


def _logged(event: EntryLogged) -> Logged:
    return Logged(
        fact=fact_of(event.claim),
        posterior={slot: round(p, 4) for slot, p in event.posterior.items()},
        doubts=tuple(doubt.slot for doubt in event.doubts),
        reason=event.doubts[0].reason if event.doubts else "",
        candidates=tuple(fact_of(c.claim) for doubt in event.doubts for c in doubt.candidates),
        by_name=event.by_name,
    )


def _act(event: Event) -> str:
    """Return what an event other than an entry did; empty for one that did nothing."""
    match event:
        case EntryLogged() | NotUnderstood():
            return ""
        case CommandHeard(command=command):
            return f"command {command}"
        case PointNamed(point_id=point_id):
            return f"named {point_id}"
        case StopEntered(stop_id=stop_id):
            return f"went to {stop_id}"
        case RemarkLogged():
            return "remark"
        case _:
            return event.kind


def _blocks(samples: Samples) -> Iterator[Block]:
    length = round(BLOCK_S * RATE)
    for start in range(0, len(samples), length):
        yield Block(samples[start : start + length], start / RATE)


def _now() -> datetime:
    return datetime.now(UTC)
